"""Survival curves without a model of many sets of lives at once: `wearstats.life.turnbull`."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.life.hazard_many import best_hazards
from wearstats.life.innermost_many import innermost_many
from wearstats.life.risk_sets import ALIKE, LEAST_AT_RISK

_MOST_INTERVALS = 150
"""Beyond, a set is sooner done alone, where most places without hazard are never looked at."""


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """The falls of each set's curve, padded with falls of nothing.

    Parameters
    ----------
    lives : ndarray, shape (b,)
        Informative lives, by weight; NaN for a set that is to be done alone, or for which
        `wearstats.life.npmle` would refuse.
    given_age : ndarray, shape (b,), runs
    lower, upper : ndarray, shape (b, m), runs
        Intervals (lower, upper] on which a curve may fall.
    before, after : ndarray, shape (b, m)
        The chance to outlast `lower` and `upper`, sound at `given_age`; 1 up to it.
    found : ndarray of bool, shape (b,)
        False where a set is to be done alone.
    """

    lives: FloatArray
    given_age: FloatArray
    lower: FloatArray
    upper: FloatArray
    before: FloatArray
    after: FloatArray
    found: BoolArray


def curves(entry: FloatArray, lower: FloatArray, upper: FloatArray, weight: FloatArray) -> Curves:
    """Return each set's curve of greatest likelihood.

    Parameters
    ----------
    entry, weight : ndarray, shape (n,)
    lower, upper : ndarray, shape (b, n)
    """
    entry, weight = np.broadcast_to(entry, lower.shape), np.broadcast_to(weight, lower.shape)
    failed = np.isfinite(upper)
    tells = failed | (lower > entry)
    intervals = innermost_many(entry, lower, upper, weight, tells)
    told = np.where(tells, weight, 0.0)
    lives = told.sum(axis=1)
    low, high = intervals.lower, intervals.upper
    if low.shape[1] > _MOST_INTERVALS:
        flat, none = np.ones_like(low), np.zeros(lives.size)
        return Curves(np.full_like(none, np.nan), none, low, high, flat, flat, none > 0)
    steps, found = best_hazards(intervals)
    leaves = np.where(failed, upper, lower)
    given = _first_real_ages(entry, leaves, told, np.where(np.isinf(steps), high, -np.inf))
    start, falls = given[:, None], steps > 0
    refused = np.any(falls & (low < start) & (start < high), axis=1)
    refused |= given >= np.where(tells, leaves, 0.0).max(axis=1)
    total = np.cumsum(np.where(high > start, steps, 0.0), axis=1)
    after = np.exp(-total)
    before = np.ones_like(after)
    before[:, 1:] = after[:, :-1]
    lives = np.where(found & ~refused, lives, np.nan)
    return Curves(lives, given, low, high, before, after, found)


def _first_real_ages(
    entry: FloatArray, leaves: FloatArray, weight: FloatArray, emptied: FloatArray
) -> FloatArray:
    """Return the age from which each curve stands on a real risk set, as `risk_sets` says."""
    latest = np.where(weight > 0, entry, 0.0).max(axis=1)
    starts = np.unique(entry)
    here = [np.where((entry <= age) & (age < leaves), weight, 0.0).sum(axis=1) for age in starts]
    watched = np.stack(here, axis=1)
    enough = np.minimum(LEAST_AT_RISK, ALIKE * watched.max(axis=1))
    begin = starts[np.argmax(watched >= enough[:, None], axis=1)]
    gone = np.where(emptied <= latest[:, None], emptied, -np.inf).max(axis=1, initial=-np.inf)
    return np.where(latest > 0, np.maximum(begin, gone), 0.0)

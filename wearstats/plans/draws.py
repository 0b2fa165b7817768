"""What every plan asks of a fitted life: survival curves with weights, and sums over them."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError, UsageError
from wearstats.estimates import Estimate

_ROUNDING = 1e-9


class SurvivalDraws(Protocol):
    """Anything that gives weighted draws of the chance that strips are still sound at an age."""

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        """Return survival, shape (draws, ages), and weights, shape (draws,).

        Ages are load-weighted runs since the restrip, not negative.
        """
        ...


@dataclass(frozen=True, slots=True)
class KnownSurvival:
    """One survival curve taken as known: a single draw of weight one.

    Parameters
    ----------
    survival : callable
        Takes ages, shape (n,), runs; returns the chance of being sound at each.

    Examples
    --------
    >>> even_odds = KnownSurvival(lambda ages: 0.5**ages)
    >>> even_odds.survival_matrix(np.array([0.0, 1.0]))[0].tolist()
    [[1.0, 0.5]]
    """

    survival: Callable[[FloatArray], FloatArray]

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        """Return the one curve, shape (1, ages), and its weight."""
        return np.atleast_2d(np.asarray(self.survival(ages), dtype=np.float64)), np.ones(1)


@dataclass(frozen=True, slots=True)
class Sounding:
    """Survival read off the draws at some ages, checked.

    Parameters
    ----------
    ages : ndarray, shape (m,), runs
        Rising.
    survival : ndarray, shape (n, m)
        Never rising along a row, within 0 to 1.
    weights : ndarray, shape (n,)
        Add up to one.
    """

    ages: FloatArray
    survival: FloatArray
    weights: FloatArray

    def at(self, age: float) -> FloatArray:
        """Return the column of one of the ages, shape (n,)."""
        return np.asarray(self.survival[:, int(np.searchsorted(self.ages, age))])


def sound(draws: SurvivalDraws, ages: FloatArray) -> Sounding:
    """Ask the draws for survival at `ages` and refuse what is no survival curve.

    Raises
    ------
    PlanError
        Wrong shapes, numbers outside 0 to 1, a curve that rises, or weights that are not weights.
    """
    wanted = np.unique(np.asarray(ages, dtype=np.float64))
    matrix, given = draws.survival_matrix(wanted)
    survival = np.asarray(matrix, dtype=np.float64)
    weights = np.asarray(given, dtype=np.float64)
    if survival.shape != (weights.size, wanted.size) or weights.ndim != 1:
        message = (
            f"survival of shape {survival.shape} with weights of shape {weights.shape} does not "
            f"fit {wanted.size} ages: expected (draws, {wanted.size}) and (draws,)"
        )
        raise PlanError(message)
    total = float(weights.sum()) if weights.size else 0.0
    if not (math.isfinite(total) and total > 0 and bool(np.all(weights >= 0))):
        message = "the weights of the draws must not be negative and must add up to more than 0"
        raise PlanError(message)
    kept = weights > 0
    survival, weights = survival[kept], weights[kept] / total
    within = (survival >= -_ROUNDING) & (survival <= 1 + _ROUNDING)
    if not bool(np.all(within)) or bool(np.any(np.diff(survival, axis=1) > _ROUNDING)):
        message = "a survival curve must stay within 0 to 1 and must not rise with age"
        raise PlanError(message)
    level_or_falling = np.minimum.accumulate(np.clip(survival, 0.0, 1.0), axis=1)
    return Sounding(wanted, level_or_falling, weights)


def weighted_quantile(values: FloatArray, weights: FloatArray, share: float) -> FloatArray:
    """Return the least value whose cumulated weight reaches `share`, along the first axis.

    Parameters
    ----------
    values : ndarray, shape (n,) or (n, m)
        May hold infinity.
    weights : ndarray, shape (n,)
        Add up to one.
    share : float
        0 to 1.

    Returns
    -------
    ndarray, shape () or (m,)

    Examples
    --------
    >>> float(weighted_quantile(np.array([3.0, 1.0, 2.0]), np.array([0.2, 0.5, 0.3]), 0.6))
    2.0
    """
    order = np.argsort(values, axis=0, kind="stable")
    reached = np.cumsum(weights[order], axis=0)
    # Rounding in the running sum must not push a share of exactly 0.5 on to the next draw.
    first = np.argmax(reached >= min(share, 1.0) - _ROUNDING, axis=0)
    ordered = np.take_along_axis(values, order, axis=0)
    return np.asarray(np.take_along_axis(ordered, np.expand_dims(first, 0), axis=0)[0])


def estimate_over(
    values: FloatArray, weights: FloatArray, level: float, *, unit: str = "", note: str = ""
) -> Estimate:
    """Return the mean over the draws with the equal-tailed interval of the draws.

    The mean is what counts in a decision: of a chance it is the chance to bet on. Where the
    draws are very lopsided it may lie outside the interval, which is in order.
    """
    tail = (1 - level) / 2
    return Estimate(
        float(weights @ values),
        float(weighted_quantile(values, weights, tail)),
        float(weighted_quantile(values, weights, 1 - tail)),
        level,
        unit,
        note,
    )


def checked_share(value: float, name: str) -> float:
    """Return `value` if it lies strictly between 0 and 1, else raise UsageError."""
    if not 0 < value < 1:
        message = f"{name} must lie between 0 and 1, not {value}"
        raise UsageError(message)
    return float(value)

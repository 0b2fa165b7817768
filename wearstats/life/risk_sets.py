"""Who was watched when, and from which age on a curve without a model stands on enough."""

from typing import Literal

import numpy as np

from wearstats.arrays import FloatArray

LEAST_AT_RISK = 3.0
"""The curve begins at the first age at which so many lives (or all, if fewer) are at risk."""

ALIKE = 1 - 1e-12
"""Sums of weights that are equal come out alike to this share."""


def at_risk(
    entry: FloatArray, leaves: FloatArray, weight: FloatArray, ages: FloatArray
) -> FloatArray:
    """Return the weight of lives with entry < age <= leaves, shape of `ages`; exactly 0 if none."""
    return _inside(entry, leaves, weight, ages, "left")


def just_after(
    entry: FloatArray, leaves: FloatArray, weight: FloatArray, ages: FloatArray
) -> FloatArray:
    """Return the weight of lives with entry <= age < leaves, shape of `ages`; exactly 0 if none."""
    return _inside(entry, leaves, weight, ages, "right")


def first_real_age(
    entry: FloatArray, leaves: FloatArray, weight: FloatArray, emptied: FloatArray
) -> float:
    """Return the age from which a curve stands on a real risk set.

    Parameters
    ----------
    entry, leaves, weight : ndarray, shape (n,)
    emptied : ndarray, runs
        Ages by which all lives watched had failed; those with lives still to enter count.
    """
    if not (entry > 0).any():
        return 0.0
    starts = np.unique(entry)
    after = just_after(entry, leaves, weight, starts)
    enough = min(LEAST_AT_RISK, ALIKE * float(after.max()))
    begin = float(starts[np.flatnonzero(after >= enough)[0]])
    emptied = emptied[emptied <= entry.max()]
    return max(begin, float(emptied.max())) if emptied.size else begin


def straddled(entry: FloatArray, lower: FloatArray, upper: FloatArray) -> tuple[int, float] | None:
    """Return the first life that failed about an age at which another is known, and that age.

    None where no interval (lower, upper] has an entry or an end of another inside: each failure
    can then be counted at its upper end, as all that happened since the lower one is the same
    for every life.
    """
    failed = np.isfinite(upper)
    marks = np.append(np.unique(np.concatenate([entry, lower, upper[failed]])), np.inf)
    following = marks[np.searchsorted(marks, lower, side="right")]
    places = np.flatnonzero(failed & (following < upper))
    return (int(places[0]), float(following[places[0]])) if places.size else None


def _inside(
    entry: FloatArray,
    leaves: FloatArray,
    weight: FloatArray,
    ages: FloatArray,
    side: Literal["left", "right"],
) -> FloatArray:
    came, went = np.argsort(entry, kind="stable"), np.argsort(leaves, kind="stable")
    entered = np.searchsorted(entry[came], ages, side=side)
    left = np.searchsorted(leaves[went], ages, side=side)
    here: FloatArray = _running(weight[came])[entered] - _running(weight[went])[left]
    # Counted, not weighed, where nobody is: sums of weights do not come back to 0.
    return np.where(entered > left, here, 0.0)


def _running(weight: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(weight)])

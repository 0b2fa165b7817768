"""Innermost intervals of many sets of lives at once: `wearstats.life.innermost`, row by row."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class InnermostMany:
    """Innermost intervals of each set, padded on the right to those of the set with most.

    Parameters
    ----------
    there : ndarray of bool, shape (b, m)
        Which are intervals; the others are padding, with ages of 0.
    lower, upper : ndarray, shape (b, m), runs
        Ends of (lower, upper].
    at_risk : ndarray, shape (b, m)
        Weight of the lives watched, and known sound, all through it; exactly 0 where none.
    first, after : ndarray of int, shape (b, n)
        Each failure lies in the intervals first, first + 1, ..., after - 1.
    weight : ndarray, shape (b, n)
        Of each failure; 0 for lives that did not fail.
    """

    there: BoolArray
    lower: FloatArray
    upper: FloatArray
    at_risk: FloatArray
    first: IntArray
    after: IntArray
    weight: FloatArray


def innermost_many(
    entry: FloatArray, lower: FloatArray, upper: FloatArray, weight: FloatArray, tells: BoolArray
) -> InnermostMany:
    """Find the innermost intervals of each set.

    Parameters
    ----------
    entry, lower, upper, weight : ndarray, shape (b, n)
    tells : ndarray of bool, shape (b, n)
        Which lives are informative; the others count for nothing.
    """
    sets, size = lower.shape
    failed = np.isfinite(upper) & tells
    ages, places = _ranked(np.concatenate([entry, lower, np.where(failed, upper, lower)], axis=1))
    # Each age has two codes: just before it, and at it. An interval is (code, code].
    came, left = 2 * places[:, :size] + 1, 2 * places[:, size : 2 * size] + 1 - (upper == lower)
    right = 2 * places[:, 2 * size :] + 1
    codes = 2 * 3 * size
    at = np.arange(sets)[:, None] * codes

    def counted(code: IntArray, value: FloatArray | BoolArray) -> FloatArray:
        total = np.bincount((at + code).ravel(), value.ravel(), sets * codes)
        return total.reshape(sets, codes).astype(np.float64)

    opens = counted(left, tells) > 0
    closes = (counted(right, failed) > 0) | (counted(came, tells) > 0)
    shut = _following(closes)
    inner = opens & (shut < codes) & (_following(opens) >= shut)
    ended = np.zeros_like(inner)
    row, begin = np.nonzero(inner)
    end = shut[row, begin]
    ended[row, end] = True

    gone = np.cumsum(counted(came, tells) - counted(left, tells), axis=1)
    told = np.where(tells, weight, 0.0)
    here = np.cumsum(counted(came, told) - counted(left, told), axis=1)
    # Counted, not weighed, where nobody is: sums of weights do not come back to 0.
    watched = np.where(gone > 0, here, 0.0)
    number = np.cumsum(inner, axis=1)
    found = row, number[row, begin] - 1
    shape = sets, int(number[:, -1].max(initial=0))

    def padded(values: FloatArray) -> FloatArray:
        full = np.zeros(shape)
        full[found] = values
        return full

    there = np.zeros(shape, dtype=np.bool_)
    there[found] = True
    ends = ages[row, end // 2]
    return InnermostMany(
        there=there,
        lower=padded(np.where(begin % 2 == 0, ends, ages[row, begin // 2])),
        upper=padded(ends),
        at_risk=padded(watched[row, begin]),
        first=np.take_along_axis(number - inner, left, axis=1),
        after=np.take_along_axis(np.cumsum(ended, axis=1), right, axis=1),
        weight=np.where(failed, weight, 0.0),
    )


def _ranked(values: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return each row's distinct values in rising order, and the place of each value there."""
    order = np.argsort(values, axis=1, kind="stable")
    ranked = np.take_along_axis(values, order, axis=1)
    new = np.zeros(values.shape, dtype=np.intp)
    new[:, 1:] = ranked[:, 1:] > ranked[:, :-1]
    place = np.cumsum(new, axis=1)
    distinct, places = np.zeros_like(values), np.empty_like(place)
    np.put_along_axis(distinct, place, ranked, axis=1)
    np.put_along_axis(places, order, place, axis=1)
    return distinct, places


def _following(flags: BoolArray) -> IntArray:
    """Return the next code past each one that has a flag, or the number of codes."""
    codes = flags.shape[1]
    following = np.full(flags.shape, codes, dtype=np.intp)
    flagged = np.where(flags, np.arange(codes), codes)
    following[:, :-1] = np.minimum.accumulate(flagged[:, :0:-1], axis=1)[:, ::-1]
    return following

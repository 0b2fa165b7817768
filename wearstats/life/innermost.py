"""Innermost intervals: the only places where lives known to intervals can put their failures.

An age at which no life is last known sound just before, or which lies past a look that found
strips failed, gains nothing over a neighbour (Peto 1973, Applied Statistics 22:86-91; Turnbull
1976, JRSS B 38:290-295). With late entries an entry closes an interval as a look does: hazard
just before it costs the life that entered nothing (Frydman 1994, JRSS B 56:71-74; Alioum &
Commenges 1996, Biometrics 52:512-524; all from memory).

Intervals are half-open, (lower, upper]: strips sound at the look at 4 and failed at the look at
8 failed after 4. So (4, 8] and (8, 12] have no age in common; a failure at exactly 8 lies in the
first.
"""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Innermost:
    """Innermost intervals and the failures each of them may hold.

    Parameters
    ----------
    lower, upper : ndarray, shape (m,), runs
        Ends of (lower, upper]; equal where the interval is one age.
    at_risk : ndarray, shape (m,)
        Weight of the lives watched, and known sound, all through it; exactly 0 where none.
    first, after : ndarray of int, shape (r,)
        A group of failures lies in the intervals first, first + 1, ..., after - 1.
    weight : ndarray, shape (r,)
        Failures in the group.
    """

    lower: FloatArray
    upper: FloatArray
    at_risk: FloatArray
    first: IntArray
    after: IntArray
    weight: FloatArray

    @property
    def covered(self) -> BoolArray:
        """Intervals that may hold a failure, shape (m,)."""
        change = np.bincount(self.first, minlength=self.lower.size + 1) - np.bincount(
            self.after, minlength=self.lower.size + 1
        )
        covered: BoolArray = np.cumsum(change[:-1]) > 0
        return covered


def innermost(
    entry: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
    weight: FloatArray,
    marks: tuple[float, ...] = (),
) -> Innermost:
    """Find the innermost intervals.

    Parameters
    ----------
    entry, lower, upper, weight : ndarray, shape (n,)
        Informative lives as in `Observations`.
    marks : tuple of float, runs
        Ages that no interval may straddle, and after which one may begin.
    """
    failed = np.isfinite(upper)
    exact = upper == lower
    ages = np.unique(np.concatenate([entry, lower, upper[failed], np.array(marks)]))
    # Each age has two codes: just before it, and at it. An interval is (code, code].
    came = 2 * np.searchsorted(ages, entry) + 1
    left = 2 * np.searchsorted(ages, lower) + 1 - exact
    right = 2 * np.searchsorted(ages, upper[failed]) + 1
    marked = 2 * np.searchsorted(ages, np.array(marks)) + 1
    opens = np.unique(np.concatenate([left, marked]))
    closes = np.unique(np.concatenate([right, came, marked]))
    place = np.searchsorted(closes, opens, side="right")
    shut = np.append(closes, 2 * ages.size)[place]
    inner = (place < closes.size) & (np.append(opens[1:], 2 * ages.size) >= shut)
    begin, end = opens[inner], shut[inner]

    size = 2 * ages.size
    gone = np.cumsum(np.bincount(came, minlength=size) - np.bincount(left, minlength=size))
    here = np.cumsum(np.bincount(came, weight, size) - np.bincount(left, weight, size))
    # Counted, not weighed, where nobody is: sums of weights do not come back to 0.
    at_risk = np.where(gone[begin] > 0, here[begin], 0.0)
    first = np.searchsorted(begin, left[failed])
    after = np.searchsorted(end, right, side="right")
    key, group = np.unique(first * (begin.size + 1) + after, return_inverse=True)
    return Innermost(
        lower=np.where(begin % 2 == 0, ages[end // 2], ages[begin // 2]),
        upper=ages[end // 2],
        at_risk=at_risk,
        first=key // (begin.size + 1),
        after=key % (begin.size + 1),
        weight=np.bincount(group.ravel(), weight[failed], key.size).astype(np.float64),
    )

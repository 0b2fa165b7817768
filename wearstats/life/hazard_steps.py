"""The maximum-likelihood hazard on innermost intervals, to a stated optimality.

With increments x >= 0 of the cumulative hazard on the intervals, lives known to intervals have
the log likelihood

    sum over failures  log(1 - exp(-(sum of x in the life's intervals)))  -  at_risk . x,

which is concave whatever the ages of entry (in the masses themselves it is not, once lives enter
late). It is climbed in turn by the iterative convex minorant (Groeneboom & Wellner 1992,
Information Bounds and Nonparametric Maximum Likelihood Estimation; Jongbloed 1998, J.
Computational and Graphical Statistics 7:310-321), which finds out where hazard stands, and by
Newton steps among the intervals where it does (after Wang 2008, Computational Statistics & Data
Analysis 52:2388-2402), which settle how much. The second derivatives are those of a graph with an
edge for each group of failures. All from memory.
"""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import NotConvergedError
from wearstats.life.rising_means import rising

GAP = 1e-8
"""Largest relative excess of failures expected over lives at risk in a curve that is found."""

AIM = 1e-9
_MOST_STEPS = 300
_FIRST_MINORANTS = 10
_WELL = 8.0
"""Where a Newton step makes the gap so much smaller, the next one follows at once."""

_HALVINGS = 40
_DENSE = 400
_RIDGE = 1e-12
_LARGE = 700.0
"""Hazard from which on a failure is certain; its exponential is a float still."""

_LEAST = 1e-300
_ROUNDING = 8 * float(np.finfo(np.float64).eps)


@dataclass(frozen=True, slots=True, eq=False)
class Climb:
    """Lives as the solver sees them: failures as stretches of a line of intervals.

    Parameters
    ----------
    risk : ndarray, shape (m,)
        What hazard in each interval costs: the weight at risk, above 0.
    scale : ndarray, shape (m,)
        Weight against which a slope counts as none.
    first, after : ndarray of int, shape (r,)
        Failures lie in intervals first, ..., after - 1.
    weight : ndarray, shape (r,)
    """

    risk: FloatArray
    scale: FloatArray
    first: IntArray
    after: IntArray
    weight: FloatArray

    def value(self, steps: FloatArray) -> float:
        """Log likelihood; -inf where a failure has no hazard to fail by."""
        within = self._within(steps)
        if within.size and within.min() <= 0:
            return -np.inf
        return float(self.weight @ np.log(-np.expm1(-within)) - self.risk @ steps)

    def slope(self, steps: FloatArray) -> FloatArray:
        """Gradient in the increments: failures expected less lives at risk, shape (m,)."""
        pull = self.weight / np.expm1(np.minimum(self._within(steps), _LARGE))
        return self._spread(pull) - self.risk

    def bend(self, steps: FloatArray) -> FloatArray:
        """Curvature of each group of failures in the hazard it has to fail by, shape (r,)."""
        bend: FloatArray = (
            self.weight / (2 * np.sinh(np.minimum(self._within(steps), _LARGE) / 2)) ** 2
        )
        return bend

    def curved(self, steps: FloatArray, bend: FloatArray) -> FloatArray:
        """Second derivatives times the increments, shape (m,)."""
        return self._spread(bend * self._within(steps))

    def start(self) -> FloatArray:
        """Increments if each failure were spread evenly; right at once where none is spread."""
        even = self._spread(self.weight / (self.after - self.first))
        return np.log1p(even / self.risk)

    def on(self, kept: IntArray) -> "Climb":
        """Return the same with hazard only in the intervals kept, given in order."""
        return Climb(
            self.risk[kept],
            self.scale[kept],
            np.searchsorted(kept, self.first),
            np.searchsorted(kept, self.after),
            self.weight,
        )

    def rounding(self, steps: FloatArray, value: float) -> float:
        """Return how far the log likelihood may be off by rounding: within is a difference."""
        share = float(self.weight @ (steps.sum() / np.maximum(self._within(steps), _LEAST)))
        return _ROUNDING * (abs(value) + share)

    def _within(self, steps: FloatArray) -> FloatArray:
        total = np.zeros(steps.size + 1)
        steps.cumsum(out=total[1:])
        within: FloatArray = total[self.after] - total[self.first]
        return within

    def _spread(self, pull: FloatArray) -> FloatArray:
        size = self.risk.size + 1
        change = np.bincount(self.first, pull, size) - np.bincount(self.after, pull, size)
        spread: FloatArray = change.cumsum()[:-1]
        return spread


def climb(lives: Climb, near: FloatArray | None = None) -> tuple[FloatArray, float]:
    """Return the increments at the maximum, shape (m,), and the gap left (see `GAP`).

    Parameters
    ----------
    lives : Climb
    near : ndarray, shape (m,), or None
        Increments to begin with, of a problem not far away.

    Raises
    ------
    NotConvergedError
        The gap stays above `GAP`.
    """
    if not lives.risk.size:
        return np.zeros(0), 0.0
    steps, value = _begun(lives, near)
    slope = lives.slope(steps)
    gap = _gap(lives, steps, slope)
    best, least = steps, gap
    for _ in range(_MOST_STEPS):
        if gap <= AIM:
            break
        gained, value = _newton(lives, steps, value, slope)
        slope = lives.slope(gained)
        after = _gap(lives, gained, slope)
        if after > max(AIM, gap / _WELL):
            gained, value = _minorant(lives, gained, value, slope)
            slope = lives.slope(gained)
            after = _gap(lives, gained, slope)
        if np.array_equal(gained, steps):
            break
        steps, gap = gained, after
        if gap < least:
            best, least = steps, gap
    if least > GAP:
        message = (
            f"the curve without a model was not found: failures expected still exceed lives at "
            f"risk by {least:.1g} of them, where {GAP:g} is asked"
        )
        raise NotConvergedError(message, last=best.tolist())
    return best, least


def _gap(lives: Climb, steps: FloatArray, slope: FloatArray) -> float:
    """Return the gap (see `GAP`)."""
    excess = slope / lives.scale
    stands = np.where(steps > 0, -excess, 0.0)
    return float(max(excess.max(), stands.max()))


def _begun(lives: Climb, near: FloatArray | None) -> tuple[FloatArray, float]:
    """Return where to begin: near by, if every failure has hazard to fail by there."""
    if near is not None and np.isfinite(value := lives.value(near)):
        return near, value
    steps = lives.start()
    value = lives.value(steps)
    for _ in range(_FIRST_MINORANTS):
        steps, value = _minorant(lives, steps, value, lives.slope(steps))
    return steps, value


def information(lives: Climb, steps: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the observed information about the cumulative hazard, and where it is.

    Returns
    -------
    information : ndarray, shape (k, k)
        About the cumulative hazard just past each interval that has some.
    kept : ndarray of int, shape (k,)
        These intervals.
    """
    kept = np.flatnonzero(steps > 0)
    on = lives.on(kept)
    return _laplacian(on, on.bend(steps[kept])), kept


def _minorant(
    lives: Climb, steps: FloatArray, value: float, slope: FloatArray
) -> tuple[FloatArray, float]:
    """One step of the convex minorant: a scaled climb, kept from falling by pooling."""
    size = steps.size + 1
    bend = lives.bend(steps)
    curved = np.bincount(lives.first, bend, size) + np.bincount(lives.after, bend, size)
    curved = np.maximum(curved[1:], 1e-6 * curved.max())
    target = np.cumsum(steps) + _in_totals(slope) / curved
    pooled = np.maximum(rising(target, curved), 0.0)
    new = _steps_of(pooled)
    new[new < _ROUNDING * pooled[-1]] = 0.0
    moved, reached = _search(lives, steps, value, slope, new - steps)
    # A rise within rounding would undo what a Newton step has settled.
    return (moved, reached) if reached > value + _ROUNDING * abs(value) else (steps, value)


def _newton(
    lives: Climb, steps: FloatArray, value: float, slope: FloatArray
) -> tuple[FloatArray, float]:
    """One Newton step among the intervals that are free, to the best of its quadratic.

    Each turn goes towards the best of those still free and lets go what it empties first (as
    Lawson & Hanson 1974, Solving Least Squares Problems, chapter 23; from memory).
    """
    bend = lives.bend(steps)
    pull = lives.curved(steps, bend) + slope
    target = steps.copy()
    kept = np.flatnonzero(_worth_freeing(steps, slope / lives.scale))
    while True:
        on, here = lives.on(kept), target[kept]
        rest = _in_totals(pull[kept] - on.curved(here, bend))
        there = here + _steps_of(_solve(on, bend, rest))
        falls = there < 0
        if not falls.any():
            break
        shares = here[falls] / (here - there)[falls]
        target[kept] = here + shares.min() * (there - here)
        emptied = kept[falls][shares <= shares.min()]
        target[emptied] = 0.0
        if emptied.size == kept.size:
            return _search(lives, steps, value, slope, target - steps)
        kept = np.setdiff1d(kept, emptied, assume_unique=True)
    target[kept] = there
    return _search(lives, steps, value, slope, target - steps)


def _worth_freeing(steps: FloatArray, excess: FloatArray) -> BoolArray:
    """Return where hazard stands, and the best place for more of it in each gap between."""
    free = steps > 0
    wanted = np.flatnonzero(~free & (excess > 0))
    if not wanted.size:
        return free
    gap = np.cumsum(free)[wanted]
    order = wanted[np.lexsort((-excess[wanted], gap))]
    free[order[np.diff(np.sort(gap), prepend=-1) > 0]] = True
    return free


def _search(
    lives: Climb, steps: FloatArray, value: float, slope: FloatArray, towards: FloatArray
) -> tuple[FloatArray, float]:
    """Go as far as the likelihood rises enough (Armijo), halving, never below no hazard."""
    least = value - lives.rounding(steps, value)
    length = 1.0
    for _ in range(_HALVINGS):
        new = np.maximum(steps + length * towards, 0.0)
        reached = lives.value(new)
        if reached >= least + 1e-4 * float(slope @ (new - steps)):
            return new, reached
        length /= 2
    return steps, value


def _steps_of(total: FloatArray) -> FloatArray:
    steps = total.copy()
    steps[1:] -= total[:-1]
    return steps


def _in_totals(slope: FloatArray) -> FloatArray:
    """Turn a gradient in increments into one in the cumulative hazard past each interval."""
    in_totals: FloatArray = slope - np.append(slope[1:], 0.0)
    return in_totals


def _laplacian(lives: Climb, bend: FloatArray) -> FloatArray:
    size = lives.risk.size + 1
    one_way = np.bincount(lives.first * size + lives.after, bend, size * size).reshape(size, size)
    edges = (one_way + one_way.T).astype(np.float64)
    whole = np.diag(edges.sum(axis=0)) - edges
    # The cumulative hazard before the first interval is 0 and not free.
    grounded: FloatArray = whole[1:, 1:]
    return grounded


def _solve(lives: Climb, bend: FloatArray, slope: FloatArray) -> FloatArray:
    """Solve the Newton equations; a trace of a ridge settles what the lives leave open."""
    if lives.risk.size <= _DENSE:
        matrix = _laplacian(lives, bend)
        spots = np.arange(slope.size)
        matrix[spots, spots] = matrix[spots, spots] * (1 + _RIDGE) + np.finfo(np.float64).tiny
        try:
            found = np.linalg.solve(matrix, slope)
        except np.linalg.LinAlgError:
            found = np.linalg.lstsq(matrix, slope)[0]
        return found.astype(np.float64)
    from scipy import sparse
    from scipy.sparse import linalg as sparse_linalg

    size = lives.risk.size + 1
    ends = np.concatenate([lives.first, lives.after])
    others = np.concatenate([lives.after, lives.first])
    edges = sparse.coo_array((np.concatenate([bend, bend]), (ends, others)), shape=(size, size))
    degree = np.bincount(ends, np.concatenate([bend, bend]), size)
    whole = sparse.diags_array(degree * (1 + _RIDGE)) - edges
    solved: FloatArray = sparse_linalg.splu(sparse.csc_array(whole)[1:, 1:]).solve(slope)
    return solved

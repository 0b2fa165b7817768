"""The hazards that suit many sets of lives best, for all at once.

The problem is that of `wearstats.life.hazard_steps`. A primal-dual interior-point method climbs
all sets together (Wright 1997, Primal-Dual Interior-Point Methods; from memory): with a price z
on each increment x >= 0 it follows slope + z = 0, x z = mu, while mu falls to nothing. Newton steps
where hazard then stands settle how much, and the gap of `hazard_steps` says whether they did.
"""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.life.hazard_steps import AIM
from wearstats.life.innermost_many import InnermostMany

_MOST_STEPS = 30
_NEAR = 1e-3
"""In lives: how little the prices still cost when Newton steps are tried."""

_SETTLING = 4
_AIMED = 0.05
_SHORT = 0.99
"""Of the way to where an increment or a price would vanish."""

_RIDGE = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class _Climbs:
    """Sets as the solver sees them; shapes as in `InnermostMany`.

    Parameters
    ----------
    risk : ndarray, shape (b, m)
        Weight at risk; 1 where no hazard may stand.
    kept : ndarray of bool, shape (b, m)
        Where hazard may stand.
    first, after : ndarray of int, shape (b, n)
    weight : ndarray, shape (b, n)
        0 for what is no failure, or a certain one.
    """

    risk: FloatArray
    kept: BoolArray
    first: IntArray
    after: IntArray
    weight: FloatArray

    def on(self, some: IntArray) -> "_Climbs":
        """Return some of the sets."""
        return _Climbs(
            self.risk[some], self.kept[some], self.first[some], self.after[some], self.weight[some]
        )

    def within(self, steps: FloatArray) -> FloatArray:
        """Return the hazard each failure has to fail by, shape (b, n); 1 for no failure."""
        total = _from_nought(steps)
        here = np.take_along_axis(total, self.after, axis=1)
        here -= np.take_along_axis(total, self.first, axis=1)
        return np.where(self.weight > 0, here, 1.0)

    def spread(self, pull: FloatArray) -> FloatArray:
        """Add what each failure pulls to the intervals it may lie in, shape (b, m)."""
        change = self.counted(self.first, pull) - self.counted(self.after, pull)
        spread: FloatArray = np.cumsum(change, axis=1)[:, :-1]
        return spread

    def slope(self, within: FloatArray) -> FloatArray:
        """Gradient in the increments, shape (b, m); 0 where no hazard may stand."""
        pull = self.weight / np.expm1(np.minimum(within, 700.0))
        return np.where(self.kept, self.spread(pull) - self.risk, 0.0)

    def curved(self, within: FloatArray, free: BoolArray) -> FloatArray:
        """Second derivatives less their sign among the free, shape (b, m, m), else the identity.

        That of two intervals is the bend of all failures that may lie in both: those that begin
        no later than the first of the two and end after the second.
        """
        bend = self.weight / (2 * np.sinh(np.minimum(within, 700.0) / 2)) ** 2
        sets, size = self.risk.shape
        wide = size + 1
        place = (np.arange(sets)[:, None] * wide + self.first) * wide + self.after
        begun = np.bincount(place.ravel(), bend.ravel(), sets * wide * wide).astype(np.float64)
        both = np.cumsum(begun.reshape(sets, wide, wide), axis=1)[:, :size]
        both = np.cumsum(both[:, :, ::-1], axis=2)[:, :, -2::-1]
        here = np.arange(size)
        whole: FloatArray = both[:, np.minimum.outer(here, here), np.maximum.outer(here, here)]
        whole *= free[:, :, None] & free[:, None, :]
        # A trace of a ridge settles what the lives leave open.
        whole[:, here, here] *= 1 + _RIDGE
        whole[:, here, here] += np.where(free, np.finfo(np.float64).tiny, 1.0)
        return whole

    def gap(self, steps: FloatArray, slope: FloatArray) -> FloatArray:
        """Return how far each set is from its best, as `hazard_steps.climb` counts it."""
        excess = slope / self.risk
        gap: FloatArray = np.maximum(excess, np.where(steps > 0, -excess, 0.0)).max(axis=1)
        return gap

    def counted(self, place: IntArray, pull: FloatArray) -> FloatArray:
        """Add what each failure pulls at one place, shape (b, m + 1)."""
        sets, wide = self.risk.shape[0], self.risk.shape[1] + 1
        at = np.arange(sets)[:, None] * wide + place
        counted = np.bincount(at.ravel(), pull.ravel(), sets * wide).astype(np.float64)
        return counted.reshape(sets, wide)


def best_hazards(intervals: InnermostMany) -> tuple[FloatArray, BoolArray]:
    """Return the hazard of greatest likelihood of each set.

    Returns
    -------
    steps : ndarray, shape (b, m)
        Increments of the cumulative hazard; infinite where all who were watched failed.
    found : ndarray of bool, shape (b,)
        Where the best was found, to the gap that `hazard_steps.climb` aims at.
    """
    certain, climbs = _posed(intervals)
    steps = np.zeros(intervals.there.shape)
    found = np.zeros(len(steps), dtype=np.bool_)
    if steps.size:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            _follow(climbs, steps, found)
    steps[certain] = np.inf
    return steps, found


def _posed(intervals: InnermostMany) -> tuple[BoolArray, _Climbs]:
    """Return where failure is certain, and the rest, as `interval_likelihood` poses it."""
    risk, first, after = intervals.at_risk, intervals.first, intervals.after
    whole = _Climbs(risk, intervals.there, first, after, intervals.weight)
    certain = (whole.spread((whole.weight > 0).astype(np.float64)) > 0) & (risk <= 0)
    passed = _from_nought(certain.astype(np.float64))
    ahead = np.take_along_axis(passed, after, axis=1) > np.take_along_axis(passed, first, axis=1)
    weight = np.where(ahead, 0.0, intervals.weight)
    still = (weight > 0).astype(np.float64)
    ends = whole.counted(first, still) + whole.counted(after, still)
    useful = (whole.spread(still) > 0) & ~certain
    # Of intervals that the same failures share, the one that fewest have outlasted.
    alike = np.cumsum(ends[:, :-1] > 0, axis=1)
    row, place = np.nonzero(useful)
    order = np.lexsort((risk[row, place], alike[row, place], row))
    row, place = row[order], place[order]
    best = np.ones(row.size, dtype=np.bool_)
    best[1:] = (np.diff(row) > 0) | (np.diff(alike[row, place]) > 0)
    kept = np.zeros_like(useful)
    kept[row[best], place[best]] = True
    return certain, _Climbs(np.where(kept, risk, 1.0), kept, first, after, weight)


def _follow(climbs: _Climbs, steps: FloatArray, found: BoolArray) -> None:
    """Follow the prices down, and fill in the steps of the sets that come to rest."""
    left = np.arange(len(steps))
    x = _begun(climbs)
    price = np.where(climbs.kept, climbs.risk, 0.0)
    for _ in range(_MOST_STEPS):
        within = climbs.within(x)
        slope = climbs.slope(within)
        off = np.maximum(np.abs(slope + price) / climbs.risk, x * price).max(axis=1)
        near = np.flatnonzero(off < _NEAR)
        settled, well = _settled(climbs.on(near), x[near], price[near])
        steps[left[near[well]]], found[left[near[well]]] = settled[well], True
        on = np.delete(np.arange(left.size), near[well])
        if not on.size:
            return
        climbs, left = climbs.on(on), left[on]
        x, price = _stepped(climbs, x[on], price[on], within[on], slope[on])


def _begun(climbs: _Climbs) -> FloatArray:
    """Return increments as if each failure were spread evenly."""
    places = _from_nought(climbs.kept.astype(np.float64))
    many = np.take_along_axis(places, climbs.after, axis=1)
    many -= np.take_along_axis(places, climbs.first, axis=1)
    even = climbs.spread(climbs.weight / np.maximum(many, 1.0))
    return np.where(climbs.kept, np.log1p(even / climbs.risk), 0.0)


def _stepped(
    climbs: _Climbs, x: FloatArray, price: FloatArray, within: FloatArray, slope: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Take one Newton step towards a twentieth of what the prices cost."""
    kept = climbs.kept
    size = np.maximum(kept.sum(axis=1), 1)
    aim = (_AIMED * np.sum(x * price, axis=1) / size)[:, None]
    safe = np.where(kept, x, 1.0)
    matrix = climbs.curved(within, kept)
    places = np.arange(x.shape[1])
    matrix[:, places, places] += np.where(kept, price / safe, 0.0)
    wanted = np.where(kept, slope + aim / safe, 0.0)
    towards = np.linalg.solve(matrix, wanted[:, :, None])[:, :, 0].astype(np.float64)
    dearer: FloatArray = np.where(kept, (aim - price * towards) / safe - price, 0.0)
    for_x = _furthest(x, towards)
    return x + for_x * towards, price + _furthest(price, dearer) * dearer


def _furthest(values: FloatArray, change: FloatArray) -> FloatArray:
    """Return the share of a change, at most all, that leaves all values above 0, shape (b, 1)."""
    room = np.where(change < 0, -_SHORT * values / change, 1.0)
    share: FloatArray = room.min(axis=1, initial=1.0)[:, None]
    return share


def _settled(climbs: _Climbs, x: FloatArray, price: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Take Newton steps where hazard stands; return it, and where nothing is left to gain."""
    free = climbs.kept & (x > price / climbs.risk)
    x = np.where(free, x, 0.0)
    for _ in range(_SETTLING):
        within = climbs.within(x)
        slope = climbs.slope(within)
        if (climbs.gap(x, slope) <= AIM).all():
            break
        towards = np.linalg.solve(
            climbs.curved(within, free), np.where(free, slope, 0.0)[:, :, None]
        )
        x = x + towards[:, :, 0]
    else:
        slope = climbs.slope(climbs.within(x))
    return x, (climbs.gap(x, slope) <= AIM) & (x >= 0).all(axis=1)


def _from_nought(values: FloatArray) -> FloatArray:
    """Return running sums along rows that begin with 0, shape (b, m + 1)."""
    total = np.zeros((values.shape[0], values.shape[1] + 1))
    np.cumsum(values, axis=1, out=total[:, 1:])
    return total

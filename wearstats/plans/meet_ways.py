"""What a unit may do in a meet, and what each way costs: tables by number of runs.

What a unit costs depends on how its runs fall on its strips and not on when they are made. A
split (k0, k1, ..., km) says: k0 runs on the strips in use, then m restrips with so many runs on
each new set. The cheapest split of n runs with m restrips is found by dynamic programming.
"""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.plans.meet import Meet
from wearstats.plans.meet_prices import Prices

Split = tuple[int, ...]
"""Runs on the strips in use, then on each new set."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Which limits of a meet hold; all of them unless one is lifted to see whether it binds."""

    sets: bool = True
    hours: bool = True
    windows: bool = True
    service: bool = True
    bound: bool = True


ALL = Limits()


@dataclass(frozen=True, slots=True)
class Ways:
    """Costs of one unit by number of runs; the tables end where a limit forbids more.

    Parameters
    ----------
    old, old_left : ndarray, shape (k,)
        Cost of 0, 1, ... runs on the strips in use, and what is used up of them after.
    new, new_left : ndarray, shape (l,)
        The same for a new set, its price in the first.
    at_start : float
        What is used up of the strips before the meet.
    """

    old: FloatArray
    old_left: FloatArray
    new: FloatArray
    new_left: FloatArray
    at_start: float

    def cost(self, split: Split) -> float:
        """Return what a split costs, beyond what was used up before."""
        first, *others = split
        spent = float(self.old[first]) + sum(float(self.new[runs]) for runs in others)
        left = self.new_left[others[-1]] if others else self.old_left[first]
        return spent + float(left) - self.at_start


def ways(meet: Meet, prices: Prices, bound: float | None, limits: Limits) -> Ways:
    """Return the costs of one unit.

    Parameters
    ----------
    meet : Meet
    prices : Prices
    bound : float or None
        Least chance that a set of strips comes through every run planned on it.
    limits : Limits
    """
    old, old_left = _table(meet, prices, bound if limits.bound else None, limits, new=False)
    new, new_left = _table(meet, prices, bound if limits.bound else None, limits, new=True)
    return Ways(old, old_left, new, new_left, prices.used_up(prices.unit.age, new=False))


def _table(
    meet: Meet, prices: Prices, bound: float | None, limits: Limits, *, new: bool
) -> tuple[FloatArray, FloatArray]:
    unit, strips = prices.unit, prices.strips(new=new)
    start = 0.0 if new else unit.age
    limit = unit.service_limit_runs if limits.service else None
    spent = [prices.costs.planned if new else 0.0]
    left = [prices.used_up(start, new=new)]
    for runs in range(1, meet.runs + 1):
        before, after = start + meet.load * (runs - 1), start + meet.load * runs
        forbidden = unit.must_restrip and not new
        past = limit is not None and after > limit + 1e-9
        if forbidden or past or (bound is not None and strips.at(after) < bound):
            break
        spent.append(spent[-1] + prices.run(before, meet.load, new=new))
        left.append(prices.used_up(after, new=new))
    return np.array(spent), np.array(left)


@dataclass(frozen=True, slots=True)
class Cheapest:
    """The cheapest split of n runs with m restrips, for every n and m of one unit.

    Parameters
    ----------
    cost : ndarray, shape (restrips + 1, runs + 1)
        Infinite where there is none.
    last : ndarray of int, shape (restrips + 1, runs + 1)
        Runs on the last set of that split.
    before : ndarray of int
        The same of the sets before the last, of which nothing is left at the end.
    """

    cost: FloatArray
    last: IntArray
    before: IntArray

    def split(self, runs: int, restrips: int) -> Split:
        """Return the split."""
        if restrips == 0:
            return (runs,)
        found = [int(self.last[restrips, runs])]
        left = runs - found[0]
        for fitted in range(restrips - 1, 0, -1):
            found.append(int(self.before[fitted, left]))
            left -= found[-1]
        return (left, *reversed(found))


def cheapest(costs: Ways, runs: int, restrips: int) -> Cheapest:
    """Return the cheapest splits; a restrip is followed by at least one run of its unit."""
    shape = (restrips + 1, runs + 1)
    spent, ended = np.full(shape, np.inf), np.full(shape, np.inf)
    last, before = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    spent[0, : costs.old.size] = costs.old
    ended[0, : costs.old.size] = costs.old + costs.old_left - costs.at_start
    whole = costs.new + costs.new_left - costs.at_start
    for fitted in range(1, restrips + 1):
        for made in range(1, runs + 1):
            most = min(made, costs.new.size - 1)
            if most < 1:
                continue
            earlier = spent[fitted - 1, made - np.arange(1, most + 1)]
            for table, place, added in ((spent, before, costs.new), (ended, last, whole)):
                each = earlier + added[1 : most + 1]
                at = int(np.argmin(each))
                table[fitted, made], place[fitted, made] = each[at], at + 1
    return Cheapest(ended, last, before)

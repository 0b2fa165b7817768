"""What a run, a restrip and strips left over cost in a meet, for one unit.

The first burn-through of each set of strips is counted, and the runs it was still to make are then
made on other strips at g, the least cost per run of the unit; how, is planned anew. Running strips
that had already failed unseen costs a burn-through: the run is lost. With P(a) the chance, as known
today, that a set is sound at age a, a run from a to b costs

    burn_through * (P(a) - P(b)) + lost_psi * P(a) * loss(b) * (b - a) + (1 - P(a)) * g * (b - a)

and the first run on strips nobody has looked at counts P(a) as 1, save for lost boost.

Strips left at the end of the meet have their worth, or no plan would ever renew any. Used up is
what new strips would gain over them under the best plan,

    used(a) = planned - max over n of sum of what n more runs gain against g,

nought for new strips, a whole set's price for strips that should come off.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError
from wearstats.estimates import Estimate
from wearstats.plans.chance import MEAN_NOTE
from wearstats.plans.draws import SurvivalDraws, estimate_over, sound
from wearstats.plans.meet import MeetUnit
from wearstats.records.costs import Costs

_FAR = 300
_GRAIN = 9
"""Digits to which ages are told apart."""


def grain(age: float) -> float:
    """Return an age such that equal sums of loads are equal."""
    return round(age, _GRAIN)


@dataclass(frozen=True, slots=True)
class Strips:
    """One set of strips as seen from today.

    Parameters
    ----------
    ages : ndarray, shape (m,), runs
        Rising; those of a meet and, from the first, whole runs on.
    by_draw : ndarray, shape (n, m)
        Chance of being sound at each.
    weights : ndarray, shape (n,)
    """

    ages: FloatArray
    by_draw: FloatArray
    weights: FloatArray

    def at(self, age: float) -> float:
        """Return the chance of being sound at an age of the grid."""
        return float(self.weights @ self.by_draw[:, int(np.searchsorted(self.ages, grain(age)))])

    def failing(self, age: float) -> FloatArray:
        """Return by draw the chance of having failed by an age of the grid, shape (n,)."""
        return np.asarray(1.0 - self.by_draw[:, int(np.searchsorted(self.ages, grain(age)))])

    def lasting(self, age: float, level: float) -> Estimate:
        """Return the chance of being sound at an age of the grid, with its interval."""
        return estimate_over(1.0 - self.failing(age), self.weights, level, note=MEAN_NOTE)


@dataclass(frozen=True, slots=True)
class Prices:
    """Costs of a meet for one unit.

    Parameters
    ----------
    unit : MeetUnit
    old, new : Strips
        The strips in use, and a set yet to be fitted.
    costs : Costs
    least_per_run : float
        Of the best plan on this unit; 0 where only work is counted.
    counts_strips : bool
        Whether strips left over have a worth.
    """

    unit: MeetUnit
    old: Strips
    new: Strips
    costs: Costs
    least_per_run: float
    counts_strips: bool

    def strips(self, *, new: bool) -> Strips:
        """Return the strips in use or a new set."""
        return self.new if new else self.old

    def before(self, age: float, *, new: bool) -> float:
        """Return the chance that failing from here on is yet to be paid for."""
        if new or grain(age) > grain(self.unit.age):
            return self.strips(new=new).at(age)
        return 1.0

    def run(self, age: float, load: float, *, new: bool) -> float:
        """Return what a run of this load costs from this age."""
        strips = self.strips(new=new)
        before = self.before(age, new=new)
        fails, made_on_others = before - strips.at(age + load), (1.0 - before) * load
        lost = float(self.losses(np.array([age + load]))[0]) * load * strips.at(age)
        own = self.costs.burn_through * fails + self.costs.lost_psi_per_run * lost
        return own + self.least_per_run * made_on_others

    def used_up(self, age: float, *, new: bool) -> float:
        """Return what is used up of the strips at this age, money."""
        if not self.counts_strips:
            return 0.0
        if self.unit.must_restrip and not new:
            return self.costs.planned
        strips = self.strips(new=new)
        still = strips.at(age)
        return still * self._used(strips, age) + (1 - still) * self.costs.planned

    def _used(self, strips: Strips, age: float) -> float:
        limit = self.unit.service_limit_runs
        left = _FAR if limit is None else min(_FAR, max(math.floor(limit - age + 1e-9), 0))
        if left == 0:
            return self.costs.planned
        ages = np.asarray(age + np.arange(left + 1), dtype=np.float64)
        # Whole runs on from an age of the grid are on the grid, up to where nothing is left.
        curve = np.interp(ages, strips.ages, strips.weights @ strips.by_draw)
        if not curve[0] > 0:
            return self.costs.planned
        gains = _gains(curve / curve[0], self.losses(ages[1:]), self.costs, self.least_per_run)
        return self.costs.planned - max(float(gains.max()), 0.0)

    def losses(self, ages: FloatArray) -> FloatArray:
        """Return psi lost over the runs that end at these ages."""
        loss = self.unit.loss_psi_by_age
        return np.zeros(ages.size) if loss is None else np.asarray(loss(ages), dtype=np.float64)


def _gains(curve: FloatArray, losses: FloatArray, costs: Costs, least: float) -> FloatArray:
    """Return what 1, 2, ... runs gain against the least cost per run, shape (n,)."""
    a_run = least - costs.lost_psi_per_run * losses
    return np.asarray(np.cumsum(a_run * curve[:-1]) - costs.burn_through * (1 - curve[1:]))


def priced(unit: MeetUnit, costs: Costs, *, load: float, runs: int, counts_strips: bool) -> Prices:
    """Return the costs of a meet for one unit.

    Parameters
    ----------
    unit : MeetUnit
    costs : Costs
    load, runs : float, int
        Of each run of the meet, and how many there are.
    counts_strips : bool

    Raises
    ------
    PlanError
        No draw under which its strips could have come this far.
    """
    gathered = [grain(load * made) for made in range(runs + 1)]
    new = _strips(unit, unit.draws, 0.0, gathered)
    in_use = unit.draws if unit.strips is None else unit.strips
    old = new if unit.must_restrip else _strips(unit, in_use, unit.age, gathered)
    prices = Prices(unit, old, new, costs, 0.0, counts_strips)
    return replace(prices, least_per_run=_least_per_run(prices)) if counts_strips else prices


def _strips(unit: MeetUnit, draws: SurvivalDraws, age: float, gathered: list[float]) -> Strips:
    last_look = unit.last_look if age > 0 else 0.0
    further = np.add.outer(np.arange(_FAR + 1), gathered).ravel()
    ages = np.unique(np.round(age + further, _GRAIN))
    sounding = sound(draws, np.concatenate([[last_look], ages]))
    at_look = sounding.at(last_look)
    seen = at_look > 0
    if not bool(seen.any()):
        message = (
            f"the fitted life rules out sound strips at {last_look:g} runs on {unit.unit}: "
            "the fit and this unit's records disagree"
        )
        raise PlanError(message)
    columns = sounding.survival[seen][:, np.searchsorted(sounding.ages, ages)]
    weights = sounding.weights[seen] / sounding.weights[seen].sum()
    return Strips(ages, columns / at_look[seen, None], weights)


def _least_per_run(prices: Prices) -> float:
    """Return the least cost per run of new strips by their mean curve."""
    limit = prices.unit.service_limit_runs
    most = _FAR if limit is None else min(max(math.floor(limit), 1), _FAR)
    runs = np.arange(most + 1, dtype=np.float64)
    curve = np.interp(runs, prices.new.ages, prices.new.weights @ prices.new.by_draw)
    costs = prices.costs
    lost = np.cumsum(curve[:-1] * prices.losses(runs[1:]))
    cycle = costs.planned + costs.burn_through * (1 - curve[1:]) + costs.lost_psi_per_run * lost
    return float(np.min(cycle / np.cumsum(curve[:-1])))

"""From a meet and the units at hand to the plan, or to the limit that leaves none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from wearstats.errors import PlanError, UsageError
from wearstats.estimates import Estimate
from wearstats.plans.draws import weighted_quantile
from wearstats.plans.meet import Meet, MeetPlan, MeetRun, MeetUnit
from wearstats.plans.meet_order import Turn, in_order
from wearstats.plans.meet_prices import Prices, priced
from wearstats.plans.meet_share import Shares, share_out, worth_asking
from wearstats.plans.meet_solve import Windows, within_windows
from wearstats.plans.meet_ways import ALL, Limits, Split, Ways, cheapest, ways
from wearstats.plans.meet_words import enough, named, on_next_best
from wearstats.plans.restrip import USUAL_BOUND
from wearstats.plans.words import runs_in_words
from wearstats.records.costs import Costs

_WORK_ALONE = Costs(planned=1.0, burn_through=0.01)
"""Without costs: as few restrips as keep the chance asked for, then the least risk."""
_HAIR = 1e-7
_COUNT = Costs(planned=1.0, burn_through=0.0)


def plan_meet(
    meet: Meet, units: Sequence[MeetUnit], costs: Costs | None, *, level: float = 0.9
) -> MeetPlan:
    """Return which unit makes which run, and when to restrip.

    The plan is worked out before the meet from what is known today, and is to be worked out anew
    when a look or a failure says more. No other plan within the limits costs less.

    Parameters
    ----------
    meet : Meet
    units : sequence of MeetUnit
    costs : Costs or None
        None: the fewest restrips with which every set of strips keeps the chance asked for (0.9
        where none is), then the least risk.
    level : float
        Nominal coverage of the intervals.

    Raises
    ------
    UsageError
        No units, one named twice, or one the meet names that is not there.
    PlanError
        Nothing fits: the message names the limit that binds.
    """
    chosen = _at_hand(meet, units)
    weighed = _WORK_ALONE if costs is None else costs
    bound = USUAL_BOUND if meet.bound is None and costs is None else meet.bound
    asked = _Asked(meet, _priced(meet, chosen, weighed, strips=costs is not None), bound, ALL)
    best = asked.found()
    if best is None:
        message, hint = _which_limit(meet, chosen, bound)
        raise PlanError(message, hint=hint)
    plan = _told(asked, best, money=costs is not None, level=level)
    other = asked.found(unlike=best)
    if other is not None:
        plan = replace(plan, next_best=_told(asked, other, money=costs is not None, level=level))
    return replace(plan, remarks=on_next_best(plan))


def _at_hand(meet: Meet, units: Sequence[MeetUnit]) -> list[MeetUnit]:
    names = [unit.unit for unit in units]
    missing = [name for name in meet.units or () if name not in names]
    if missing:
        message = f"no unit {', '.join(missing)} is in use"
        raise UsageError(message, hint=f"In use: {', '.join(sorted(names)) or 'none'}.")
    chosen = [unit for unit in units if meet.units is None or unit.unit in meet.units]
    if not chosen or len({*names}) < len(names):
        message = "a unit is named twice" if chosen else "no unit is in use"
        raise UsageError(message)
    return sorted(chosen, key=lambda unit: unit.unit)


def _priced(
    meet: Meet, units: Sequence[MeetUnit], costs: Costs, *, strips: bool
) -> tuple[Prices, ...]:
    return tuple(
        priced(unit, costs, load=meet.load, runs=meet.runs, counts_strips=strips) for unit in units
    )


@dataclass(frozen=True, slots=True)
class _Found:
    splits: tuple[Split, ...]
    done: Windows | None
    cost: float

    @property
    def shares(self) -> Shares:
        return tuple((sum(split), len(split) - 1) for split in self.splits)


@dataclass(frozen=True, slots=True)
class _Asked:
    """A meet with its prices, and the limits that hold."""

    meet: Meet
    prices: tuple[Prices, ...]
    bound: float | None
    limits: Limits

    def found(self, unlike: _Found | None = None) -> _Found | None:
        """Return the cheapest splits and, where windows limit them, when restrips are done.

        Parameters
        ----------
        unlike : _Found, optional
            The best plan; one that shares out otherwise is wanted.
        """
        barred = None if unlike is None else unlike.shares
        meet, limits = self.meet, self.limits
        costs = [ways(meet, each, self.bound, limits) for each in self.prices]
        most = meet.most_restrips(sets=limits.sets, hours=limits.hours)
        tables = [cheapest(each, meet.runs, most) for each in costs]
        splits = share_out(tables, meet.runs, most, barred)
        if splits is None:
            return None
        open_for = meet.restrips_by_window() if limits.windows else None
        if open_for is None:
            return _Found(splits, None, _cost(costs, splits))
        most = min(most, sum(open_for))
        timed = within_windows(costs, open_for, most, held=splits)
        if timed is None:
            least = max(_cost(costs, splits), -np.inf if unlike is None else unlike.cost)
            asked = partial(within_windows, costs, open_for, most, unlike=barred, at_least=least)
            # One restrip a unit is solved soon, and bounds what else is worth asking.
            timed = asked(reach=[(meet.runs, min(most, 1))] * len(costs))
            within = np.inf if timed is None else _cost(costs, timed[0]) + _HAIR
            if within > least + 2 * _HAIR:
                timed = asked(reach=worth_asking(tables, meet.runs, most, within))
        return None if timed is None else _Found(*timed, _cost(costs, timed[0]))


def _cost(costs: Sequence[Ways], splits: Sequence[Split]) -> float:
    return sum(each.cost(split) for each, split in zip(costs, splits, strict=True))


def _told(asked: _Asked, found: _Found, *, money: bool, level: float) -> MeetPlan:
    meet, prices = asked.meet, asked.prices
    turns = in_order(found.splits, found.done, meet.runs)
    fitted = _fitted(found, turns)
    made: dict[Turn, int] = {}
    steps = []
    for run, turn in enumerate(turns):
        price, new = prices[turn.unit], turn.number > 0
        before = (0.0 if new else price.unit.age) + meet.load * made.get(turn, 0)
        made[turn] = made.get(turn, 0) + 1
        steps.append(
            MeetRun(
                run=run + 1,
                unit=price.unit.unit,
                age_before=before,
                age_after=before + meet.load,
                lasts=price.strips(new=new).lasting(before + meet.load, level),
                restrips=tuple(prices[unit].unit.unit for unit in fitted.get(run, ())),
            )
        )
    sets = sum(restrips for _, restrips in found.shares)
    return MeetPlan(
        steps=tuple(steps),
        cost=found.cost if money else None,
        burn_throughs=_burn_throughs(asked, found, level),
        sets=sets,
        hours=sets * meet.hours_per_restrip,
        currency=prices[0].costs.currency,
        value_of_strips=_worth(asked, found) if money else None,
    )


def _fitted(found: _Found, turns: Sequence[Turn]) -> dict[int, list[int]]:
    """Return the units restripped before each run."""
    done = found.done
    if done is None:
        first: Windows = {}
        for run, turn in enumerate(turns):
            if turn.number:
                first.setdefault((turn.unit, turn.number), run)
        done = first
    by_run: dict[int, list[int]] = {}
    for (unit, _), run in sorted(done.items()):
        by_run.setdefault(run, []).append(unit)
    return by_run


def _sets_run(asked: _Asked, split: Split, unit: int) -> list[tuple[bool, float]]:
    """Return for each set of strips whether it is new and its age in the end."""
    first, *others = split
    load = asked.meet.load
    return [
        (False, asked.prices[unit].unit.age + load * first),
        *((True, load * made) for made in others),
    ]


def _worth(asked: _Asked, found: _Found) -> float:
    """Return what more is used up of the strips in the end than at the start."""
    more = 0.0
    for unit, split in enumerate(found.splits):
        price = asked.prices[unit]
        new, age = _sets_run(asked, split, unit)[-1]
        more += price.used_up(age, new=new) - price.used_up(price.unit.age, new=False)
    return more


def _burn_throughs(asked: _Asked, found: _Found, level: float) -> Estimate:
    """Return the expected first burn-throughs of every set of strips run."""
    middle = low = high = 0.0
    tail = (1 - level) / 2
    for unit, split in enumerate(found.splits):
        price = asked.prices[unit]
        for (new, age), made in zip(_sets_run(asked, split, unit), split, strict=True):
            if made:
                strips = price.strips(new=new)
                each = strips.failing(age)
                middle += float(strips.weights @ each)
                low += float(weighted_quantile(each, strips.weights, tail))
                high += float(weighted_quantile(each, strips.weights, 1 - tail))
    return Estimate(middle, low, high, level, "burn-throughs")


def _which_limit(meet: Meet, units: Sequence[MeetUnit], bound: float | None) -> tuple[str, str]:
    """Return which limit leaves no plan, and what would do.

    Each limit is lifted alone; where none alone is enough, all that stand in the way are named.
    """
    prices = _priced(meet, units, _COUNT, strips=False)

    def restrips_without(*lifted: str) -> int | None:
        limits = Limits(**dict.fromkeys(lifted, False))
        found = _Asked(meet, prices, bound, limits).found()
        return None if found is None else sum(fitted for _, fitted in found.shares)

    ahead = f"no plan makes {runs_in_words(meet.runs)}"
    asked = _limits_asked(meet, units, bound)
    alone = {name: restrips_without(name) for name in asked}
    able = [(name, needed) for name, needed in alone.items() if needed is not None]
    if able:
        said = " or ".join(named(name, meet, bound) for name, _ in able)
        hints = (enough(name, needed, meet) for name, needed in able)
        return f"{ahead}: {said} binds", " ".join(hint for hint in hints if hint)
    if not asked or restrips_without(*asked) is None:
        return f"{ahead} with the units at hand", ""
    needed = list(asked)
    for name in asked:
        fewer = [each for each in needed if each != name]
        if restrips_without(*fewer) is not None:
            needed = fewer
    together = " and ".join(named(name, meet, bound) for name in needed)
    return f"{ahead}: {together} bind together", ""


def _limits_asked(meet: Meet, units: Sequence[MeetUnit], bound: float | None) -> list[str]:
    given = {
        "sets": meet.sets is not None,
        "hours": meet.hours is not None,
        "windows": meet.windows is not None,
        "service": any(unit.service_limit_runs is not None for unit in units),
        "bound": bound is not None,
    }
    return [name for name, there in given.items() if there]

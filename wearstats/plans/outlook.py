"""Where every unit stands, and what the records speak for."""

import functools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from wearstats.errors import PlanError, UsageError
from wearstats.estimates import Estimate
from wearstats.lives import StripLives
from wearstats.plans.advice import Advice, Case, Stakes, Weighed, advise, over_service_limit
from wearstats.plans.chance import Chances, chances
from wearstats.plans.draws import SurvivalDraws, checked_share
from wearstats.plans.fleet import FleetOutlook, UnitApart, UnitOutlook
from wearstats.plans.hot import HotDraws
from wearstats.plans.in_use import FAILED, DrawsOfUnit, InUse
from wearstats.plans.restrip import LossByAge, RestripInterval, RestripPlan
from wearstats.records.schema import MODES
from wearstats.records.season import Season

LossOfUnit = Callable[[str, int | None], LossByAge | None]
"""Boost lost by run on a unit by its name: of one of its builds, or of the next (None)."""


def outlook(
    season: Season,
    lives: StripLives,
    draws: SurvivalDraws,
    *,
    runs_ahead: int,
    plan: RestripPlan | None = None,
    loss_psi_by_age: LossByAge | None = None,
    level: float = 0.9,
    draws_of: DrawsOfUnit | None = None,
    loss_of: LossOfUnit | None = None,
    factors: Mapping[str, Estimate] | None = None,
) -> FleetOutlook:
    """Return where every unit stands and what the records speak for.

    Parameters
    ----------
    season : Season
    lives : StripLives
    draws : SurvivalDraws
        Of burn-through.
    runs_ahead : int
        Full runs to be made.
    plan : RestripPlan, optional
        Holds the chance asked for and the costs; a service limit of its own holds for every
        unit, beside the unit's own. None: the season's costs, if any, and the usual bound.
    loss_psi_by_age : callable, optional
        See `RestripPlan.best`.
    level : float
        Nominal coverage of the intervals.
    draws_of : callable, optional
        Draws of burn-through on a unit by its name, see `UnitEffects.draws_of`: each unit is then
        told by its own draws and gets a restrip interval of its own.
    loss_of : callable, optional
        Boost lost on a unit, by its own readings; None takes `loss_psi_by_age` for every unit.
    factors : mapping of str to Estimate, optional
        On the hazard of strips on each unit, see `UnitEffects.factors`, to say what sets it apart.

    Raises
    ------
    UsageError
        No runs ahead, or a level that is none.
    """
    if runs_ahead < 1 or runs_ahead != int(runs_ahead):
        message = f"the runs ahead must be a whole number from 1 up, not {runs_ahead}"
        raise UsageError(message)
    checked_share(level, "the level")
    plan = RestripPlan(season.costs) if plan is None else plan
    usable = lives.usable
    longest = float(usable["lower"].max()) if len(usable) else None
    failures = int((usable["mode"] == FAILED).sum())
    interval = plan.best(draws, loss_psi_by_age, level, longest_seen=longest, failures=failures)
    limits = _service_limits(season.units, plan.service_limit_runs)
    apart = _units_apart(season.units, lives.frame)
    names = [*season.units["unit"], *lives.frame["unit"]]
    planned = [name for name in dict.fromkeys(names) if name not in apart]

    of_fleet = _Curve(draws, interval)
    in_use = InUse.of_lives(lives, draws, draws_of)

    def lost_on(name: str, build: int | None) -> LossByAge | None:
        return loss_psi_by_age if loss_of is None else loss_of(name, build)

    @functools.cache
    def curve_of(name: str, limit: float | None) -> _Curve:
        if draws_of is None:
            return of_fleet
        own = in_use.of_unit(name)
        held = replace(plan, service_limit_runs=limit)
        return _Curve(own, held.best(own, lost_on(name, None), level, longest_seen=longest))

    @functools.cache
    def chances_of(curve: _Curve, age: float, last_look: float) -> Chances:
        return chances(
            curve.draws, age=age, last_look=last_look, runs_ahead=runs_ahead, level=level
        )

    ask = _Ask(
        chances_of,
        curve_of,
        int(runs_ahead),
        plan,
        lost_on,
        in_use=in_use,
        failures=failures,
        factors=factors or {},
    )
    return FleetOutlook(
        units=tuple(
            _unit_outlook(name, lives, ask, limits.get(name, plan.service_limit_runs))
            for name in sorted(planned)
        ),
        apart=tuple(UnitApart(name, apart[name]) for name in sorted(apart)),
        restrip=interval,
        runs_ahead=int(runs_ahead),
        bound=plan.least_chance,
        level=level,
        lives=len(usable),
        failures=failures,
        left_out=len(lives.frame) - len(usable),
        simulated=season.simulated,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    draws: SurvivalDraws
    interval: RestripInterval


@dataclass(frozen=True, slots=True)
class _Ask:
    chances_of: Callable[[_Curve, float, float], Chances]  # age and last look: units share ages
    curve_of: Callable[[str, float | None], _Curve]
    runs_ahead: int
    plan: RestripPlan
    lost_on: LossOfUnit
    in_use: InUse
    failures: int
    factors: Mapping[str, Estimate]


@dataclass(frozen=True, slots=True, eq=False)
class _Strips:
    """The strips in use on a unit: its curve, what a look that found them hot adds, the stakes."""

    curve: _Curve
    hot: HotDraws | None
    stakes: Stakes | None


def _stakes(
    ask: _Ask, interval: RestripInterval, age: float, loss: LossByAge | None
) -> Stakes | None:
    costs, least = ask.plan.costs, interval.cost_by_draw
    if costs is None or least is None:
        return None
    runs = np.asarray(age + 1.0 + np.arange(ask.runs_ahead), dtype=np.float64)
    lost = np.zeros(len(runs)) if loss is None else loss(runs)
    return Stakes(
        least_per_run=least,
        burn_through=costs.burn_through,
        lost_boost=tuple((costs.lost_psi_per_run * lost).tolist()),
        currency=costs.currency,
    )


def _service_limits(units: pd.DataFrame, general: float | None) -> dict[str, float]:
    """Return each unit's own limit, or the general one where that is lower."""
    own = units.dropna(subset=["service_limit_runs"])
    ceiling = math.inf if general is None else general
    return {
        str(name): min(float(limit), ceiling)
        for name, limit in zip(own["unit"], own["service_limit_runs"], strict=True)
    }


def _units_apart(units: pd.DataFrame, builds: pd.DataFrame) -> dict[str, str]:
    apart = {
        str(name): f"retired on {pd.Timestamp(day).date().isoformat()}"
        for name, day in zip(units["unit"], units["retired"], strict=True)
        if pd.notna(day)
    }
    for name, group in builds.groupby("unit", sort=False):
        last = group.loc[group["build"].idxmax()]
        if not bool(last["open"]) and last["ending"] in {"retired", "sold"}:
            apart.setdefault(str(name), str(last["ending"]))
    return apart


def _unit_outlook(name: str, lives: StripLives, ask: _Ask, limit: float | None) -> UnitOutlook:
    builds = lives.frame[(lives.frame["unit"] == name) & lives.frame["open"].astype(bool)]
    if builds.empty:
        reason = "It cannot be told: no strips in use are on record."
        return UnitOutlook(name, Advice.LOOK, reason, service_limit_runs=limit)
    curve = ask.curve_of(name, limit)
    current = builds.loc[builds["build"].idxmax()]
    build = int(current["build"])
    age = float(current["age"]) if pd.notna(current["age"]) else None
    state = _last_state(lives.runs, name, build)
    # A build left out of the fit claims no failure, yet what was seen was seen.
    failed = current["mode"] or (state if state in MODES else "")
    if failed:
        reason = f"The last look found the strips {failed}."
        return UnitOutlook(
            name,
            Advice.RESTRIP,
            reason,
            build=build,
            age=age,
            service_limit_runs=limit,
            failed=True,
        )
    if age is None or current["left_out"]:
        reason = f"It cannot be told: {_why_untold(lives, name, build)}."
        return UnitOutlook(name, Advice.LOOK, reason, build=build, service_limit_runs=limit)
    looked = bool(pd.notna(current["last_look"]))
    last_look = min(float(current["last_look"] if looked else current["entry"]), age)
    hot = ask.in_use.hot(name, build)
    case = Case(
        age=age,
        last_look=last_look,
        ever_looked=looked and last_look > 0,
        hot="" if hot is None else hot.seen.words,
        runs_ahead=ask.runs_ahead,
        bound=ask.plan.least_chance,
        asks_for_chance=ask.plan.asks_for_chance,
        service_limit_runs=limit,
        cost_of_look=None if ask.plan.costs is None else ask.plan.costs.look,
        failures=ask.failures,
        factor=ask.factors.get(name),
    )
    stakes = _stakes(ask, curve.interval, age, ask.lost_on(name, build))
    return _told(name, build, case, ask, _Strips(curve, hot, stakes))


def _why_untold(lives: StripLives, name: str, build: int) -> str:
    for left in lives.left_out:
        if left.unit == name and left.build == build:
            return f"this build is left out of the fit ({left.message.rstrip('.')})"
    return "the runs on these strips are not known"


def _last_state(runs: pd.DataFrame, name: str, build: int) -> str | None:
    seen = runs[(runs["unit"] == name) & (runs["build"] == build)]["strips"].dropna()
    return None if seen.empty else str(seen.iloc[-1])


def _told(name: str, build: int, case: Case, ask: _Ask, strips: _Strips) -> UnitOutlook:
    curve, hot = strips.curve, strips.hot

    def outlook_of(
        advice: Advice,
        reason: str,
        found: Chances | None = None,
        weighed: Weighed | None = None,
    ) -> UnitOutlook:
        return UnitOutlook(
            name,
            advice,
            reason,
            build=build,
            age=case.age,
            last_look=case.last_look,
            chances=found,
            factor=case.factor,
            service_limit_runs=case.service_limit_runs,
            interval=None if ask.in_use.draws_of is None else curve.interval,
            strips=hot,
            gain=None if weighed is None else weighed.gain,
            value_of_look=None if weighed is None else weighed.value_of_look,
        )

    try:
        found = ask.chances_of(curve, case.age, case.last_look)
        if hot is not None:
            of_hot = chances(
                hot,
                age=case.age,
                last_look=case.last_look,
                runs_ahead=ask.runs_ahead,
                level=found.ahead.level,
            )
            found = replace(of_hot, ahead_if_new=found.ahead_if_new)
    except PlanError as error:
        limit = over_service_limit(case)
        if limit is not None:
            return outlook_of(Advice.RESTRIP, limit)
        return outlook_of(Advice.LOOK, f"It cannot be told: {error}.")
    weighed = None if strips.stakes is None else strips.stakes.weighed(found)
    return outlook_of(*advise(case, found, weighed), found, weighed)

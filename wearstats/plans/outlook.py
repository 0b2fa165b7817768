"""Where every unit stands, and what the records speak for."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import pandas as pd

from wearstats.errors import PlanError, UsageError
from wearstats.estimates import Estimate
from wearstats.plans.advice import Advice, Case, advise
from wearstats.plans.cautions import CAUTIONS
from wearstats.plans.chance import Chances, chances
from wearstats.plans.draws import SurvivalDraws, checked_share
from wearstats.plans.restrip import LossByAge, RestripInterval, RestripPlan

FAILED = "burned"
"""The failure whose life the draws describe."""


class SeasonNow(Protocol):
    """What an outlook asks of a season; `wearstats.records.season.Season` has it."""

    @property
    def units(self) -> pd.DataFrame:
        """Columns unit, service_limit_runs, retired."""
        ...

    @property
    def simulated(self) -> bool:
        """Whether the records are made up."""
        ...


class LivesNow(Protocol):
    """What an outlook asks of strip lives; `wearstats.lives.StripLives` has it."""

    @property
    def frame(self) -> pd.DataFrame:
        """One row for each build: columns unit, build, entry, lower, mode, ending, age,
        last_look, open, left_out.
        """  # noqa: D205 - a list of columns
        ...

    @property
    def runs(self) -> pd.DataFrame:
        """One row for each run, in order: columns unit, build, strips."""
        ...


@dataclass(frozen=True, slots=True)
class UnitOutlook:
    """Where one unit stands.

    Attributes
    ----------
    unit : str
    build : int or None
        None where no build is in use.
    age, last_look, runs_since_look : float or None
        Load-weighted runs on the strips now, when last known sound, and between the two.
    sound_now, ahead, ahead_if_sound : Estimate or None
        See `wearstats.plans.chance`; None where it cannot be told.
    advice : Advice
    reason : str
        One sentence.
    service_limit_runs : float or None
    """

    unit: str
    build: int | None
    age: float | None
    last_look: float | None
    sound_now: Estimate | None
    ahead: Estimate | None
    ahead_if_sound: Estimate | None
    advice: Advice
    reason: str
    service_limit_runs: float | None

    @property
    def runs_since_look(self) -> float | None:
        """Runs nobody has looked after."""
        if self.age is None or self.last_look is None:
            return None
        return self.age - self.last_look

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "unit": self.unit,
            "build": self.build,
            "age": self.age,
            "last_look": self.last_look,
            "runs_since_look": self.runs_since_look,
            "sound_now": _plain(self.sound_now),
            "ahead": _plain(self.ahead),
            "ahead_if_sound": _plain(self.ahead_if_sound),
            "advice": self.advice.value,
            "reason": self.reason,
            "service_limit_runs": self.service_limit_runs,
        }


@dataclass(frozen=True, slots=True)
class UnitApart:
    """A unit that is not planned for, and why."""

    unit: str
    why: str


@dataclass(frozen=True, slots=True)
class FleetOutlook:
    """Where the fleet stands.

    Attributes
    ----------
    units : tuple of UnitOutlook
    apart : tuple of UnitApart
        Retired, sold.
    restrip : RestripInterval
        For the fleet, without any one unit's service limit.
    runs_ahead : int
    bound, level : float
    lives, failures, left_out : int
        Lives and burn-throughs behind the numbers, and builds set aside from the fit.
    simulated : bool
    cautions : tuple of str
        To be shown wherever an advice is.
    """

    units: tuple[UnitOutlook, ...]
    apart: tuple[UnitApart, ...]
    restrip: RestripInterval
    runs_ahead: int
    bound: float
    level: float
    lives: int
    failures: int
    left_out: int
    simulated: bool
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def frame(self) -> pd.DataFrame:
        """One row for each unit; each chance as estimate, low and high."""
        return pd.DataFrame([_row(unit) for unit in self.units], columns=_COLUMNS)

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "runs_ahead": self.runs_ahead,
            "bound": self.bound,
            "level": self.level,
            "lives": self.lives,
            "failures": self.failures,
            "left_out": self.left_out,
            "simulated": self.simulated,
            "units": [unit.as_dict() for unit in self.units],
            "apart": [{"unit": unit.unit, "why": unit.why} for unit in self.apart],
            "restrip_interval": self.restrip.as_dict(),
            "cautions": list(self.cautions),
        }


_CHANCES = ("sound_now", "ahead", "ahead_if_sound")
_COLUMNS = [
    "unit",
    "build",
    "age",
    "last_look",
    "runs_since_look",
    *(f"{name}{end}" for name in _CHANCES for end in ("", "_low", "_high")),
    "advice",
    "reason",
    "service_limit_runs",
]


def _plain(estimate: Estimate | None) -> Any:
    return None if estimate is None else estimate.as_dict()


def _row(unit: UnitOutlook) -> dict[str, Any]:
    row = unit.as_dict()
    for name in _CHANCES:
        estimate = getattr(unit, name)
        row[name] = None if estimate is None else estimate.estimate
        row[f"{name}_low"] = None if estimate is None else estimate.low
        row[f"{name}_high"] = None if estimate is None else estimate.high
    return row


def outlook(
    season: SeasonNow,
    lives: LivesNow,
    draws: SurvivalDraws,
    *,
    runs_ahead: int,
    plan: RestripPlan | None = None,
    loss_psi_by_age: LossByAge | None = None,
    level: float = 0.9,
) -> FleetOutlook:
    """Return where every unit stands and what the records speak for.

    Parameters
    ----------
    season : SeasonNow
    lives : LivesNow
    draws : SurvivalDraws
        Of burn-through.
    runs_ahead : int
        Full runs to be made.
    plan : RestripPlan, optional
        Holds the chance asked for and the costs; a service limit of its own holds for every
        unit, beside the unit's own.
    loss_psi_by_age : callable, optional
        See `RestripPlan.best`.
    level : float
        Nominal coverage of the intervals.

    Raises
    ------
    UsageError
        No runs ahead, or a level that is none.
    """
    if runs_ahead < 1 or runs_ahead != int(runs_ahead):
        message = f"the runs ahead must be a whole number from 1 up, not {runs_ahead}"
        raise UsageError(message)
    checked_share(level, "the level")
    plan = RestripPlan() if plan is None else plan
    usable = lives.frame[~lives.frame["left_out"].astype(bool)]
    longest = float(usable["lower"].max()) if len(usable) else None
    interval = plan.best(draws, loss_psi_by_age, level, longest)
    limits = _service_limits(season.units, plan.service_limit_runs)
    apart = _units_apart(season.units, lives.frame)
    names = [*season.units["unit"], *lives.frame["unit"]]
    planned = [name for name in dict.fromkeys(names) if name not in apart]
    ask = _Ask(draws, int(runs_ahead), plan.bound, level, interval)
    return FleetOutlook(
        units=tuple(
            _unit_outlook(name, lives, ask, limits.get(name, plan.service_limit_runs))
            for name in sorted(planned)
        ),
        apart=tuple(UnitApart(name, apart[name]) for name in sorted(apart)),
        restrip=interval,
        runs_ahead=int(runs_ahead),
        bound=plan.bound,
        level=level,
        lives=len(usable),
        failures=int((usable["mode"] == FAILED).sum()),
        left_out=len(lives.frame) - len(usable),
        simulated=season.simulated,
    )


@dataclass(frozen=True, slots=True)
class _Ask:
    draws: SurvivalDraws
    runs_ahead: int
    bound: float
    level: float
    interval: RestripInterval


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


def _unit_outlook(name: str, lives: LivesNow, ask: _Ask, limit: float | None) -> UnitOutlook:
    builds = lives.frame[(lives.frame["unit"] == name) & lives.frame["open"].astype(bool)]
    if builds.empty:
        why = "no strips in use are on record"
        return _untold(name, None, None, limit, Advice.LOOK, f"It cannot be told: {why}.")
    current: Mapping[str, Any] = builds.loc[builds["build"].idxmax()].to_dict()
    build = int(current["build"])
    age = float(current["age"]) if pd.notna(current["age"]) else None
    if current["mode"]:
        reason = f"The last look found the strips {current['mode']}."
        return _untold(name, build, age, limit, Advice.RESTRIP, reason)
    if current["left_out"]:
        why = "the records of this build disagree and it is left out of the fit"
        return _untold(name, build, None, limit, Advice.LOOK, f"It cannot be told: {why}.")
    if age is None:
        why = "the runs on these strips are not known"
        return _untold(name, build, None, limit, Advice.LOOK, f"It cannot be told: {why}.")
    return _told(name, current, age, _last_state(lives.runs, name, build), ask, limit)


def _untold(
    name: str,
    build: int | None,
    age: float | None,
    limit: float | None,
    advice: Advice,
    reason: str,
) -> UnitOutlook:
    return UnitOutlook(name, build, age, None, None, None, None, advice, reason, limit)


def _last_state(runs: pd.DataFrame, name: str, build: int) -> str | None:
    seen = runs[(runs["unit"] == name) & (runs["build"] == build)]["strips"].dropna()
    return None if seen.empty else str(seen.iloc[-1])


def _told(
    name: str,
    current: Mapping[str, Any],
    age: float,
    state: str | None,
    ask: _Ask,
    limit: float | None,
) -> UnitOutlook:
    looked = pd.notna(current["last_look"])
    last_look = min(float(current["last_look"] if looked else current["entry"]), age)
    case = Case(
        age=age,
        last_look=last_look,
        ever_looked=looked and last_look > 0,
        hot=state == "hot",
        runs_ahead=ask.runs_ahead,
        bound=ask.bound,
        service_limit_runs=limit,
        interval=ask.interval,
    )
    build = int(current["build"])
    try:
        found: Chances = chances(
            ask.draws,
            age=age,
            last_look=last_look,
            runs_ahead=ask.runs_ahead,
            level=ask.level,
        )
    except PlanError as error:
        reason = f"It cannot be told: {error}."
        return _untold(name, build, age, limit, Advice.LOOK, reason)
    advice, reason = advise(case, found)
    return UnitOutlook(
        name,
        build,
        age,
        last_look,
        found.sound_now,
        found.ahead,
        found.ahead_if_sound,
        advice,
        reason,
        limit,
    )

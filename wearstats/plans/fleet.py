"""The result of an outlook: one value for each unit, one for the fleet."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from wearstats.estimates import Estimate
from wearstats.plans.advice import Advice
from wearstats.plans.cautions import CAUTIONS
from wearstats.plans.chance import Chances
from wearstats.plans.draws import SurvivalDraws
from wearstats.plans.restrip import RestripInterval
from wearstats.plans.restrip_remarks import on_failures
from wearstats.shown import Cell, Column, Readable, Summary, counted, intervals

_OF_THE_INTERVAL = ("basis", "best_runs", "near_best", "cost_per_run", "capped_by_service_limit")
_CHANCES = ("sound_now", "ahead", "ahead_if_sound", "ahead_if_new")
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


@dataclass(frozen=True, slots=True)
class UnitOutlook:
    """Where one unit stands.

    Attributes
    ----------
    unit : str
    advice : Advice
    reason : str
        One sentence.
    build : int or None
        None where no build is in use.
    age, last_look, runs_since_look : float or None
        Load-weighted runs on the strips now, when last known sound, and between the two.
    chances : Chances or None
        Sound now, and lasting the runs ahead; None where it cannot be told.
    factor : Estimate or None
        On the hazard of strips on this unit; None where units are not compared.
    service_limit_runs : float or None
    failed : bool
        The last look found the strips failed.
    interval : RestripInterval or None
        When to restrip this unit, given what it does to strips; None where that was not asked.
    strips : SurvivalDraws or None
        Draws of the strips in use where more is known of them than of others on this unit: a look
        found them hot.
    gain : Estimate or None
        Money: what the runs ahead gain over new strips now, if these are sound. None where no
        cost is weighed.
    value_of_look : float or None
        Money a look is worth with all that is unknown averaged over, as it is in deciding; so it
        has no interval.
    """

    unit: str
    advice: Advice
    reason: str
    build: int | None = None
    age: float | None = None
    last_look: float | None = None
    chances: Chances | None = None
    factor: Estimate | None = None
    service_limit_runs: float | None = None
    failed: bool = False
    interval: RestripInterval | None = None
    strips: SurvivalDraws | None = None
    gain: Estimate | None = None
    value_of_look: float | None = None

    @property
    def runs_since_look(self) -> float | None:
        """Runs nobody has looked after."""
        if self.age is None or self.last_look is None:
            return None
        return self.age - self.last_look

    def _named(self) -> Iterator[tuple[str, Estimate | None]]:
        for name in _CHANCES:
            yield name, None if self.chances is None else getattr(self.chances, name)

    def cells(self) -> tuple[Cell, ...]:
        """Return unit, age, chances and advice as a summary shows them."""
        found = self.chances
        now, ahead = (None, None) if found is None else (found.sound_now, found.ahead)
        return (self.unit, self.age, now, ahead, self.advice.value)

    def as_row(self) -> dict[str, Any]:
        """Return one flat row; each chance as estimate, low and high."""
        row = self.as_dict()
        for name, each in self._named():
            row[name] = None if each is None else each.estimate
            row[f"{name}_low"] = None if each is None else each.low
            row[f"{name}_high"] = None if each is None else each.high
        return row

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "unit": self.unit,
            "build": self.build,
            "age": self.age,
            "last_look": self.last_look,
            "runs_since_look": self.runs_since_look,
            **{name: None if each is None else each.as_dict() for name, each in self._named()},
            "advice": self.advice.value,
            "reason": self.reason,
            "hazard_factor": None if self.factor is None else self.factor.as_dict(),
            "service_limit_runs": self.service_limit_runs,
            "gain": None if self.gain is None else self.gain.as_dict(),
            "value_of_look": self.value_of_look,
            "restrip_interval": self._interval(),
        }

    def _interval(self) -> dict[str, Any] | None:
        if self.interval is None:
            return None
        whole = self.interval.as_dict()
        return {name: whole[name] for name in _OF_THE_INTERVAL}


@dataclass(frozen=True, slots=True)
class UnitApart:
    """A unit that is not planned for, and why."""

    unit: str
    why: str


@dataclass(frozen=True, slots=True, repr=False)
class FleetOutlook(Readable):
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
    warnings : tuple of str
        What every chance here must be read with.
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
    def warnings(self) -> tuple[str, ...]:
        """What every chance here must be read with."""
        return on_failures(self.failures)

    def summary(self) -> Summary:
        """Return age, chances and advice of each unit, the reasons, and the cautions."""
        lives = counted(self.lives, "life", "lives")
        return Summary(
            title=f"{'SIMULATED. ' * self.simulated}The next {counted(self.runs_ahead, 'run')}",
            basis=(
                f"{lives}, {self.failures} burned through; {self.left_out} left out; "
                f"{intervals(self.level)}."
            ),
            columns=(
                Column("unit"),
                Column("age", "number"),
                Column("sound_now", "chance"),
                Column("ahead", "chance"),
                Column("advice"),
            ),
            rows=tuple(unit.cells() for unit in self.units),
            notes=(
                *(f"{unit.unit}: {unit.reason}" for unit in self.units),
                *self.warnings,
                *(f"{each.unit}: not planned for, {each.why}" for each in self.apart),
                *self.cautions,
            ),
        )

    def to_frame(self) -> pd.DataFrame:
        """Return `frame`: all that is known of each unit."""
        return self.frame

    @property
    def frame(self) -> pd.DataFrame:
        """One row for each unit; each chance as estimate, low and high."""
        return pd.DataFrame([unit.as_row() for unit in self.units], columns=_COLUMNS)

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "runs_ahead": self.runs_ahead,
            "bound": self.bound,
            "level": self.level,
            "lives": self.lives,
            "failures": self.failures,
            "left_out": self.left_out,
            "warnings": list(self.warnings),
            "simulated": self.simulated,
            "units": [unit.as_dict() for unit in self.units],
            "apart": [{"unit": unit.unit, "why": unit.why} for unit in self.apart],
            "restrip_interval": self.restrip.as_dict(),
            "cautions": list(self.cautions),
        }

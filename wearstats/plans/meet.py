"""The meet ahead: what is asked, and the plan that answers it."""

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.numbers import quantity
from wearstats.plans.cautions import CAUTIONS
from wearstats.plans.draws import SurvivalDraws
from wearstats.plans.restrip import LossByAge
from wearstats.plans.words import money
from wearstats.records.tomlfiles import read_toml
from wearstats.shown import Column, Readable, Summary, counted, intervals

_HAIR = 1e-9
_Amount = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]


class Meet(BaseModel):
    """What the meet ahead asks and allows.

    Parameters
    ----------
    runs : int
        Runs to be made, one unit each, 1 to 60.
    sets : int or None
        Strip sets at hand; None: no limit.
    hours_per_restrip : float
        Hours of work of one restrip.
    hours : float or None
        Hours of work all told; None: no limit.
    windows : tuple of float or None
        Hours of work before each run, one number a run; None: no limit.
    load : float
        Of each run, above 0 to 1.
    units : tuple of str or None
        Units at hand; None: every unit in use.
    bound : float or None
        Least chance, as known today, that each set of strips comes through all runs planned on it.

    Examples
    --------
    >>> Meet(runs=3, sets=2, hours_per_restrip=4, windows=(4, 0, 2)).windows
    (4.0, 0.0, 2.0)
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    runs: Annotated[int, Field(ge=1, le=60)]
    sets: Annotated[int, Field(ge=0, le=10_000)] | None = None
    hours_per_restrip: _Amount = 0.0
    hours: _Amount | None = None
    windows: tuple[_Amount, ...] | None = None
    load: Annotated[float, Field(gt=0.0, le=1.0, allow_inf_nan=False)] = 1.0
    units: tuple[str, ...] | None = None
    bound: Annotated[float, Field(gt=0.0, lt=1.0)] | None = None

    @model_validator(mode="after")
    def _one_number_a_run(self) -> "Meet":
        if self.windows is not None and len(self.windows) != self.runs:
            given = len(self.windows)
            message = f"windows needs one number for each of {self.runs} runs, not {given}"
            raise ValueError(message)
        if self.hours_per_restrip == 0 and (self.hours is not None or self.windows is not None):
            message = "hours limit nothing until hours_per_restrip says what a restrip takes"
            raise ValueError(message)
        if self.units is not None and (not self.units or len({*self.units}) < len(self.units)):
            message = "name each unit once, and at least one"
            raise ValueError(message)
        return self

    def restrips_by_window(self) -> tuple[int, ...] | None:
        """Return the restrips each window has hours for; None: no limit.

        Examples
        --------
        >>> Meet(runs=3, hours_per_restrip=4, windows=(4, 0, 9)).restrips_by_window()
        (1, 0, 2)
        """
        if self.windows is None:
            return None
        return tuple(math.floor(each / self.hours_per_restrip + _HAIR) for each in self.windows)

    def most_restrips(self, *, sets: bool = True, hours: bool = True) -> int:
        """Return the restrips that sets and hours leave; either limit may be lifted."""
        most = float(self.runs)
        if sets and self.sets is not None:
            most = min(most, self.sets)
        if hours and self.hours is not None:
            most = min(most, math.floor(self.hours / self.hours_per_restrip + _HAIR))
        return int(most)


def read_meet(path: str | Path) -> Meet:
    """Read a meet from a TOML file with the keys of `Meet`.

    Raises
    ------
    RecordError
        Unreadable, no TOML, or a key or value that is not taken.
    """
    return read_toml(path, Meet, "a meet")


@dataclass(frozen=True, slots=True)
class MeetUnit:
    """One unit at hand.

    Parameters
    ----------
    unit : str
    draws : SurvivalDraws
        Of burn-through of strips on this unit.
    age, last_look : float
        Load-weighted runs on the strips, and when they were last known sound.
    must_restrip : bool
        No run before new strips: found failed, or their runs are not known.
    service_limit_runs : float or None
    loss_psi_by_age : callable or None
        See `RestripPlan.best`.
    strips : SurvivalDraws or None
        Draws of the strips in use where more is known of them: see `UnitOutlook.strips`.
    """

    unit: str
    draws: SurvivalDraws
    age: float = 0.0
    last_look: float = 0.0
    must_restrip: bool = False
    service_limit_runs: float | None = None
    loss_psi_by_age: LossByAge | None = None
    strips: SurvivalDraws | None = None

    def __post_init__(self) -> None:
        """Refuse ages that make no sense."""
        if not (0 <= self.last_look <= self.age and math.isfinite(self.age)):
            message = (
                f"unit {self.unit!r}: the last look, at {self.last_look} runs, does not lie "
                f"between 0 and the age, {self.age}"
            )
            raise UsageError(message)


@dataclass(frozen=True, slots=True)
class MeetRun:
    """One run of the plan.

    Attributes
    ----------
    run : int
        From 1.
    unit : str
        Makes this run.
    age_before, age_after : float
    lasts : Estimate
        Chance, as known today, that its strips come through this run.
    restrips : tuple of str
        Units that get new strips in the window before this run.
    """

    run: int
    unit: str
    age_before: float
    age_after: float
    lasts: Estimate
    restrips: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "run": self.run,
            "unit": self.unit,
            "age_before": self.age_before,
            "age_after": self.age_after,
            "lasts": self.lasts.as_dict(),
            "restrips": list(self.restrips),
        }


@dataclass(frozen=True, slots=True, repr=False)
class MeetPlan(Readable):
    """Which unit makes which run, and when to restrip.

    Attributes
    ----------
    steps : tuple of MeetRun
    cost : float or None
        Expected, in `currency`: burn-throughs, lost boost, restrips, and what the runs take out of
        the strips. None where costs are not known.
    burn_throughs : Estimate
        Expected number; the interval is at its widest, as if all units erred the same way.
    sets, hours : float
        Used.
    currency : str
    value_of_strips : float or None
        Part of `cost`: change in what is used up of the strips, money.
    next_best : MeetPlan or None
        The cheapest plan that shares runs or restrips out among the units in another way.
    remarks : tuple of str
    cautions : tuple of str
        To be shown wherever a plan is.
    """

    steps: tuple[MeetRun, ...]
    cost: float | None
    burn_throughs: Estimate
    sets: int
    hours: float
    currency: str
    value_of_strips: float | None = None
    next_best: "MeetPlan | None" = None
    remarks: tuple[str, ...] = field(default=())
    cautions: tuple[str, ...] = CAUTIONS

    def summary(self) -> Summary:
        """Return who makes which run, what is restripped before it, and what to expect."""
        cost = "" if self.cost is None else f", cost {money(self.cost, self.currency)}"
        return Summary(
            title="The meet ahead",
            basis=(
                f"Expected: {quantity(self.burn_throughs)}, "
                f"{counted(self.sets, 'strip set')}{cost}; {intervals(self.burn_throughs.level)}."
            ),
            columns=(
                Column("run", "number"),
                Column("restrips"),
                Column("unit"),
                Column("age_before", "number"),
                Column("lasts", "chance"),
            ),
            rows=tuple(
                (step.run, ", ".join(step.restrips), step.unit, step.age_before, step.lasts)
                for step in self.steps
            ),
            notes=(*self.remarks, *self.cautions),
        )

    @property
    def price_of_next_best(self) -> float | None:
        """What the next-best plan costs beyond this one."""
        if self.next_best is None or self.cost is None or self.next_best.cost is None:
            return None
        return max(self.next_best.cost - self.cost, 0.0)

    @property
    def shares(self) -> dict[str, tuple[int, int]]:
        """Runs and restrips of each unit that has any."""
        names = [name for step in self.steps for name in (step.unit, *step.restrips)]
        return {
            name: (
                sum(step.unit == name for step in self.steps),
                sum(name in step.restrips for step in self.steps),
            )
            for name in sorted({*names})
        }

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "steps": [step.as_dict() for step in self.steps],
            "cost": self.cost,
            "value_of_strips": self.value_of_strips,
            "currency": self.currency,
            "burn_throughs": self.burn_throughs.as_dict(),
            "sets": self.sets,
            "hours": self.hours,
            "next_best": None if self.next_best is None else self.next_best.as_dict(),
            "price_of_next_best": self.price_of_next_best,
            "remarks": list(self.remarks),
        }

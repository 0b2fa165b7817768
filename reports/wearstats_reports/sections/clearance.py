"""Clearance and strip height by build, with the forecast for the build in use."""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from wearstats.estimates import Estimate
from wearstats_reports import cells
from wearstats_reports.answers import Answer
from wearstats_reports.fits import Fits


@dataclass(frozen=True, slots=True)
class Gap:
    """One reading, as an interval in thou.

    Parameters
    ----------
    what : str
        "tip", "mesh", "end", "metal" or "strip height".
    low_thou, high_thou : float or None
        None on the open side of a one-sided reading.
    """

    what: str
    build: int
    age: float | None
    date: date | None
    low_thou: float | None
    high_thou: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """Tip clearance to expect at an age."""

    age: float
    estimate_thou: float
    low_thou: float
    high_thou: float


@dataclass(frozen=True, slots=True)
class GapBuild:
    """One build in short; None where not read.

    A look is every reading of one kind at one age and day: from its tightest to its widest.
    """

    build: int
    readings: int
    tip_first: Gap | None
    tip_latest: Gap | None
    height_first: Gap | None
    height_latest: Gap | None
    mesh_latest: Gap | None
    end_latest: Gap | None


@dataclass(frozen=True, slots=True)
class Clearance:
    """The clearance section of one unit."""

    readings: tuple[Gap, ...]
    builds: tuple[GapBuild, ...]
    forecast: tuple[Forecast, ...]
    now: Answer
    rate: Answer
    runs_to_limit: Answer
    limit_thou: float | None
    why_not: str = ""

    def of(self, what: str) -> tuple[Gap, ...]:
        """Return the readings of one kind."""
        return tuple(gap for gap in self.readings if gap.what == what)


_AHEAD = 10
"""Runs the drawn forecast goes beyond now, or as far as the advice looks if that is farther."""


def clearance(fits: Fits, unit: str, limit_thou: float | None) -> Clearance:
    """Return one unit's clearances and strip heights.

    Parameters
    ----------
    fits : Fits
    unit : str
    limit_thou : float or None
        The shop's own limit of tip clearance, if it has one.
    """
    mine = fits.gaps[(fits.gaps["unit"] == unit) & fits.gaps["build"].notna()]
    readings = _gaps(mine)
    builds = tuple(
        _build(number, [gap for gap in readings if gap.build == number])
        for number in sorted({gap.build for gap in readings})
    )
    lives = cells.rows(fits.lives.frame[fits.lives.frame["unit"] == unit])
    current = lives[-1] if lives else {}
    age = cells.number(current.get("age"))
    fit = fits.wear.fit
    if fit is None or age is None or not current.get("open", False):
        why = fits.wear.why_not if fit is None else "No strips of known age are in use."
        none = Answer(why_not=why)
        rate = none if fit is None else _rate(fits)
        return Clearance(readings, builds, (), none, rate, none, limit_thou, why)
    build = int(current["build"])
    ahead = np.arange(0.0, np.ceil(age) + max(_AHEAD, fits.runs_ahead) + 1)
    of_unit = cells.count(sum(gap.what == "tip" for gap in readings), "reading")
    return Clearance(
        readings=readings,
        builds=builds,
        forecast=_forecast(fit.forecast(unit, build, ahead, fits.level)),
        now=Answer(
            _now(fit.forecast(unit, build, [age], fits.level), fits.level),
            f"{of_unit} of this unit, {fit.readings} of the fleet{_last(mine, '; latest')}",
        ),
        rate=_rate(fits),
        runs_to_limit=Answer(why_not="No limit of tip clearance was given.")
        if limit_thou is None
        else Answer.of(fit.runs_to(limit_thou, unit, build, age, fits.level)),
        limit_thou=limit_thou,
    )


def _gaps(mine: pd.DataFrame) -> tuple[Gap, ...]:
    rows = mine.sort_values(["what", "build", "age", "date"], kind="stable")
    read = rows[rows["low_thou"].notna() | rows["high_thou"].notna()]
    return tuple(
        Gap(
            what=str(row["what"]),
            build=int(row["build"]),
            age=cells.number(row["age"]),
            date=cells.day(row["date"]),
            low_thou=cells.number(row["low_thou"]),
            high_thou=cells.number(row["high_thou"]),
        )
        for row in cells.rows(read)
    )


def _build(number: int, gaps: list[Gap]) -> GapBuild:
    return GapBuild(
        build=number,
        readings=len(gaps),
        tip_first=_look(gaps, "tip", 0),
        tip_latest=_look(gaps, "tip", -1),
        height_first=_look(gaps, "strip height", 0),
        height_latest=_look(gaps, "strip height", -1),
        mesh_latest=_look(gaps, "mesh", -1),
        end_latest=_look(gaps, "end", -1),
    )


def _look(gaps: list[Gap], what: str, place: int) -> Gap | None:
    """Return the first (0) or latest (-1) look, from its tightest reading to its widest."""
    kind = [gap for gap in gaps if gap.what == what]
    if not kind:
        return None
    chosen = kind[place]
    look = [gap for gap in kind if (gap.age, gap.date) == (chosen.age, chosen.date)]
    lows = [gap.low_thou for gap in look if gap.low_thou is not None]
    highs = [gap.high_thou for gap in look if gap.high_thou is not None]
    return replace(
        chosen,
        low_thou=min(lows) if len(lows) == len(look) else None,
        high_thou=max(highs) if len(highs) == len(look) else None,
    )


def _rate(fits: Fits) -> Answer:
    fit = fits.wear.fit
    if fit is None:
        return Answer(why_not=fits.wear.why_not)
    over = f"{cells.count(fit.builds, 'build')} of {cells.count(fit.units, 'unit')}"
    behind = f"the fleet: {cells.count(fit.readings, 'reading')} over {over}"
    return Answer.of(fit.rate, f"{behind}{_last(fits.gaps, ', latest')}")


def _last(gaps: pd.DataFrame, said: str) -> str:
    return cells.latest(gaps.loc[gaps["what"] == "tip", "date"], said)


def _forecast(frame: pd.DataFrame) -> tuple[Forecast, ...]:
    return tuple(
        Forecast(float(age), float(estimate), float(low), float(high))
        for age, estimate, low, high in frame[["age", "estimate", "low", "high"]].to_numpy(float)
    )


def _now(frame: pd.DataFrame, level: float) -> Estimate:
    row = cells.rows(frame)[0]
    return Estimate(row["estimate"], row["low"], row["high"], level, "thou")

"""Clearance and strip height by build, with the forecast for the build in use."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from wearstats.estimates import Estimate
from wearstats_reports import cells
from wearstats_reports.answers import Answer
from wearstats_reports.fits import Fits


@dataclass(frozen=True, slots=True)
class Gap:
    """One reading, as an interval in thou."""

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
    """One build in short: first and latest reading of each kind; None where not read."""

    build: int
    tip_first: Gap | None
    tip_latest: Gap | None
    height_first: Gap | None
    height_latest: Gap | None
    readings: int


@dataclass(frozen=True, slots=True)
class Clearance:
    """The clearance section of one unit."""

    tip: tuple[Gap, ...]
    height: tuple[Gap, ...]
    builds: tuple[GapBuild, ...]
    forecast: tuple[Forecast, ...]
    now: Answer
    rate: Answer
    runs_to_limit: Answer
    limit_thou: float | None
    why_not: str = ""


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
    tip, height = _gaps(mine, "tip"), _gaps(mine, "strip height")
    builds = tuple(
        _build(number, tip, height) for number in sorted({gap.build for gap in (*tip, *height)})
    )
    lives = cells.rows(fits.lives.frame[fits.lives.frame["unit"] == unit])
    current = lives[-1] if lives else {}
    age = cells.number(current.get("age"))
    fit = fits.wear.fit
    if fit is None or age is None or not current.get("open", False):
        why = fits.wear.why_not if fit is None else "No strips of known age are in use."
        none = Answer(why_not=why)
        rate = none if fit is None else _rate(fits)
        return Clearance(tip, height, builds, (), none, rate, none, limit_thou, why)
    build = int(current["build"])
    ahead = np.arange(0.0, np.ceil(age) + max(_AHEAD, fits.runs_ahead) + 1)
    of_unit = cells.count(len(tip), "reading")
    return Clearance(
        tip=tip,
        height=height,
        builds=builds,
        forecast=_forecast(fit.forecast(unit, build, ahead, fits.level)),
        now=Answer(
            _now(fit.forecast(unit, build, [age], fits.level), fits.level),
            f"{of_unit} of this unit, {fit.readings} of the fleet",
        ),
        rate=_rate(fits),
        runs_to_limit=Answer(why_not="No limit of tip clearance was given.")
        if limit_thou is None
        else Answer.of(fit.runs_to(limit_thou, unit, build, age, fits.level)),
        limit_thou=limit_thou,
    )


def _gaps(mine: pd.DataFrame, what: str) -> tuple[Gap, ...]:
    rows = mine[mine["what"] == what].sort_values(["build", "age", "date"], kind="stable")
    read = rows[rows["low_thou"].notna() | rows["high_thou"].notna()]
    return tuple(
        Gap(
            build=int(row["build"]),
            age=cells.number(row["age"]),
            date=cells.day(row["date"]),
            low_thou=cells.number(row["low_thou"]),
            high_thou=cells.number(row["high_thou"]),
        )
        for row in cells.rows(read)
    )


def _build(number: int, tip: tuple[Gap, ...], height: tuple[Gap, ...]) -> GapBuild:
    tips = [gap for gap in tip if gap.build == number]
    heights = [gap for gap in height if gap.build == number]
    return GapBuild(
        build=number,
        tip_first=tips[0] if tips else None,
        tip_latest=tips[-1] if tips else None,
        height_first=heights[0] if heights else None,
        height_latest=heights[-1] if heights else None,
        readings=len(tips) + len(heights),
    )


def _rate(fits: Fits) -> Answer:
    fit = fits.wear.fit
    if fit is None:
        return Answer(why_not=fits.wear.why_not)
    over = f"{cells.count(fit.builds, 'build')} of {cells.count(fit.units, 'unit')}"
    return Answer.of(fit.rate, f"the fleet: {cells.count(fit.readings, 'reading')} over {over}")


def _forecast(frame: pd.DataFrame) -> tuple[Forecast, ...]:
    return tuple(
        Forecast(float(age), float(estimate), float(low), float(high))
        for age, estimate, low, high in frame[["age", "estimate", "low", "high"]].to_numpy(float)
    )


def _now(frame: pd.DataFrame, level: float) -> Estimate:
    row = cells.rows(frame)[0]
    return Estimate(row["estimate"], row["low"], row["high"], level, "thou")

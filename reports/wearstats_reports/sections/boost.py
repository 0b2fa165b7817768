"""Boost over the season, corrected to one weather, with the restrips marked."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from wearstats.errors import ObservationError
from wearstats.estimates import Estimate
from wearstats.leakage import TOTAL_RESTS_ON, normalise_boost
from wearstats.units import INHG_PA, STANDARD_PRESSURE_PA
from wearstats_reports import cells
from wearstats_reports.answers import Answer
from wearstats_reports.fits import Fits
from wearstats_reports.sections.today import boost_lost


@dataclass(frozen=True, slots=True)
class BoostPoint:
    """One run.

    Parameters
    ----------
    order : int
        Count of the unit's logged boost readings over the season, from 1.
    boost_psi, corrected_psi, predicted_psi : float or None
        As logged, at a barometer of 29.921 inHg, and what the fit expects there.
    left_out : str
        Why the fit does not use it; empty where it does.
    """

    order: int
    build: int
    age: float | None
    date: date | None
    run: int | None
    meet: str
    boost_psi: float
    corrected_psi: float | None
    predicted_psi: float | None
    left_out: str


@dataclass(frozen=True, slots=True)
class BoostBuild:
    """One build in short: its first and its latest corrected boost."""

    build: int
    readings: int
    first: BoostPoint
    latest: BoostPoint


@dataclass(frozen=True, slots=True)
class BoostPath:
    """What one path (tip, mesh, end) has cost since the restrip, psi, and a thou more now."""

    path: str
    lost: Estimate
    worth_of_a_thou: Estimate


@dataclass(frozen=True, slots=True)
class Boost:
    """The boost section of one unit; `why_not` where nothing can be shown."""

    points: tuple[BoostPoint, ...]
    builds: tuple[BoostBuild, ...]
    lost: Answer
    lost_in_all: Answer
    paths: tuple[BoostPath, ...]
    why_not: str = ""


def boost(fits: Fits, unit: str) -> Boost:
    """Return one unit's boost over the season."""
    mine = fits.boosts[(fits.boosts["unit"] == unit) & fits.boosts["boost_psi"].notna()]
    if mine.empty:
        why = "No boost was logged for this unit, so its leakage cannot be told."
        return Boost((), (), Answer(why_not=why), Answer(why_not=why), (), why)
    points = _points(_corrected(fits).loc[mine.index])
    builds = tuple(
        BoostBuild(number, len(of_build), of_build[0], of_build[-1])
        for number in dict.fromkeys(point.build for point in points)
        if (of_build := [point for point in points if point.build == number])
    )
    lost = boost_lost(fits, unit)
    fit = fits.boost.fit
    if fit is None or not lost.known:
        return Boost(points, builds, lost, Answer(why_not=lost.why_not), ())
    since, worth = fit.since_restrip_by_path(unit), fit.worth(unit)
    paths = tuple(BoostPath(path, since[path], worth[path]) for path in since)
    return Boost(
        points,
        builds,
        lost,
        Answer(fit.lost_in_all(unit), f"{lost.behind}. {TOTAL_RESTS_ON}"),
        paths,
    )


def _corrected(fits: Fits) -> pd.DataFrame:
    """Return every boost row with its corrected value, and what the fit makes of it."""
    if fits.boost.fit is not None:
        return fits.boost.fit.corrected
    psi = fits.boosts["boost_psi"].to_numpy(float)
    pressure = fits.boosts["barometer_inhg"].to_numpy(float) * INHG_PA
    if np.isnan(pressure).all():
        # As the fit does where nobody wrote the barometer down.
        pressure = np.full(len(psi), STANDARD_PRESSURE_PA)
    try:
        corrected = normalise_boost(psi, pressure)
    except ObservationError:
        # The fit's own sentence says which barometer is no station pressure.
        corrected = np.full(len(psi), np.nan)
    return fits.boosts.assign(boost_norm_psi=corrected, predicted_psi=np.nan, left_out="")


def _points(mine: pd.DataFrame) -> tuple[BoostPoint, ...]:
    ordered = mine.sort_values(["date", "run"], kind="stable")
    return tuple(
        BoostPoint(
            order=order,
            build=int(row["build"]),
            age=cells.number(row["age"]),
            date=cells.day(row["date"]),
            run=None if cells.number(row["run"]) is None else int(row["run"]),
            meet=cells.text(row["meet"]),
            boost_psi=float(row["boost_psi"]),
            corrected_psi=cells.number(row["boost_norm_psi"]),
            predicted_psi=cells.number(row["predicted_psi"]),
            left_out=cells.text(row["left_out"]),
        )
        for order, row in enumerate(cells.rows(ordered), start=1)
    )

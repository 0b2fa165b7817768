"""Boost over the season, corrected to one weather, with the restrips marked."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from wearstats.errors import ObservationError
from wearstats.leakage import normalise_boost
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
class Boost:
    """The boost section of one unit; `why_not` where nothing can be shown."""

    points: tuple[BoostPoint, ...]
    builds: tuple[BoostBuild, ...]
    lost: Answer
    psi_per_thou: Answer
    why_not: str = ""


def boost(fits: Fits, unit: str) -> Boost:
    """Return one unit's boost over the season."""
    mine = fits.boosts[(fits.boosts["unit"] == unit) & fits.boosts["boost_psi"].notna()]
    if mine.empty:
        why = "No boost was logged for this unit, so its leakage cannot be told."
        return Boost((), (), Answer(why_not=why), Answer(why_not=why), why)
    points = _points(_corrected(fits).loc[mine.index])
    builds = tuple(
        BoostBuild(number, len(of_build), of_build[0], of_build[-1])
        for number in dict.fromkeys(point.build for point in points)
        if (of_build := [point for point in points if point.build == number])
    )
    return Boost(points, builds, boost_lost(fits, unit), _worth(fits))


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


def _worth(fits: Fits) -> Answer:
    fit = fits.boost.fit
    if fit is None:
        return Answer(why_not=fits.boost.why_not)
    readings = cells.count(fit.rows, "boost reading")
    last = cells.latest(fits.boosts.loc[fits.boosts["boost_psi"].notna(), "date"], ", latest")
    return Answer.of(fit.psi_per_thou, f"{readings} on {cells.count(fit.units, 'unit')}{last}")

"""From boost rows to what the boost model regresses: response, offset and columns."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError
from wearstats.feeler import feeler
from wearstats.leakage.geometry import swept_ratio
from wearstats.leakage.physics import no_leak_ratio
from wearstats.leakage.weather import check_station_pressure
from wearstats.units import INCH_MM, INHG_PA, PSI_PA, STANDARD_PRESSURE_PA

_COLUMNS = ("unit", "build", "age", "date", "boost_psi", "barometer_inhg", "overdrive_pct")
_FAILED = ("burned", "pulled", "cut", "rubbed")
_CUBIC_INCH_M3 = (INCH_MM / 1000.0) ** 3
_VARIES = 1e-3

LEAST_ROWS = 8
"""Fewer usable rows than this cannot tell what a thou costs."""


class Wear(Protocol):
    """What the boost model needs of a fit of clearance wear."""

    def clearance_at(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return the clearance expected and its standard error, thou."""

    def growth(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return its change since age 0 and its standard error, thou."""


@dataclass(frozen=True, slots=True)
class LeftOutRows:
    """Boost rows a fit could not use.

    Parameters
    ----------
    reason : str
    count : int
    """

    reason: str
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class BoostData:
    """What the regression takes.

    Parameters
    ----------
    frame : DataFrame
        The boost rows as given, with `pressure_pa`, `tip_thou` and `why` it is left out, or "".
    used : ndarray of bool, shape (rows,)
    log_ratio, offset : ndarray, shape (used rows,)
        ln of the absolute pressure ratio, and ln of the no-leak ratio less its mean (0 where
        there is none).
    covariates : mapping of str to ndarray, shape (used rows,)
        Centred logs that stand beside the tip clearance.
    left_out : tuple of LeftOutRows
    warnings : tuple of str
    """

    frame: pd.DataFrame
    used: BoolArray
    log_ratio: FloatArray
    offset: FloatArray
    covariates: dict[str, FloatArray]
    left_out: tuple[LeftOutRows, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ChosenRows:
    """Which boost rows a fit can use.

    Parameters
    ----------
    frame : DataFrame
        The rows as given, with `pressure_pa`, `tip_thou` and `why` it is left out, or "".
    used : ndarray of bool, shape (rows,)
    log_ratio : ndarray, shape (used rows,)
        ln of the absolute pressure ratio.
    left_out : tuple of LeftOutRows
    warnings : tuple of str
    """

    frame: pd.DataFrame
    used: BoolArray
    log_ratio: FloatArray
    left_out: tuple[LeftOutRows, ...]
    warnings: tuple[str, ...]

    @property
    def chosen(self) -> pd.DataFrame:
        """The usable rows, shape (used rows, columns of `frame`)."""
        return self.frame.loc[self.used].reset_index(drop=True)

    def without(self, wrong: BoolArray, reason: str) -> "ChosenRows":
        """Return the same with these of the used rows left out, too; shape (used rows,)."""
        places = np.flatnonzero(self.used)[wrong]
        if not places.size:
            return self
        used, why = self.used.copy(), self.frame["why"].to_numpy(dtype=object, copy=True)
        used[places], why[places] = False, reason
        return ChosenRows(
            self.frame.assign(why=why),
            used,
            self.log_ratio[~wrong],
            (*self.left_out, LeftOutRows(reason, len(places))),
            self.warnings,
        )


def choose(rows: pd.DataFrame, wear: Wear | None) -> ChosenRows:
    """Choose the usable rows; parameters and errors as `prepare`."""
    missing = [column for column in _COLUMNS if column not in rows.columns]
    if missing:
        message = f"boost rows lack the column(s) {', '.join(missing)}"
        raise ObservationError(message)
    frame = rows.reset_index(drop=True)
    pressure, warnings = _pressures(frame)
    tip, tip_warnings = _tip_clearance(frame, wear)
    overdrive_known = frame["overdrive_pct"].notna().to_numpy()
    needs_overdrive = bool(overdrive_known.any())
    boost = frame["boost_psi"].to_numpy(float)
    failed = frame["strips"].isin(_FAILED) if "strips" in frame else pd.Series(data=False)
    aside = frame["left_out"] if "left_out" in frame else pd.Series(data=False)
    unseen, look_warnings = _unseen(frame)
    reasons: tuple[tuple[str, BoolArray], ...] = (
        ("build set aside", np.broadcast_to(aside.to_numpy(dtype=bool), boost.shape)),
        ("no boost logged", np.isnan(boost)),
        ("boost of 0 or less", boost <= 0.0),
        ("no barometer", np.isnan(pressure)),
        ("strips had failed", np.broadcast_to(failed.to_numpy(dtype=bool), boost.shape)),
        ("no tip clearance known", np.isnan(tip)),
        ("nobody has seen these strips sound since", unseen),
        ("no overdrive", ~overdrive_known & needs_overdrive),
    )
    why = np.full(len(frame), "", dtype=object)
    for reason, wrong in reasons:
        why[(why == "") & wrong] = reason
    used = np.asarray(why == "")
    left_out = tuple(
        LeftOutRows(reason, int(np.sum(why == reason))) for reason, _ in reasons if reason in why
    )
    frame = frame.assign(pressure_pa=pressure, tip_thou=tip, why=why)
    ratio = 1.0 + boost[used] * PSI_PA / pressure[used]
    warnings = [*warnings, *look_warnings, *tip_warnings]
    return ChosenRows(frame, used, np.log(ratio), left_out, tuple(warnings))


def prepare(
    rows: pd.DataFrame, wear: Wear | None, units: pd.DataFrame, heat_share: float
) -> BoostData:
    """Choose the usable rows and form the regression's columns.

    Parameters
    ----------
    rows : DataFrame
        `boost_rows`, with `left_out` true for builds set aside; where there is no wear fit, also
        tip_low_thou and tip_high_thou.
    wear : Wear or None
    units : DataFrame
        The units sheet.
    heat_share : float

    Raises
    ------
    ObservationError
        A column is missing, or a barometer is no station pressure.
    """
    found = choose(rows, wear)
    chosen = found.frame.loc[found.used]
    offset, covariates, notes = _drive(chosen, units, heat_share)
    speed, speed_notes = _engine_speed(chosen)
    return BoostData(
        frame=found.frame,
        used=found.used,
        log_ratio=found.log_ratio,
        offset=offset,
        covariates={**covariates, **speed},
        left_out=found.left_out,
        warnings=(*found.warnings, *notes, *speed_notes),
    )


def _unseen(frame: pd.DataFrame) -> tuple[BoolArray, list[str]]:
    """Return the rows whose strips may have burned already: a jump that no line of wear shows.

    Left in, they make a thou look a third dearer than it is (simulated seasons).
    """
    if "known_sound" not in frame:
        return np.zeros(len(frame), dtype=bool), []
    unseen = ~frame["known_sound"].to_numpy(dtype=bool)
    if int(np.sum(~unseen)) >= LEAST_ROWS:
        return unseen, []
    warning = (
        f"only {int(np.sum(~unseen))} runs with boost are known to be on sound strips, so all are "
        "taken: what burned strips cost counts as tip clearance"
    )
    return np.zeros(len(frame), dtype=bool), [warning]


def _pressures(frame: pd.DataFrame) -> tuple[FloatArray, list[str]]:
    pressure = frame["barometer_inhg"].to_numpy(float) * INHG_PA
    check_station_pressure(pressure)
    if len(pressure) and np.isnan(pressure).all():
        warning = (
            "no row has a barometer: boost is taken at standard pressure (29.921 inHg), so "
            "weather and altitude are in the scatter"
        )
        return np.full(len(pressure), STANDARD_PRESSURE_PA), [warning]
    return pressure, []


def _tip_clearance(frame: pd.DataFrame, wear: Wear | None) -> tuple[FloatArray, list[str]]:
    tip = np.full(len(frame), np.nan)
    if wear is not None:
        placed = frame["build"].notna().to_numpy() & frame["age"].notna().to_numpy()
        known = frame.loc[placed]
        tip[placed] = wear.clearance_at(
            tuple(known["unit"].astype(str)),
            tuple(known["build"].astype(float)),
            known["age"].to_numpy(float),
        )[0]
        return tip, []
    if "tip_low_thou" not in frame or "tip_high_thou" not in frame:
        return tip, []
    read = feeler(frame["tip_low_thou"].to_numpy(float), frame["tip_high_thou"].to_numpy(float))
    warning = (
        "tip clearance as measured at each run: errors of measurement pull the psi a thou costs "
        "toward nought"
    )
    return np.where(read.censoring == "right", np.nan, read.mean_thou), [warning]


def _drive(
    chosen: pd.DataFrame, units: pd.DataFrame, heat_share: float
) -> tuple[FloatArray, dict[str, FloatArray], list[str]]:
    """No-leak offset where displacements are known, else the drive ratio as a covariate."""
    none = np.zeros(len(chosen))
    if chosen["overdrive_pct"].isna().all():
        return none, {}, ["no overdrive logged: taken to be the same on every run of a unit"]
    drive = 1.0 + chosen["overdrive_pct"].to_numpy(float) / 100.0
    sizes = units.drop_duplicates("unit").set_index("unit")
    wanted = ["displacement_in3", "engine_displacement_in3"]
    table = sizes.reindex(chosen["unit"], columns=wanted).to_numpy(float) * _CUBIC_INCH_M3
    if np.isfinite(table).all():
        ceiling = no_leak_ratio(swept_ratio(drive, table[:, 0], table[:, 1]), heat_share=heat_share)
        if (ceiling > 1.0).all():
            return np.log(ceiling) - np.log(ceiling).mean(), {}, []
        reason = "the displacements and overdrive entered would give no boost"
    else:
        reason = "a displacement is not entered for every unit"
    if np.ptp(np.log(drive)) < _VARIES:
        return none, {}, []
    note = f"{reason}, so the effect of overdrive is fitted, not computed"
    return none, {"ln overdrive ratio": _centred(drive)}, [note]


def _engine_speed(chosen: pd.DataFrame) -> tuple[dict[str, FloatArray], list[str]]:
    if "engine_speed_rpm" not in chosen or chosen["engine_speed_rpm"].isna().all():
        return {}, []
    speed = chosen["engine_speed_rpm"].to_numpy(float)
    gaps = int(np.isnan(speed).sum())
    if gaps:
        return {}, [f"engine speed is missing on {gaps} rows, so it is not used"]
    if np.ptp(np.log(speed)) < _VARIES:
        return {}, []
    return {"ln engine speed": _centred(speed)}, []


def _centred(values: FloatArray) -> FloatArray:
    logs = np.log(values)
    return np.asarray(logs - logs.mean())

"""What the balance needs of each run's machine, with a stated stand-in for what is not entered.

Shop units as the books have them (inches, cubic inches, rpm, degrees Fahrenheit, percent).
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray, IntArray
from wearstats.leakage.geometry import DISPLACED_SHARE, drive_ratio, leak_area, swept_ratio
from wearstats.leakage.physics import DRY_AIR_GAS_CONSTANT, GAMMA
from wearstats.units import INCH_MM

INCH_M = INCH_MM / 1000.0
PATHS = ("tip", "mesh", "end")

_DIAMETER_IN, _LENGTH_IN = 5.8, 19.0
_OVERDRIVE, _SPEED_RPM, _AIR_F = 40.0, 8000.0, 77.0
_SLIP_ALLOWED = 1.05
_MOST_NAMED = 3
_HEAT_EXPONENT = (GAMMA - 1.0) / GAMMA
_OF_UNIT = ("displacement_in3", "rotor_length_in", "rotor_diameter_in", "engine_displacement_in3")


@dataclass(frozen=True, slots=True, eq=False)
class Machines:
    """One element for each run.

    Parameters
    ----------
    swept : ndarray
        Swept-volume ratio.
    leak_scale : ndarray, 1/m^2
        Leakage number for a square metre of Cd A.
    opening : ndarray, shape (3, n), m
        Square metres for each metre of tip, mesh and end clearance.
    displacement_in3, bore_radius_in, length_in : ndarray
    drive, speed_rpm, air_k : ndarray
        Overdrive ratio, engine speed, inlet temperature.
    notes : tuple of str
        What was not entered and what stands in for it.
    """

    swept: FloatArray
    leak_scale: FloatArray
    opening: FloatArray
    displacement_in3: FloatArray
    bore_radius_in: FloatArray
    length_in: FloatArray
    drive: FloatArray
    speed_rpm: FloatArray
    air_k: FloatArray
    notes: tuple[str, ...]

    def take(self, places: IntArray) -> "Machines":
        """Return the machines of some runs."""
        return Machines(
            swept=self.swept[places],
            leak_scale=self.leak_scale[places],
            opening=self.opening[:, places],
            displacement_in3=self.displacement_in3[places],
            bore_radius_in=self.bore_radius_in[places],
            length_in=self.length_in[places],
            drive=self.drive[places],
            speed_rpm=self.speed_rpm[places],
            air_k=self.air_k[places],
            notes=(),
        )

    def as_run(self, rows: pd.DataFrame) -> "Machines":
        """Return the machines as they run under other conditions.

        Parameters
        ----------
        rows : DataFrame
            One row for each, with drive (a ratio) or overdrive_pct as a sheet has it,
            engine_speed_rpm and air_temperature_f where known; what is not written down stays
            as it was.
        """

        def given(name: str, before: FloatArray) -> FloatArray:
            values = rows[name].to_numpy(float) if name in rows else np.full(len(rows), np.nan)
            return np.where(np.isnan(values), before, values)

        overdrive = given("overdrive_pct", np.full(len(rows), np.nan))
        written = np.where(np.isnan(overdrive), self.drive, drive_ratio(overdrive))
        drive = given("drive", written)
        speed = given("engine_speed_rpm", self.speed_rpm)
        air_f = given("air_temperature_f", (self.air_k - 273.15) * 1.8 + 32.0)
        air_k = (air_f - 32.0) / 1.8 + 273.15
        return replace(
            self,
            swept=self.swept * drive / self.drive,
            leak_scale=self.leak_scale * np.sqrt(air_k / self.air_k) * self.speed_rpm / speed,
            drive=drive,
            speed_rpm=speed,
            air_k=air_k,
        )


def machines_of(
    rows: pd.DataFrame, units: pd.DataFrame, log_ratio: FloatArray, heat_share: float
) -> Machines:
    """Gather the machine of each run.

    Parameters
    ----------
    rows : DataFrame
        Boost rows: unit, overdrive_pct, engine_speed_rpm, air_temperature_f.
    units : DataFrame
        The units sheet.
    log_ratio : ndarray, shape (rows,)
        ln of the absolute pressure ratio, for an engine whose displacement is not entered.
    heat_share : float
    """
    sizes = units.drop_duplicates("unit").set_index("unit").reindex(columns=list(_OF_UNIT))
    names = rows["unit"].to_numpy(dtype=object)
    table = sizes.reindex(names).astype(float)
    notes: list[str] = []
    diameter = _filled(table, "rotor_diameter_in", _DIAMETER_IN, "in", notes)
    volume, length = _volume_and_length(table, diameter, notes)
    overdrive = _column(rows, "overdrive_pct", _OVERDRIVE, "overdrive", "%", notes)
    drive = drive_ratio(overdrive)
    speed = _column(rows, "engine_speed_rpm", _SPEED_RPM, "engine speed", "rpm", notes)
    air = (_column(rows, "air_temperature_f", _AIR_F, "air temperature", "°F", notes) - 32) / 1.8
    engine = _engine(table, names, drive * volume, log_ratio, heat_share, notes)
    unit_gap = leak_area(
        1.0,
        1.0,
        1.0,
        1.0,
        rotor_length=length * INCH_M,
        rotor_diameter=diameter * INCH_M,
    )
    sound = np.sqrt(DRY_AIR_GAS_CONSTANT * (air + 273.15))
    return Machines(
        swept=swept_ratio(drive, volume, engine),
        leak_scale=np.asarray(2.0 * sound / (speed / 60.0 * engine * INCH_M**3)),
        opening=np.stack([unit_gap.tip, unit_gap.mesh, unit_gap.end]),
        displacement_in3=volume,
        bore_radius_in=np.asarray(diameter / 2.0),
        length_in=length,
        drive=drive,
        speed_rpm=speed,
        air_k=np.asarray(air + 273.15),
        notes=tuple(notes),
    )


def _filled(
    table: pd.DataFrame, name: str, default: float, unit: str, notes: list[str]
) -> FloatArray:
    """Take the fleet's median for what is not entered, or a common size where nothing is."""
    values = table[name].to_numpy(float)
    missing = np.isnan(values)
    if not missing.any():
        return np.asarray(values)
    known = values[~missing]
    stand_in = float(np.median(known)) if known.size else default
    notes.append(_stands_in(table.index[missing], name, stand_in, unit))
    return np.asarray(np.where(missing, stand_in, values))


def _stands_in(units: pd.Index, name: str, value: float, unit: str) -> str:
    words = name.removesuffix("_in3").removesuffix("_in").replace("_", " ")
    return f"{words} of {_who(units)} is not entered: {value:.4g} {unit} is taken"


def _who(units: pd.Index) -> str:
    names = sorted({str(each) for each in units})
    return ", ".join(names) if len(names) <= _MOST_NAMED else f"{len(names)} units"


def _volume_and_length(
    table: pd.DataFrame, diameter: FloatArray, notes: list[str]
) -> tuple[FloatArray, FloatArray]:
    """Give each of displacement and length by the other where only one is entered."""
    circle = DISPLACED_SHARE * np.pi / 2.0 * diameter**2
    volume = table["displacement_in3"].to_numpy(float)
    length = table["rotor_length_in"].to_numpy(float)
    both = table.assign(rotor_length_in=np.where(np.isnan(length), volume / circle, length))
    long = _filled(both, "rotor_length_in", _LENGTH_IN, "in", notes)
    guessed = np.isnan(volume)
    if guessed.any():
        notes.append(
            f"displacement of {_who(table.index[guessed])} is not entered: worked out from "
            "the rotors' size, which may be a fifth off"
        )
    return np.asarray(np.where(guessed, circle * long, volume)), long


def _column(  # noqa: PLR0917 - a name, what stands in, and how to say so
    rows: pd.DataFrame, name: str, default: float, words: str, unit: str, notes: list[str]
) -> FloatArray:
    values = rows[name].to_numpy(float) if name in rows else np.full(len(rows), np.nan)
    missing = np.isnan(values)
    if not missing.any():
        return np.asarray(values)
    stand_in = default if missing.all() else float(np.median(values[~missing]))
    count = "every run" if missing.all() else f"{int(missing.sum())} runs"
    notes.append(f"no {words} on {count}: {stand_in:.4g} {unit} is taken")
    return np.asarray(np.where(missing, stand_in, values))


def _engine(  # noqa: PLR0917 - as above
    table: pd.DataFrame,
    names: np.ndarray,
    swept_volume: FloatArray,
    log_ratio: FloatArray,
    heat_share: float,
    notes: list[str],
) -> FloatArray:
    """Engine displacement; where not entered, that which explains the unit's mean boost."""
    engine = table["engine_displacement_in3"].to_numpy(float)
    missing = np.isnan(engine)
    if not missing.any():
        return np.asarray(engine)
    mean = pd.DataFrame({"log": log_ratio, "volume": np.log(swept_volume)}).groupby(names)
    level = mean.transform("mean")
    ratio = np.exp(level["log"].to_numpy()) * _SLIP_ALLOWED
    kappa = heat_share * _HEAT_EXPONENT
    swept = ratio / (1.0 - kappa + kappa * ratio)
    notes.append(
        "engine displacement is not entered for every unit: that which explains its mean boost "
        "is taken"
    )
    return np.asarray(np.where(missing, 2.0 * np.exp(level["volume"].to_numpy()) / swept, engine))

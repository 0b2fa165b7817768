"""What the hands enter, in the book's own columns: looks, readings and what they leave blank."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from wearstats.arrays import BoolArray, FloatArray
from wearstats.records.schema import READINGS, RESTRIPS, RUNS, UNITS, Kind, Sheet
from wearstats_synthetic.fleet import SIMULATED, Fleet
from wearstats_synthetic.hands import DOCK, HANDS, Hand
from wearstats_synthetic.looks import feeler, read_gap, read_height
from wearstats_synthetic.schedule import Schedule
from wearstats_synthetic.strips import WINTER_WORK, Fitting, History
from wearstats_synthetic.truth import Truth

_SLOW_PATH_CHANCE = 0.4
_HEIGHT_CHANCE = 0.5
_FRESH_TIP_CHANCE = 0.9
_METAL_CHANCE = 0.5
_STATIONS_CHANCE = 0.3
_STATIONS = ("front", "center", "rear")
_ROTORS = ("drive", "driven")
_STATION_SD_THOU = 0.3
_BOOST_NEEDS_LOAD = 0.5


@dataclass(frozen=True, slots=True)
class Paths:
    """True metal-to-metal, mesh and end clearances.

    Parameters
    ----------
    metal_thou, mesh_start_thou, end_start_thou : ndarray, one a unit
    mesh_thou, end_thou : ndarray, one a run
        After the run; `end` at either plate.
    """

    metal_thou: FloatArray
    mesh_start_thou: FloatArray
    end_start_thou: FloatArray
    mesh_thou: FloatArray
    end_thou: FloatArray


def run_records(
    truth: Truth,
    fleet: Fleet,
    schedule: Schedule,
    history: History,
    *,
    paths: Paths,
    boost_psi: FloatArray,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Enter every run as the boat's hand would."""
    size = schedule.date.size
    looked = np.array([look is not None for look in history.strips])
    felt = looked & (rng.random(size) < truth.feeler_chance)
    slow = felt & (rng.random(size) < _SLOW_PATH_CHANCE)
    height = felt & (rng.random(size) < _HEIGHT_CHANCE)
    logged = (rng.random(size) >= truth.boost_missing) & (schedule.load >= _BOOST_NEEDS_LOAD)
    entered = rng.random(size) < truth.entered_chance
    # A unit that joined with runs on its strips shows them nowhere but in this column.
    entered |= (history.build == 1) & (history.age_before == _joined_with(fleet, schedule))
    names = np.array([unit.name for unit in fleet.units], object)
    frame: dict[str, object] = {
        "date": schedule.date.astype("datetime64[ns]"),
        "unit": names[schedule.unit],
        "run": schedule.run,
        "meet": np.array([meet.name for meet in fleet.meets], object)[schedule.meet],
        "engine": np.array([boat.name for boat in fleet.boats], object)[schedule.boat],
        "load": np.where(schedule.load < 1.0, schedule.load, np.nan),
        "overdrive_pct": schedule.overdrive_pct,
        "engine_speed_rpm": schedule.engine_speed_rpm,
        "humidity_pct": schedule.humidity_pct,
        "runs_since_restrip": np.where(entered, history.count.astype(float), np.nan),
        "strips": np.array(history.strips, object),
        "remark": _remarks(schedule),
    }
    by_hand = np.array([boat.hand for boat in fleet.boats])[schedule.boat]
    metal = paths.metal_thou[schedule.unit]
    for hand in HANDS:
        own = by_hand == hand.name
        gaps = (
            ("tip", history.tip_thou, felt),
            ("mesh", paths.mesh_thou, slow),
            ("end", paths.end_thou, slow),
        )
        for name, true, measured in gaps:
            read = read_gap(true, measured, hand, truth, rng)
            _fill(frame, f"{name}_low_thou", own, read.low)
            _fill(frame, f"{name}_high_thou", own, read.high)
        _fill(
            frame,
            "strip_height_thou",
            own,
            read_height(metal - history.tip_thou, height, hand, truth, rng),
        )
        boost = hand.boost.rounded(np.where(logged, boost_psi, np.nan))
        _fill(frame, "boost_psi", own, boost)
        _fill(frame, "air_temperature_f", own, hand.temperature.rounded(schedule.air_temperature_f))
        _fill(frame, "barometer_inhg", own, hand.barometer.rounded(schedule.barometer_inhg))
    return _canonical(RUNS, frame)


def restrip_records(
    truth: Truth, fleet: Fleet, history: History, paths: Paths, rng: np.random.Generator
) -> pd.DataFrame:
    """Enter every restrip; the shop's book is the dock hand's."""
    fittings = history.fittings
    count = len(fittings)
    unit = np.array([fitting.new.unit for fitting in fittings], int)
    start = np.array([fitting.new.start_tip_thou for fitting in fittings])
    done = _load_before(fittings)
    metal = paths.metal_thou[unit]
    fresh = rng.random(count) < _FRESH_TIP_CHANCE
    slow = fresh & (rng.random(count) < _SLOW_PATH_CHANCE)
    reads = {
        "metal": read_gap(metal, rng.random(count) < _METAL_CHANCE, _bare_set(), truth, rng),
        "tip": read_gap(start, fresh, DOCK, truth, rng),
        "mesh": read_gap(
            paths.mesh_start_thou[unit] + truth.mesh_rate_thou_per_run * done,
            slow,
            DOCK,
            truth,
            rng,
        ),
        "end": read_gap(
            paths.end_start_thou[unit] + truth.end_rate_thou_per_run * done, slow, DOCK, truth, rng
        ),
    }
    winter = [fitting.old is None for fitting in fittings]
    frame: dict[str, object] = {
        "date": np.array([fitting.date for fitting in fittings], "datetime64[ns]"),
        "unit": np.array([spec.name for spec in fleet.units], object)[unit],
        "after_run": np.array([fitting.after_run for fitting in fittings], float),
        "reason": np.array([fitting.reason for fitting in fittings], object),
        "found": np.array([fitting.found for fitting in fittings], object),
        "strip_material": np.array(["urethane"] * count, object),
        "strip_lot": np.array([fitting.new.lot for fitting in fittings], object),
        "strip_height_thou": read_height(metal - start, np.ones(count, bool), DOCK, truth, rng),
        "trial_fits": rng.integers(2, 7, count).astype(float),
        "hours_h": np.round(rng.lognormal(np.log(4.0), 0.25, count) * 4.0) / 4.0,
        "cost": np.round(rng.lognormal(np.log(260.0), 0.15, count) / 5.0) * 5.0,
        "remark": np.array(
            [f"winter rebuild, {SIMULATED}" if first else None for first in winter], object
        ),
    }
    for name, read in reads.items():
        frame[f"{name}_low_thou"], frame[f"{name}_high_thou"] = read.low, read.high
    return _canonical(RESTRIPS, frame)


def unit_records(
    truth: Truth, fleet: Fleet, paths: Paths, rng: np.random.Generator
) -> pd.DataFrame:
    """Enter every unit."""
    units = fleet.units
    metal = read_gap(paths.metal_thou, np.ones(len(units), bool), _bare_set(), truth, rng)
    frame: dict[str, object] = {
        "unit": np.array([unit.name for unit in units], object),
        "displacement_in3": [unit.displacement_in3 for unit in units],
        "rotor_length_in": [unit.rotor_length_in for unit in units],
        "rotor_diameter_in": [unit.rotor_diameter_in for unit in units],
        "lobes": [float(unit.lobes) for unit in units],
        "engine_displacement_in3": [unit.engine_displacement_in3 for unit in units],
        "metal_low_thou": metal.low,
        "metal_high_thou": metal.high,
        "service_limit_runs": [unit.service_limit_runs for unit in units],
        "taken_in": days_or_none(
            [
                fleet.meets[unit.joins_at].first_day - WINTER_WORK - timedelta(days=1)
                if unit.joins_at
                else None
                for unit in units
            ]
        ),
        "retired": days_or_none([retired_on(fleet, number) for number in range(len(units))]),
        "remark": np.array([SIMULATED] * len(units), object),
    }
    return _canonical(UNITS, frame)


def days_or_none(days: Sequence[date | np.datetime64 | None]) -> NDArray[np.datetime64]:
    """Return days as datetime64[ns], NaT where there is none."""
    return np.array(["NaT" if day is None else str(day) for day in days], "datetime64[ns]")


def retired_on(fleet: Fleet, unit: int) -> date | None:
    """Day a unit is sold: five days after its last meet; None if it stays."""
    last = fleet.units[unit].leaves_after
    if last is None or last >= len(fleet.meets):
        return None
    return fleet.meets[last].last_day + timedelta(days=5)


def reading_records(
    truth: Truth, fleet: Fleet, history: History, rng: np.random.Generator
) -> pd.DataFrame:
    """Enter station by station readings, taken the day after some restrips in the shop."""
    rows: list[dict[str, object]] = []
    for fitting in history.fittings:
        taken = rng.random() < _STATIONS_CHANCE
        if not (taken and np.isnan(fitting.after_run)):
            continue
        spread = _STATION_SD_THOU * rng.standard_normal((len(_ROTORS), len(_STATIONS)))
        error = truth.feeler_sd_thou * rng.standard_normal(spread.shape)
        measured = fitting.new.start_tip_thou + spread - spread.mean() + error
        read = feeler(np.maximum(measured, 0.0), DOCK)
        rows.extend(
            {
                "date": fitting.date + np.timedelta64(1, "D"),
                "unit": fleet.units[fitting.new.unit].name,
                "rotor": rotor,
                "lobe": 1.0,
                "station": station,
                "what": "tip",
                "repeat": 1.0,
                "go_thou": read.low[row, column],
                "no_go_thou": read.high[row, column],
                "gauge": "feeler",
            }
            for row, rotor in enumerate(_ROTORS)
            for column, station in enumerate(_STATIONS)
        )
    table = pd.DataFrame(rows, columns=list(READINGS.fields))
    return _canonical(READINGS, {name: table[name].to_numpy() for name in READINGS.fields})


def _joined_with(fleet: Fleet, schedule: Schedule) -> FloatArray:
    """Age at which each run's unit joined; -1 (no age at all) for fresh strips."""
    joined = np.array([float(unit.runs_on_strips) or -1.0 for unit in fleet.units])
    return np.asarray(joined[schedule.unit])


def _load_before(fittings: list[Fitting]) -> FloatArray:
    """Load-weighted runs a unit has made in the records before each fitting."""
    done: dict[int, float] = {}
    before = []
    for fitting in fittings:
        if fitting.old is not None:
            unit = fitting.new.unit
            done[unit] = done.get(unit, 0.0) + fitting.old.age - fitting.old.entry
        before.append(done.get(fitting.new.unit, 0.0))
    return np.array(before)


def _bare_set() -> Hand:
    """Return the dock hand with the thick blades that bare rotors need."""
    return Hand(
        DOCK.name,
        DOCK.blades,
        15.0,
        45.0,
        DOCK.height,
        DOCK.boost,
        DOCK.temperature,
        DOCK.barometer,
    )


def _remarks(schedule: Schedule) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    remarks = np.full(schedule.date.size, None, object)
    remarks[schedule.load < 1.0] = "shut off early"
    if remarks.size:
        remarks[0] = f"{SIMULATED}: no real runs"
    return remarks


def _fill(frame: dict[str, object], name: str, own: BoolArray, values: FloatArray) -> None:
    so_far = frame.get(name, np.nan)
    frame[name] = np.where(own, values, np.asarray(so_far, float))


def _canonical(sheet: Sheet, columns: dict[str, object]) -> pd.DataFrame:
    """Put columns in the schema's order, blank where nothing was entered, sorted by key."""
    frame = pd.DataFrame(columns)
    for column in sheet:
        is_text = column.kind in {Kind.TEXT, Kind.CHOICE}
        for name in column.fields:
            if name not in frame:
                frame[name] = np.nan
            if is_text:
                texts = [None if pd.isna(text) else text for text in frame[name]]
                frame[name] = np.array(texts, object)
    keys = [name for name in sheet.key_fields if not frame[name].isna().all()]
    frame = frame[list(sheet.fields)].sort_values(keys, kind="stable")
    return frame.reset_index(drop=True)

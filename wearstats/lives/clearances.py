"""Clearance and strip height against the age of the strips, from all three sheets."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import ObservationError
from wearstats.lives.states import last_seen
from wearstats.lives.strip_lives import StripLives
from wearstats.records.season import Season

_GAPS = ("tip", "mesh", "end", "metal")
_PLACES = ("rotor", "lobe", "station", "clock", "gauge")
_WHERE = ("unit", "build", "age", "date", "strips")


def clearance_readings(season: Season, lives: StripLives) -> pd.DataFrame:
    """Return every clearance and strip height reading with the age of the strips.

    A reading in the runs sheet was taken after that run. One in the restrips sheet was taken
    on the fresh strips, at the entry age of the build it began. One in the readings sheet was
    taken after all of that day's runs of its unit; on the day of a restrip, or between two
    builds whose restrip is not on record, it cannot be told whether it is of the old or of the
    new strips, and it is left out (a metal-to-metal reading, which has no strips in it, is
    not).

    Parameters
    ----------
    season : Season
        The season the lives were made from.
    lives : StripLives

    Returns
    -------
    DataFrame
        One row for each reading, sorted by unit, date, what and source: unit, build (0 where
        no build was on the unit), age (runs; NaN where unknown), date, what ("tip", "mesh",
        "end", "strip height", "metal"), low_thou, high_thou (NaN on an open side; equal for a
        single value), source ("runs", "restrips", "readings"), strips (as last seen in this
        build, None if nobody looked yet), left_out, why (empty, or why it is left out), then
        rotor, lobe, station, clock, gauge of the readings sheet.

    Raises
    ------
    ObservationError
        The lives were made from another season.
    """
    parts = [_from_runs(lives), _from_restrips(season.restrips, lives)]
    parts += [_from_readings(season.readings, lives)]
    filled = [part for part in parts if len(part)]
    table = pd.concat(filled or parts[:1], ignore_index=True)
    table = _mark_left_out(table, lives)
    order = ["unit", "date", "build", "what", "source", "age", "low_thou", "high_thou", *_PLACES]
    return table.sort_values(order, kind="stable", ignore_index=True)


def _row_parts(where: pd.DataFrame, sheet: pd.DataFrame, source: str) -> pd.DataFrame:
    """Turn the reading columns of a sheet into one row a reading."""
    parts: list[pd.DataFrame] = []
    for what in (*_GAPS, "strip height"):
        if what == "strip height":
            low = high = sheet["strip_height_thou"].to_numpy(dtype=np.float64)
        elif f"{what}_low_thou" in sheet:
            low = sheet[f"{what}_low_thou"].to_numpy(dtype=np.float64)
            high = sheet[f"{what}_high_thou"].to_numpy(dtype=np.float64)
        else:
            continue
        read = ~(np.isnan(low) & np.isnan(high))
        part = where[read].assign(what=what, low_thou=low[read], high_thou=high[read])
        parts.append(part)
    table = pd.concat(parts, ignore_index=True)
    nothing = np.full(len(table), None, dtype=object)
    return table.assign(
        source=source,
        why="",
        rotor=nothing,
        lobe=np.nan,
        station=nothing,
        clock=np.nan,
        gauge=nothing,
    )


def _from_runs(lives: StripLives) -> pd.DataFrame:
    runs = lives.runs
    where = pd.DataFrame(
        {
            "unit": runs["unit"],
            "build": runs["build"],
            "age": runs["age_after"],
            "date": runs["date"],
            "strips": last_seen(runs),
        }
    )
    return _row_parts(where, runs, "runs")


def _from_restrips(restrips: pd.DataFrame, lives: StripLives) -> pd.DataFrame:
    """Give each restrip the build it began.

    Where several restrips share unit and day, they began the builds of that day in order; if
    that order is in doubt those builds are left out, and the readings with them.
    """
    rows = restrips.sort_values(list(restrips.columns), ignore_index=True)
    rows = rows.sort_values(["unit", "date", "after_run"], kind="stable", ignore_index=True)
    begun = lives.frame[lives.frame["began"].notna()]
    begun = begun.sort_values(["unit", "build"], ignore_index=True)
    if len(begun) != len(rows):
        message = "these lives were not made from this season: their restrips differ"
        raise ObservationError(message)
    where = pd.DataFrame(
        {
            "unit": begun["unit"],
            "build": begun["build"],
            "age": begun["entry"],
            "date": begun["began"],
            "strips": np.full(len(begun), None, dtype=object),
        }
    )
    return _row_parts(where, rows, "restrips")


@dataclass(frozen=True, slots=True)
class _Located:
    """Where in the lives each reading falls; build 0 where there was none."""

    build: IntArray
    age: FloatArray
    strips: np.ndarray
    unsure: BoolArray  # old strips or new ones cannot be told


def _from_readings(readings: pd.DataFrame, lives: StripLives) -> pd.DataFrame:
    located = _locate(readings, lives)
    what = readings["what"].to_numpy(dtype=object)
    low, high, why = _values(readings)
    needs_build = what != "metal"
    why = np.where(
        (why == "") & needs_build & located.unsure,
        "of the old strips or the new cannot be told: a restrip that day, or one not on record",
        why,
    )
    why = np.where(
        (why == "") & needs_build & (located.build == 0), "no strips on record that day", why
    )
    return pd.DataFrame(
        {
            "unit": readings["unit"].to_numpy(dtype=object),
            "build": located.build,
            "age": located.age,
            "date": readings["date"].to_numpy(),
            "strips": located.strips,
            "what": what,
            "low_thou": low,
            "high_thou": high,
            "source": "readings",
            "why": why.astype(object),
            **{name: readings[name].to_numpy() for name in _PLACES},
        }
    )


def _values(readings: pd.DataFrame) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Return low, high and why a reading cannot be used; shape (n,) each.

    Go and no-go blades, where given, are the reading; a value beside them must not lie
    outside of them.
    """
    go = readings["go_thou"].to_numpy(dtype=np.float64)
    no_go = readings["no_go_thou"].to_numpy(dtype=np.float64)
    value_low = readings["value_low_thou"].to_numpy(dtype=np.float64)
    value_high = readings["value_high_thou"].to_numpy(dtype=np.float64)
    by_blade = ~(np.isnan(go) & np.isnan(no_go))
    low, high = np.where(by_blade, go, value_low), np.where(by_blade, no_go, value_high)
    why = np.full(len(readings), "", dtype=object)
    why[by_blade & ((value_low > no_go) | (value_high < go))] = "value outside of go and no-go"
    why[low > high] = "go above no-go"
    why[np.isnan(low) & np.isnan(high)] = "no value"
    return low, high, why


def _locate(readings: pd.DataFrame, lives: StripLives) -> _Located:
    """Find build, age and strips at the end of each reading's day."""
    runs, frame = lives.runs, lives.frame
    count = len(readings)
    build, age = np.zeros(count, dtype=np.int64), np.full(count, np.nan)
    strips, unsure = np.full(count, None, dtype=object), np.zeros(count, dtype=bool)
    runs_of = _by_unit(runs.assign(seen=last_seen(runs)))
    builds_of = _by_unit(frame)
    units = readings["unit"].to_numpy(dtype=object)
    for unit in sorted({*units}):
        at = np.flatnonzero(units == unit)
        if unit not in builds_of:
            continue
        builds = builds_of[unit]
        day = readings["date"].to_numpy()[at]
        last, last_age, last_seen_state = _after_runs(runs_of.get(unit), day)
        began = builds["began"].to_numpy()
        number = builds["build"].to_numpy()
        # The newest build that had begun, by a run on it or by its restrip.
        by_restrip = (np.where(began <= day[:, None], number, 0)).max(axis=1)
        opened = 1 if np.isnat(began[0]) else 0  # on the unit when it joined
        current = np.maximum(np.maximum(last, by_restrip), opened)
        run_on_it = (last == current) & (last > 0)
        entry = np.append(np.nan, builds["entry"].to_numpy(dtype=np.float64))
        build[at] = current
        age[at] = np.where(run_on_it, last_age, entry[current])
        strips[at[run_on_it]] = last_seen_state[run_on_it]
        unsure[at] = (began == day[:, None]).any(axis=1) | _before_unrecorded(
            runs_of.get(unit), began, current, day
        )
    return _Located(build, age, strips, unsure)


def _by_unit(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    return {str(unit): rows for unit, rows in table.groupby("unit")}


def _after_runs(
    runs: pd.DataFrame | None, day: np.ndarray
) -> tuple[IntArray, FloatArray, np.ndarray]:
    """Return build, age and state after the unit's last run up to each day; 0 where none."""
    if runs is None:
        none = np.zeros(len(day), dtype=np.int64)
        return none, np.full(len(day), np.nan), np.full(len(day), None, dtype=object)
    row = np.searchsorted(runs["date"].to_numpy(), day, "right")
    return (
        np.append(0, runs["build"].to_numpy())[row].astype(np.int64),
        np.append(np.nan, runs["age_after"].to_numpy())[row],
        np.append(np.array([None], dtype=object), runs["seen"].to_numpy(dtype=object))[row],
    )


def _before_unrecorded(
    runs: pd.DataFrame | None, began: np.ndarray, current: IntArray, day: np.ndarray
) -> BoolArray:
    """Mark days from a build's last run to the next build's first, if no restrip is on record."""
    unsure = np.zeros(len(day), dtype=bool)
    if runs is None:
        return unsure
    last_day = runs.groupby("build")["date"].max()
    for at, build in enumerate(current):
        follows = 0 < build < len(began) and np.isnat(began[build])
        unsure[at] = bool(follows and day[at] >= last_day[build].to_datetime64())
    return unsure


def _mark_left_out(table: pd.DataFrame, lives: StripLives) -> pd.DataFrame:
    """Add left_out: the reading itself is at fault, or its build is."""
    keys = pd.MultiIndex.from_frame(table[["unit", "build"]])
    out = lives.frame.set_index(["unit", "build"])["left_out"].reindex(keys, fill_value=False)
    of_build = out.to_numpy(dtype=bool) & (table["what"] != "metal").to_numpy()
    why = table["why"].where((table["why"] != "") | ~of_build, "its build is left out")
    table = table.assign(left_out=(why != "").to_numpy(), why=why)
    first = [*_WHERE[:-1], "what", "low_thou", "high_thou", "source", "strips", "left_out", "why"]
    return table[[*first, *_PLACES]]

"""Clean records as each hand lays them out: headers, units, words and cells."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from wearstats_synthetic.hands import DOCK, TRAILER, Hand, Scale
from wearstats_synthetic.season import SimulatedSeason

Cell = str | float | int | date | None
Maker = Callable[[pd.DataFrame], list[Cell]]

_TRAILER_WORDS = {"sound": "ok", "burned": "burnt"}


@dataclass(frozen=True, slots=True)
class Draft:
    """A sheet before it becomes a file.

    Parameters
    ----------
    file, kind : str
        Name of the file, and of the schema's sheet.
    headers : tuple of str
    fields : tuple of str
        First canonical field of each header.
    rows : list of list of Cell
        The header is row 1 of the file, so `rows[0]` is row 2.
    source : list of int
        Row of the season's canonical frame each was made from.
    """

    file: str
    kind: str
    headers: tuple[str, ...]
    fields: tuple[str, ...]
    rows: list[list[Cell]]
    source: list[int]

    def copy(self) -> "Draft":
        """Return a draft whose rows may be changed."""
        return Draft(
            self.file,
            self.kind,
            self.headers,
            self.fields,
            [list(row) for row in self.rows],
            list(self.source),
        )

    def at(self, field: str) -> int:
        """Return the column that holds a canonical field."""
        return self.fields.index(field)


def drafts(season: SimulatedSeason) -> list[Draft]:
    """Lay out all sheets of a season, without slips.

    Returns
    -------
    list of Draft
        runs_dock.csv, runs_trailer.xlsx, restrips.csv, units.csv, readings.csv.
    """
    by_trailer = (season.run_truth["hand"] == TRAILER.name).to_numpy()
    return [
        _draft("runs_dock.csv", "runs", season.runs, ~by_trailer, _dock_runs()),
        _draft("runs_trailer.xlsx", "runs", season.runs, by_trailer, _trailer_runs()),
        _draft("restrips.csv", "restrips", season.restrips, None, _restrips()),
        _draft("units.csv", "units", season.units, None, _units()),
        _draft("readings.csv", "readings", season.readings, None, _readings()),
    ]


_Layout = tuple[tuple[str, str, Maker], ...]


def _dock_runs() -> _Layout:
    one = Scale(DOCK.blades.unit, 1.0, 0)
    return (
        ("Date", "date", _iso("date")),
        ("Unit", "unit", _text("unit")),
        ("Run", "run", _written("run", one)),
        ("Meet", "meet", _text("meet")),
        ("Boat", "engine", _text("engine")),
        ("Load", "load", _written("load", Scale(one.unit, 0.1, 1))),
        ("Boost (psi)", "boost_psi", _written("boost_psi", DOCK.boost)),
        ("Overdrive (%)", "overdrive_pct", _written("overdrive_pct", one)),
        ("Engine rpm", "engine_speed_rpm", _written("engine_speed_rpm", one)),
        ("Air temp (F)", "air_temperature_f", _written("air_temperature_f", DOCK.temperature)),
        ("Baro (inHg)", "barometer_inhg", _written("barometer_inhg", DOCK.barometer)),
        ("Humidity (%)", "humidity_pct", _written("humidity_pct", one)),
        ("Runs since restrip", "runs_since_restrip", _written("runs_since_restrip", one)),
        *(
            (f"{name.title()} (thou)", f"{name}_low_thou", _gap(name, DOCK))
            for name in ("tip", "mesh", "end")
        ),
        ("Strip height (thou)", "strip_height_thou", _written("strip_height_thou", DOCK.height)),
        ("Strips", "strips", _text("strips")),
        ("Remark", "remark", _text("remark")),
    )


def _trailer_runs() -> _Layout:
    one = Scale(DOCK.blades.unit, 1.0, 0)
    return (
        ("Day", "date", _day("date")),
        ("Blower", "unit", _text("unit")),
        ("Pass", "run", _typed("run", one)),
        ("Event", "meet", _text("meet")),
        ("Boat", "engine", _text("engine")),
        ("Load", "load", _typed("load", Scale(one.unit, 0.1, 1))),
        ("Boost [kPa]", "boost_psi", _typed("boost_psi", TRAILER.boost)),
        ("OD [%]", "overdrive_pct", _typed("overdrive_pct", one)),
        ("RPM", "engine_speed_rpm", _typed("engine_speed_rpm", one)),
        ("Air [C]", "air_temperature_f", _typed("air_temperature_f", TRAILER.temperature)),
        ("Baro [kPa]", "barometer_inhg", _typed("barometer_inhg", TRAILER.barometer)),
        ("RH [%]", "humidity_pct", _typed("humidity_pct", one)),
        ("Since restrip", "runs_since_restrip", _typed("runs_since_restrip", one)),
        *(
            (f"{name.title()} gap [mm]", f"{name}_low_thou", _gap(name, TRAILER))
            for name in ("tip", "mesh", "end")
        ),
        ("Height [mm]", "strip_height_thou", _typed("strip_height_thou", TRAILER.height)),
        ("Look", "strips", _text("strips", _TRAILER_WORDS)),
        ("Notes", "remark", _text("remark")),
    )


def _restrips() -> _Layout:
    one = Scale(DOCK.blades.unit, 1.0, 0)
    return (
        ("Date", "date", _iso("date")),
        ("Unit", "unit", _text("unit")),
        ("After run", "after_run", _written("after_run", one)),
        ("Reason", "reason", _text("reason")),
        ("Found", "found", _text("found")),
        ("Strip material", "strip_material", _text("strip_material")),
        ("Strip lot", "strip_lot", _text("strip_lot")),
        ("Strip height (thou)", "strip_height_thou", _written("strip_height_thou", DOCK.height)),
        *(
            (f"{name.title()} (thou)", f"{name}_low_thou", _gap(name, DOCK))
            for name in ("metal", "tip", "mesh", "end")
        ),
        ("Trial fits", "trial_fits", _written("trial_fits", one)),
        ("Hours", "hours_h", _written("hours_h", Scale(one.unit, 0.25, 2))),
        ("Cost", "cost", _written("cost", one)),
        ("Remark", "remark", _text("remark")),
    )


def _units() -> _Layout:
    one = Scale(DOCK.blades.unit, 1.0, 0)
    tenth = Scale(one.unit, 0.1, 1)
    return (
        ("Unit", "unit", _text("unit")),
        ("Displacement (in3)", "displacement_in3", _written("displacement_in3", tenth)),
        ("Rotor length (in)", "rotor_length_in", _written("rotor_length_in", tenth)),
        ("Rotor diameter (in)", "rotor_diameter_in", _written("rotor_diameter_in", tenth)),
        ("Lobes", "lobes", _written("lobes", one)),
        (
            "Engine displacement (in3)",
            "engine_displacement_in3",
            _written("engine_displacement_in3", tenth),
        ),
        ("Metal (thou)", "metal_low_thou", _gap("metal", DOCK)),
        ("Service limit runs", "service_limit_runs", _written("service_limit_runs", one)),
        ("Taken in", "taken_in", _iso("taken_in")),
        ("Retired", "retired", _iso("retired")),
        ("Remark", "remark", _text("remark")),
    )


def _readings() -> _Layout:
    one = Scale(DOCK.blades.unit, 1.0, 0)
    return (
        ("Date", "date", _iso("date")),
        ("Unit", "unit", _text("unit")),
        ("Rotor", "rotor", _text("rotor")),
        ("Lobe", "lobe", _written("lobe", one)),
        ("Station", "station", _text("station")),
        ("What", "what", _text("what")),
        ("Repeat", "repeat", _written("repeat", one)),
        ("Go (thou)", "go_thou", _written("go_thou", DOCK.blades)),
        ("No-go (thou)", "no_go_thou", _written("no_go_thou", DOCK.blades)),
        ("Gauge", "gauge", _text("gauge")),
    )


def _draft(
    file: str,
    kind: str,
    frame: pd.DataFrame,
    own: "np.ndarray[tuple[int], np.dtype[np.bool_]] | None",
    layout: _Layout,
) -> Draft:
    source = np.arange(len(frame)) if own is None else np.flatnonzero(own)
    part = frame.iloc[source]
    columns = [make(part) for _, _, make in layout]
    return Draft(
        file=file,
        kind=kind,
        headers=tuple(header for header, _, _ in layout),
        fields=tuple(field for _, field, _ in layout),
        rows=[list(cells) for cells in zip(*columns, strict=True)],
        source=source.tolist(),
    )


def _iso(field: str) -> Maker:
    return lambda frame: [
        None if pd.isna(when) else when.date().isoformat() for when in frame[field]
    ]


def _day(field: str) -> Maker:
    return lambda frame: [None if pd.isna(when) else when.date() for when in frame[field]]


def _text(field: str, words: dict[str, str] | None = None) -> Maker:
    said = words or {}
    return lambda frame: [None if text is None else said.get(text, text) for text in frame[field]]


def _written(field: str, scale: Scale) -> Maker:
    return lambda frame: [scale.text(float(value)) or None for value in frame[field]]


def _typed(field: str, scale: Scale) -> Maker:
    def typed(frame: pd.DataFrame) -> list[Cell]:
        numbers = [scale.number(float(value)) for value in frame[field]]
        if scale.decimals == 0:
            return [None if number is None else int(number) for number in numbers]
        return list(numbers)

    return typed


def _gap(name: str, hand: Hand) -> Maker:
    def read(frame: pd.DataFrame) -> list[Cell]:
        edges = zip(frame[f"{name}_low_thou"], frame[f"{name}_high_thou"], strict=True)
        return [_reading(hand.blades.text(low), hand.blades.text(high)) for low, high in edges]

    return read


def _reading(low: str, high: str) -> str | None:
    if low and high:
        return f"{low}/{high}"
    if high:
        return f"<{high}"
    return f">{low}" if low else None

"""A table of lives read as it stands: published data, or lives counted elsewhere."""

import math
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from wearstats.errors import RecordError
from wearstats.lives.life_rows import Life, LifeRow, UnusableError, is_blank, life_of, number_in
from wearstats.lives.strip_lives import LeftOut, StripLives
from wearstats.records.cells import Cell, cell_text
from wearstats.records.findings import Finding
from wearstats.records.raw import RawSheet
from wearstats.records.read import read_sheets
from wearstats.records.spellings import spelling_key

EXPECTED = "columns lower and upper, or time (or exit) and event"
_OURS = ("unit", "build", "entry", "lower", "upper", "mode", "weight", "time", "exit", "event")
_MOST_BUILDS = 1_000_000
_FROM_BUILD = ("strip_material", "strip_lot", "strip_height_thou")
_EMPTY_RUNS = ("unit", "build", "date", "run", "load", "age_before", "age_after")


def read_lives(path: str | Path) -> StripLives:
    """Read a table of lives from a CSV, TSV, XLSX or Parquet file.

    Parameters
    ----------
    path : str or Path
        One life a row, under the headers lower and upper (blank upper: right-censored;
        lower = upper: failed exactly then; else failed in (lower, upper]), or time (or exit)
        and event (1 failed exactly then, 0 still good). Optional: unit, build, entry (blank:
        0), mode (without that column a failure is a burn-through), weight (blank: 1; the
        number of lives alike). Other columns are kept as covariates.

    Returns
    -------
    StripLives
        In the order of the file, without runs. A row that makes no life is left out by name
        and number; without a unit column a life is called by its row.

    Raises
    ------
    RecordError
        The file cannot be read, the needed columns are missing or given twice, or not one
        row makes a life; its findings name every row.
    """
    sheet = _sheet_of_lives(Path(path))
    rows, ragged = _rows_of(sheet)
    has_mode = any(spelling_key(header) == "mode" for header in sheet.headers)
    lives: dict[int, Life] = {}
    faults: dict[int, UnusableError] = dict(ragged)
    for row in rows:
        if row.row in faults:
            continue
        try:
            lives[row.row] = life_of(row, has_mode=has_mode)
        except UnusableError as fault:
            faults[row.row] = fault
    names = _names(rows, faults)
    lives = {row: life for row, life in lives.items() if row not in faults}
    if not lives:
        findings = [_finding(sheet, row, fault) for row, fault in sorted(faults.items())]
        first = f"; {findings[0]}" if findings else ""
        message = f"{sheet.file}: not one row makes a life{first}"
        raise RecordError(message, findings=findings)
    frame = _frame(rows, names, lives)
    left_out = tuple(
        LeftOut(*names[row.row], faults[row.row].code, f"row {row.row}: {faults[row.row]}")
        for row in rows
        if row.row in faults
    )
    return StripLives(frame, _no_runs(), left_out, _notes(frame))


def _sheet_of_lives(path: Path) -> RawSheet:
    """Return the one sheet whose headers make lives."""
    sheets = list(read_sheets(path))
    able = [sheet for sheet in sheets if _needs(sheet) == ""]
    if len(able) == 1:
        return able[0]
    if able:
        names = ", ".join(sheet.name for sheet in able)
        message = f"{path.name}: several sheets hold lives ({names}); keep one"
        raise RecordError(message, findings=(Finding("sheets-several", message, file=path.name),))
    findings = [
        Finding(
            "columns-missing",
            f"{_needs(sheet)}; headers: {', '.join(sheet.headers)}",
            file=sheet.file,
            sheet=sheet.name,
            expected=EXPECTED,
        )
        for sheet in sheets
    ]
    message = f"{path.name}: {findings[0].message if findings else 'no sheet'}"
    raise RecordError(message, findings=findings)


def _needs(sheet: RawSheet) -> str:
    """Say what a sheet lacks to be a table of lives, or return an empty text."""
    keys = Counter(spelling_key(header) for header in sheet.headers if header.strip())
    twice = [key for key, times in keys.items() if times > 1]
    if twice:
        return f"column {twice[0]!r} is there twice"
    by_interval, by_time = {"lower", "upper"} & {*keys}, {"time", "exit", "event"} & {*keys}
    if by_interval and by_time:
        return "columns lower or upper stand beside time, exit or event; expected either pair"
    if {"time", "exit"} <= {*keys}:
        return "columns time and exit are both there; they are two names for one thing"
    if {"lower", "upper"} <= {*keys} or ("event" in keys and by_time != {"event"}):
        return ""
    return f"expected {EXPECTED}"


def _rows_of(sheet: RawSheet) -> tuple[list[LifeRow], list[tuple[int, UnusableError]]]:
    rows, ragged = [], []
    width = len(sheet.headers)
    for chunk in sheet.chunks:
        numbered = [*zip(chunk.rows, chunk.cells, strict=True), *chunk.ragged]
        for number, cells in numbered:
            row = LifeRow(number, {}, {})
            for header, cell in zip(sheet.headers, cells, strict=False):
                key = spelling_key(header)
                if key in _OURS:
                    row.cells["time" if key == "exit" else key] = cell
                elif header.strip() or not is_blank(cell):
                    row.others[header.strip() or "no header"] = cell
            rows.append(row)
        for number, cells in chunk.ragged:
            message = f"{len(cells)} cells under {width} headers"
            ragged.append((number, UnusableError("ragged-row", message)))
    return sorted(rows, key=lambda row: row.row), ragged


def _names(rows: list[LifeRow], faults: dict[int, UnusableError]) -> dict[int, tuple[str, int]]:
    """Name each life; mark builds that cannot be read or stand in two rows."""
    names: dict[int, tuple[str, int]] = {}
    count: Counter[str] = Counter()
    first: dict[tuple[str, int], int] = {}
    for row in rows:
        cell = row.cells.get("unit")
        unit = f"row {row.row}" if is_blank(cell) else cell_text(cell).strip()
        count[unit] += 1
        build = count[unit]
        if not is_blank(row.cells.get("build")):
            number = number_in(row.cells["build"])
            if number is None or not (1 <= number <= _MOST_BUILDS and float(number).is_integer()):
                text = cell_text(row.cells["build"])
                message = f"build {text!r}; expected a whole number from 1"
                faults.setdefault(row.row, UnusableError("not-a-number", message, "build"))
            else:
                build = int(number)
                other = first.setdefault((unit, build), row.row)
                if other != row.row:
                    for one, twin in ((row.row, other), (other, row.row)):
                        message = f"build {build} of unit {unit} stands in row {twin} as well"
                        faults.setdefault(one, UnusableError("build-twice", message, "build"))
        names[row.row] = (unit, build)
    return names


def _finding(sheet: RawSheet, row: int, fault: UnusableError) -> Finding:
    return Finding(
        fault.code,
        str(fault),
        file=sheet.file,
        sheet=sheet.name,
        row=row,
        column=fault.column or None,
    )


def _frame(
    rows: list[LifeRow], names: dict[int, tuple[str, int]], lives: dict[int, Life]
) -> pd.DataFrame:
    nothing = Life(math.nan, math.nan, math.nan, "", math.nan)
    kept = [lives.get(row.row, nothing) for row in rows]
    count = len(rows)
    lower = np.array([life.lower for life in kept])
    upper = np.array([life.upper for life in kept])
    columns: dict[str, Any] = {
        "unit": np.array([names[row.row][0] for row in rows], dtype=object),
        "build": np.array([names[row.row][1] for row in rows], dtype=np.int64),
        "began": np.full(count, np.datetime64("NaT", "ns")),
        "ended": np.full(count, np.datetime64("NaT", "ns")),
        "entry": np.array([life.entry for life in kept]),
        "lower": lower,
        "upper": upper,
        "mode": np.array([life.mode for life in kept], dtype=object),
        "ending": np.full(count, "unknown", dtype=object),
        "runs": np.zeros(count, dtype=np.int64),
        "age": np.where(np.isfinite(upper), upper, lower),
        "last_look": np.full(count, np.nan),
        "last_look_date": np.full(count, np.datetime64("NaT", "ns")),
        "open": np.zeros(count, dtype=bool),
        "left_out": np.array([row.row not in lives for row in rows], dtype=bool),
        "strip_material": np.full(count, None, dtype=object),
        "strip_lot": np.full(count, None, dtype=object),
        "strip_height_thou": np.full(count, np.nan),
        "weight": np.array([life.weight for life in kept]),
    }
    headers = list(dict.fromkeys(header for row in rows for header in row.others))
    for header in headers:
        values = _covariate([row.others.get(header) for row in rows])
        if header in columns and header not in _FROM_BUILD:
            columns[f"{header} (file)"] = values
        else:
            columns[header] = values
    return pd.DataFrame(columns)


def _covariate(cells: list[Cell]) -> np.ndarray:
    """Return numbers where every filled cell is one, else text; shape (n,)."""
    blank = [is_blank(cell) for cell in cells]
    numbers = [
        math.nan if none else number_in(cell) for cell, none in zip(cells, blank, strict=True)
    ]
    if all(number is not None for number in numbers):
        return np.array(numbers, dtype=np.float64)
    texts = [
        None if none else (cell.isoformat() if isinstance(cell, date) else cell_text(cell).strip())
        for cell, none in zip(cells, blank, strict=True)
    ]
    return np.array(texts, dtype=object)


def _no_runs() -> pd.DataFrame:
    empty = {name: pd.Series(dtype="float64") for name in _EMPTY_RUNS}
    empty["unit"] = pd.Series(dtype="object")
    empty["build"] = pd.Series(dtype="int64")
    empty["date"] = pd.Series(dtype="datetime64[ns]")
    return pd.DataFrame(empty)


def _notes(frame: pd.DataFrame) -> tuple[str, ...]:
    silent = ~frame["left_out"] & (frame["lower"] <= frame["entry"]) & np.isinf(frame["upper"])
    if not silent.any():
        return ()
    count = int(silent.sum())
    return (f"{count} of {len(frame)} lives tell nothing: neither failed nor seen after entry",)

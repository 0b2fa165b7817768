"""From raw sheets to rows taken and rows set aside; every row read ends in one of the two."""

from collections.abc import Iterator
from dataclasses import replace
from operator import itemgetter

import pandas as pd

from wearstats.records.columns import Kind, Sheet
from wearstats.records.faults import cells_by_label
from wearstats.records.findings import Finding
from wearstats.records.headers import labels, match_headers
from wearstats.records.kinds import (
    Settings,
    header_notes,
    missing_columns,
    not_records,
    sheet_kind,
)
from wearstats.records.raw import RawChunk, RawSheet
from wearstats.records.sorting import Sorter
from wearstats.records.spellings import UnitSpellings
from wearstats.records.taken import AsideRow, Taken

_PRIVATE = ("_row", "_cells", "_aside")


def take(raw: RawSheet, settings: Settings, spellings: UnitSpellings) -> Iterator[Taken]:
    """Take the records out of a sheet.

    Parameters
    ----------
    raw : RawSheet
    settings : Settings
    spellings : UnitSpellings
        The ids known so far; learns the new ones.

    Yields
    ------
    Taken
        At least one; rows in the order written.

    Raises
    ------
    RecordError
        It cannot be told which kind of record the sheet holds, or none of its headers is known.
    """
    sheet = sheet_kind(raw, settings)
    if sheet is None:
        yield Taken("", empty_frame(None), [], [*raw.notes, not_records(raw)])
        return
    headings = match_headers(raw.headers, sheet, settings.column_map)
    notes = [*raw.notes, *header_notes(raw, sheet, headings)]
    missing = missing_columns(raw, sheet, headings)
    stretches: Iterator[Taken]
    if missing:
        stretches = (_all_aside(raw, sheet, chunk, missing) for chunk in raw.chunks)
    else:
        joined = settings.column_map.units_joined if settings.column_map is not None else {}
        stretches = Sorter.of(raw, sheet, headings, settings, spellings.joining(joined)).sorted()
    first = True
    for taken in stretches:
        yield Taken(taken.kind, taken.frame, taken.aside, notes) if first else taken
        first = False
    if first:
        yield Taken(sheet.name, empty_frame(sheet), [], notes)


def empty_frame(sheet: Sheet | None) -> pd.DataFrame:
    """Return a frame of taken rows without a row."""
    if sheet is None:
        return pd.DataFrame(columns=list(_PRIVATE))
    dtypes = {field: field_dtype(sheet, field) for field in sheet.fields}
    dtypes |= {"_row": "int64", "_cells": "object", "_aside": "Int64"}
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


def field_dtype(sheet: Sheet, field: str) -> str:
    """Return the type a field has in a frame of canonical rows.

    Examples
    --------
    >>> from wearstats.records.schema import RUNS
    >>> [field_dtype(RUNS, name) for name in ("date", "unit", "run", "load")]
    ['datetime64[ns]', 'object', 'int64', 'float64']
    """
    column = next(column for column in sheet if field in column.fields)
    if column.kind is Kind.DATE:
        return "datetime64[ns]"
    if column.kind in {Kind.TEXT, Kind.CHOICE}:
        return "object"
    return "int64" if column.name == sheet.counted else "float64"


def _all_aside(
    raw: RawSheet, sheet: Sheet, chunk: RawChunk, findings: tuple[Finding, ...]
) -> Taken:
    names = labels(raw.headers)
    rows = sorted([*zip(chunk.rows, chunk.cells, strict=True), *chunk.ragged], key=itemgetter(0))
    aside = [
        AsideRow(
            row,
            cells_by_label(names, cells),
            tuple(replace(finding, row=row) for finding in findings),
        )
        for row, cells in rows
    ]
    return Taken(sheet.name, empty_frame(sheet), aside, [])

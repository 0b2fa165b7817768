"""Frames out of the book: canonical records, imports, history."""

import json
from collections.abc import Iterable, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from sqlalchemy import Connection, Select, select

from wearstats.book.about import meta
from wearstats.book.tables import (
    COSTS,
    COUNTS,
    HISTORY,
    IMPORT_SHEETS,
    IMPORTS,
    NO_NUMBER,
    NO_TEXT,
    RECORDS,
)
from wearstats.records.columns import NUMBERS
from wearstats.records.schema import SHEETS, Column, Kind
from wearstats.records.season import Season

if TYPE_CHECKING:
    from wearstats.records.costs import Costs

_ROWS_AT_ONCE = 20_000


def season(connection: Connection, *, with_costs: bool) -> Season:
    """Return every record, sorted by key."""
    frames = {kind: _records(connection, kind) for kind in SHEETS}
    # Every row went through the reader's checks when it was logged; they are not run again.
    return Season(
        frames["runs"],
        frames["restrips"],
        frames["units"],
        frames["readings"],
        costs(connection) if with_costs else None,
        simulated=meta(connection).get("simulated") == "true",
    )


def _records(connection: Connection, kind: str) -> pd.DataFrame:
    table = RECORDS[kind]
    query = select(*(table.c[name] for name in SHEETS[kind].fields))
    found = connection.execute(query, execution_options={"yield_per": _ROWS_AT_ONCE})
    # One frame a partition: plain Python values of a million rows would not fit beside it.
    parts = [frame_of(rows, kind) for rows in found.partitions()]
    if not parts:
        return frame_of([], kind)
    # Sorted here, since databases differ in how they order text.
    return pd.concat(parts, ignore_index=True).sort_values(
        list(SHEETS[kind].key_fields), ignore_index=True, kind="stable"
    )


def frame_of(found: Iterable[Sequence[object]], kind: str) -> pd.DataFrame:
    """Return rows of the book as a canonical frame, in the order given."""
    held = list(found)
    by_field = list(zip(*held, strict=True)) if held else [()] * len(SHEETS[kind].fields)
    named = zip(_fields_with_columns(kind), by_field, strict=True)
    # One index for all: columns need not be brought into line.
    rows = pd.RangeIndex(len(held))
    frame = pd.DataFrame(
        {name: _canonical(values, column, rows) for (name, column), values in named}, rows
    )
    counted = SHEETS[kind].counted
    return frame if counted is None else frame.astype({counted: "int64"})


@cache
def _fields_with_columns(kind: str) -> tuple[tuple[str, Column], ...]:
    return tuple((name, column) for column in SHEETS[kind] for name in column.fields)


def _canonical(values: Sequence[object], column: Column, rows: pd.RangeIndex) -> "pd.Series[Any]":
    if column.kind is Kind.DATE:
        stamps = np.array(values, dtype="datetime64[D]").astype("datetime64[ns]")
        return pd.Series(stamps, rows)
    if column.kind in NUMBERS:
        numbers = np.array(values, dtype=float)
        if column.key:
            numbers[numbers == NO_NUMBER] = np.nan
        return pd.Series(numbers, rows)
    shown = [None if value == NO_TEXT else value for value in values] if column.key else values
    return pd.Series(shown, rows, dtype=object)


def costs(connection: Connection) -> "Costs | None":
    """Return the costs last set."""
    from wearstats.records.costs import Costs

    held = connection.execute(select(COSTS.c.costs).order_by(COSTS.c.id.desc()).limit(1)).scalar()
    return None if held is None else Costs.model_validate_json(held)


def imports(connection: Connection) -> pd.DataFrame:
    """Return one row for each sheet of each import, oldest first."""
    query = (
        select(
            IMPORTS.c.id.label("import"),
            IMPORTS.c.when_utc,
            IMPORTS.c.file,
            IMPORTS.c.sha256,
            IMPORT_SHEETS.c.sheet,
            IMPORT_SHEETS.c.kind,
            *(IMPORT_SHEETS.c[name] for name in COUNTS),
            IMPORT_SHEETS.c.first_row,
            IMPORT_SHEETS.c.last_row,
            IMPORTS.c.amend,
            IMPORTS.c.settings,
        )
        .join(IMPORT_SHEETS, IMPORT_SHEETS.c.import_id == IMPORTS.c.id, isouter=True)
        .order_by(IMPORTS.c.id, IMPORT_SHEETS.c.id)
    )
    frame = _frame(connection, query)
    frame["when_utc"] = pd.to_datetime(frame["when_utc"], utc=True, format="ISO8601")
    frame["amend"] = frame["amend"].astype(bool)
    counts = [*COUNTS, "first_row", "last_row"]
    return frame.astype(dict.fromkeys(counts, "Int64"))


def history(connection: Connection) -> pd.DataFrame:
    """Return every value that was completed, amended or set anew, oldest first.

    Columns: kind, record (its key), field, old, new (as a person writes them), why, old_file,
    old_sheet, old_row (where the old value came from), file, sheet, row, when_utc.
    """
    places = {
        number: (file, sheet)
        for number, file, sheet in connection.execute(
            select(IMPORT_SHEETS.c.id, IMPORTS.c.file, IMPORT_SHEETS.c.sheet).join(
                IMPORTS, IMPORT_SHEETS.c.import_id == IMPORTS.c.id
            )
        )
    }
    nowhere = (None, None)
    rows = []
    for held in connection.execute(select(HISTORY).order_by(HISTORY.c.id)):
        old_file, old_sheet = places.get(held.old_import_sheet_id, nowhere)
        file, sheet = places.get(held.import_sheet_id, nowhere)
        record = " ".join("-" if part is None else str(part) for part in json.loads(held.record))
        rows.append(
            (
                held.kind,
                record,
                held.field,
                _said(held.kind, held.field, held.old),
                _said(held.kind, held.field, held.new),
                held.why,
                old_file,
                old_sheet,
                held.old_row,
                file,
                sheet,
                held.source_row,
                held.when_utc,
            )
        )
    frame = pd.DataFrame(rows, columns=list(_HISTORY_COLUMNS), dtype=object)
    frame["when_utc"] = pd.to_datetime(frame["when_utc"], utc=True, format="ISO8601")
    return frame.astype({"old_row": "Int64", "row": "Int64"})


_HISTORY_COLUMNS = (
    "kind",
    "record",
    "field",
    "old",
    "new",
    "why",
    "old_file",
    "old_sheet",
    "old_row",
    "file",
    "sheet",
    "row",
    "when_utc",
)


def _said(kind: str, field: str, held: str | None) -> str:
    values: Sequence[object] = json.loads(held) if held is not None else [None]
    if kind in SHEETS:
        from wearstats.book.values import shown

        return shown(values, SHEETS[kind].column(field))
    if all(value is None for value in values):
        return "blank"
    return ", ".join(str(value) for value in values) if kind != "aside" else str(held)


def _frame(connection: Connection, query: Select[tuple[object, ...]]) -> pd.DataFrame:
    found = connection.execute(query)
    return pd.DataFrame(found.all(), columns=list(found.keys()), dtype=object)

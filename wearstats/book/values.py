"""Canonical frames to rows of the book and back; text and JSON as the book keeps them."""

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from wearstats.book.tables import NO_NUMBER, NO_TEXT
from wearstats.errors import BookError
from wearstats.records.schema import SHEETS, Column, Kind

Value: TypeAlias = str | float | int | date | None
"""One field as the book keeps it."""

Row: TypeAlias = tuple[Value, ...]
"""All fields of a record, in the order of its sheet."""

_UNKEEPABLE = re.compile("[\x00\ud800-\udfff]")
_NUMERIC = (Kind.NUMBER, Kind.GO_NO_GO, Kind.COUNT)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where things stand in the rows of one kind.

    Parameters
    ----------
    kind : str
    columns : tuple of Column
    places : tuple of tuple of int
        For each column, the positions of its fields in a row.
    fields : tuple of str
    key : tuple of int
        Positions of the key fields.
    lookup : tuple of int
        Positions of date and unit, by which records are fetched in bulk.
    """

    kind: str
    columns: tuple[Column, ...]
    places: tuple[tuple[int, ...], ...]
    fields: tuple[str, ...]
    key: tuple[int, ...]
    lookup: tuple[int, ...]

    def key_of(self, row: Sequence[Value]) -> Row:
        """Return the parts that make a row itself."""
        return tuple([row[place] for place in self.key])


@cache
def layout(kind: str) -> Layout:
    """Return the layout of one kind of record; `kind` is a name in `SHEETS`."""
    sheet = SHEETS[kind]
    places = []
    start = 0
    for column in sheet:
        places.append(tuple(range(start, start + len(column.fields))))
        start += len(column.fields)
    fields = sheet.fields
    key = tuple(fields.index(name) for name in sheet.key_fields)
    lookup = tuple(fields.index(name) for name in ("date", "unit") if name in sheet.key_fields)
    return Layout(kind, sheet.columns, tuple(places), fields, key, lookup)


def clean_text(written: str) -> str:
    r"""Return text any database can keep; what none can is replaced where all can see it.

    Examples
    --------
    >>> clean_text("=1+1"), clean_text("K\x002"), clean_text("K\udc80")
    ('=1+1', 'K␀2', 'K�')
    """
    return _UNKEEPABLE.sub(lambda sign: "␀" if sign[0] == "\x00" else "�", written)


def unkeepable(frame: pd.DataFrame, kind: str) -> list[tuple[int, str]]:
    """Return place and column of each text that `clean_text` changes."""
    found = []
    for column in SHEETS[kind]:
        if column.kind not in (Kind.TEXT, Kind.CHOICE):
            continue
        texts = frame[column.fields[0]]
        odd = {text for text in set(texts) if isinstance(text, str) and _UNKEEPABLE.search(text)}
        if odd:
            found += [(place, column.name) for place, text in enumerate(texts) if text in odd]
    return found


def columns_of(frame: pd.DataFrame, kind: str) -> list[list[Value]]:
    """Return a canonical frame as columns of the book, key sentinels and all."""
    return [_stored(frame[name], column) for column in SHEETS[kind] for name in column.fields]


def rows_of(frame: pd.DataFrame, kind: str) -> list[Row]:
    """Return a canonical frame as rows of the book, key sentinels and all."""
    return list(zip(*columns_of(frame, kind), strict=True))


def _stored(series: "pd.Series[Any]", column: Column) -> list[Value]:
    gone = series.isna().to_numpy()
    if gone.all() and not column.key:
        return [None] * len(series)
    missing: list[bool] = gone.tolist()
    values: list[Value]
    if column.kind is Kind.DATE:
        # To days and to Python at once; a blank comes out as None.
        days = pd.to_datetime(series).to_numpy().astype("datetime64[D]")
        blank: Value = None
        values = days.tolist()
    elif column.kind in _NUMERIC:
        blank = NO_NUMBER if column.key else None
        numbers = series.to_numpy(dtype=float, na_value=np.nan)
        values = _whole(numbers, column) if column.kind is Kind.COUNT else numbers.tolist()
    else:
        blank = NO_TEXT if column.key else None
        written = series.tolist()
        # Few texts, many rows: each text is looked at once.
        kept = {text: clean_text(str(text)) for text in set(written)}
        as_is = all(text == clean for text, clean in kept.items())
        values = written if as_is else [kept[text] for text in written]
    if not gone.any():
        return values
    return [blank if lost else value for value, lost in zip(values, missing, strict=True)]


def _whole(numbers: npt.NDArray[np.float64], column: Column) -> list[Value]:
    broken = numbers[(numbers != np.trunc(numbers)) & ~np.isnan(numbers)]
    if len(broken):
        message = f"{column.name} must be a whole number, not {broken[0]}"
        raise BookError(message)
    whole: list[Value] = np.nan_to_num(numbers).astype(np.int64).tolist()
    return whole


def frame_of(rows: Iterable[Sequence[object]], kind: str) -> pd.DataFrame:
    """Return rows of the book as a canonical frame, in the order given."""
    held = list(rows)
    by_field = list(zip(*held, strict=True)) if held else [()] * len(SHEETS[kind].fields)
    named = zip(_fields_with_columns(kind), by_field, strict=True)
    frame = pd.DataFrame({name: _canonical(values, column) for (name, column), values in named})
    counted = SHEETS[kind].counted
    return frame if counted is None else frame.astype({counted: "int64"})


@cache
def _fields_with_columns(kind: str) -> tuple[tuple[str, Column], ...]:
    return tuple((name, column) for column in SHEETS[kind] for name in column.fields)


def _canonical(values: Sequence[object], column: Column) -> "pd.Series[Any]":
    if column.kind is Kind.DATE:
        stamps = np.array(values, dtype="datetime64[D]").astype("datetime64[ns]")
        return pd.Series(stamps)
    if column.kind in _NUMERIC:
        numbers = np.array(values, dtype=float)
        if column.key:
            numbers[numbers == NO_NUMBER] = np.nan
        return pd.Series(numbers)
    shown = [None if value == NO_TEXT else value for value in values] if column.key else values
    return pd.Series(shown, dtype=object)


def record_name(kind: str, row: Sequence[Value]) -> str:
    """Return the key of a row as JSON text: how history and findings name a record."""
    key = [None if value in (NO_NUMBER, NO_TEXT) else value for value in layout(kind).key_of(row)]
    return as_json(key)


def as_json(value: object) -> str:
    """Return JSON text, the same for equal values; dates as ISO text."""
    text = json.dumps(value, ensure_ascii=False, default=_plain, separators=(",", ":"))
    return clean_text(text)


def _plain(value: object) -> object:
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, (set, frozenset)):
        return sorted(value, key=str)
    return str(value)


def shown(values: Sequence[object], column: Column) -> str:
    """Return a column's value as a person writes it, with the kept unit."""
    if all(value is None for value in values):
        return "blank"
    if column.kind is Kind.GO_NO_GO:
        low, high = (_number(value) for value in values)
        text = low if low == high else f"{low}/{high}"
        text = f"<{high}" if not low else f">{low}" if not high else text
    else:
        (value,) = values
        text = _number(value)
    unit = f" {column.quantity.kept}" if column.quantity is not None else ""
    return f"{text}{unit}"


def _number(value: object) -> str:
    if isinstance(value, float) and math.isfinite(value):
        return f"{value:.10g}"
    return "" if value is None else str(value)

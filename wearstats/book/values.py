"""What a reader took to columns of the book; text and JSON as the book keeps them."""

import json
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache, partial
from typing import TypeAlias

import numpy as np

from wearstats.book.tables import NO_NUMBER, NO_TEXT
from wearstats.errors import BookError
from wearstats.records.coded import Coded
from wearstats.records.columns import NUMBERS
from wearstats.records.schema import SHEETS, Column, Kind
from wearstats.records.values import Kept

Value: TypeAlias = str | float | int | date | None
"""One field as the book keeps it."""

Row: TypeAlias = tuple[Value, ...]
"""All fields of a record, in the order of its sheet."""

_UNKEEPABLE = re.compile("[\x00\ud800-\udfff]")
_WRITTEN = (Kind.TEXT, Kind.CHOICE)


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


@dataclass(slots=True)
class _Known:
    """The values of one field, as the book keeps them."""

    source: Sequence[Kept] = ()
    values: list[Value] = field(default_factory=list)
    odd: set[int] = field(default_factory=set)


class Keeping:
    """Makes columns of a reader into columns of the book; each distinct value is made once.

    Parameters
    ----------
    kind : str
        A name in `SHEETS`.
    """

    def __init__(self, kind: str) -> None:
        self._fields = [
            (name, column, _keeper(column), _Known())
            for column in SHEETS[kind]
            for name in column.fields
        ]

    def columns_of(self, taken: Mapping[str, Coded]) -> list[Coded]:
        """Return the values of all rows, field by field, sentinels of the key and all.

        Raises
        ------
        BookError
            A count is no whole number.
        """
        columns: list[Coded] = []
        for name, column, keep, known in self._fields:
            coded = taken[name]
            self._learn(coded.values, column, keep, known)
            columns.append(Coded(known.values, coded.codes))
        return columns

    @staticmethod
    def _learn(values: Sequence[Kept], column: Column, keep: "_Keeper", known: _Known) -> None:
        """Keep the values that are new: a reader's list of them only ever grows."""
        if values is not known.source:
            known.source, known.values, known.odd = values, [], set()
        elif len(known.values) == len(values):
            return
        start = len(known.values)
        known.values.extend(map(keep, values[start:]))
        if column.kind in _WRITTEN:
            known.odd.update(
                place
                for place, value in enumerate(values[start:], start)
                if value is not None and _UNKEEPABLE.search(str(value))
            )

    def unkeepable(self, taken: Mapping[str, Coded]) -> list[tuple[int, str]]:
        """Return place and column of each text that `clean_text` changes.

        Of columns that `columns_of` was given before.
        """
        found = []
        for name, column, _, known in self._fields:
            if known.odd:
                odd = np.isin(taken[name].codes, list(known.odd))
                found += [(place, column.name) for place in np.flatnonzero(odd).tolist()]
        return found


_Keeper: TypeAlias = Callable[[Kept], Value]


def _keeper(column: Column) -> _Keeper:
    """Return the function that makes a reader's value into the book's."""
    if column.kind is Kind.DATE:
        return _as_read
    if column.kind in NUMBERS:
        blank = NO_NUMBER if column.key else None
        return partial(_number_kept, column, blank)
    return partial(_text_kept, NO_TEXT if column.key else None)


def _as_read(value: Kept) -> Value:
    return value


def _text_kept(blank: Value, value: Kept) -> Value:
    return blank if value is None else clean_text(str(value))


def _number_kept(column: Column, blank: Value, value: Kept) -> Value:
    if not isinstance(value, (int, float)) or math.isnan(value):
        return blank
    if column.kind is not Kind.COUNT:
        return value + 0.0  # -0.0 and 0.0 are one reading
    if value != math.trunc(value):
        message = f"{column.name} must be a whole number, not {value}"
        raise BookError(message)
    return int(value)


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

"""Records that stand in the book already, to be compared with new rows, and what changes them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Table,
    and_,
    bindparam,
    select,
    update,
)

from wearstats.book.tables import RECORDS
from wearstats.book.trail import Change, Source, Trails
from wearstats.book.values import Layout, Row, Value, layout, record_name
from wearstats.records.coded import Coded, repeated

_ASKED_AT_ONCE = 500
"""Values in one question; well under the number of parameters any database takes."""


@dataclass(slots=True)
class Held:
    """A record of the book while a chunk is compared with it."""

    row: Row
    sheet_id: int
    source_row: int
    changes: int
    id: int | None = None
    trail: tuple[Change, ...] = ()
    touched: bool = False

    def source_of(self, column: str) -> Source:
        """Return the row a value of the record came from."""
        return next(
            (change.source for change in reversed(self.trail) if change.field == column),
            Source(self.sheet_id, self.source_row),
        )


class Standing:
    """The records of one kind.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    kind : str
        A name in `records.schema.SHEETS`.
    trails : Trails
        Of the same kind.
    """

    def __init__(self, connection: Connection, kind: str, trails: Trails) -> None:
        self.connection, self.kind, self.trails = connection, kind, trails
        self._table: Table = RECORDS[kind]
        self._layout: Layout = layout(kind)
        # What this sheet adds need not be looked for: the reader lets none of its keys pass twice.
        self.none_before = connection.execute(select(self._table.c.id).limit(1)).first() is None

    def near(self, columns: Sequence[Coded]) -> dict[Row, Held]:
        """Fetch the records of the days and units in a chunk, with their changes."""
        if self.none_before:
            return {}
        names, key_of = self._layout.fields, self._layout.key_of
        width = len(names)
        held: dict[Row, Held] = {}
        query = select(
            *(self._table.c[name] for name in names),
            self._table.c.import_sheet_id,
            self._table.c.source_row,
            self._table.c.changes,
            self._table.c.id,
        )
        for condition in self._conditions(columns):
            # All at once: row by row, the library takes longer than the database.
            for found in self.connection.execute(query.where(condition)).all():
                row = tuple(found[:width])
                held[key_of(row)] = Held(row, *found[width:])
        changed = {
            record_name(self.kind, record.row): record for record in held.values() if record.changes
        }
        for name, trail in self.trails.fetch(list(changed)).items():
            changed[name].trail = tuple(trail)
        return held

    def _conditions(self, columns: Sequence[Coded]) -> Iterator[ColumnElement[bool]]:
        """Yield conditions under which all records with the keys of the rows are found.

        One unit and many days, or one day and many units, whichever asks less often: both are
        answered from the index of the key, which a list of pairs is not by every database.
        """
        *first, last = self._layout.lookup
        if not first:
            yield from _within(self._table.c[self._layout.fields[last]], columns[last].listed())
            return
        pairs = set(zip(columns[first[0]].listed(), columns[last].listed(), strict=True))
        one, many = first[0], last
        if len({day for day, _ in pairs}) > len({unit for _, unit in pairs}):
            pairs = {(unit, day) for day, unit in pairs}
            one, many = last, first[0]
        groups: dict[Value, list[Value]] = defaultdict(list)
        for lone, other in pairs:
            groups[lone].append(other)
        names = [self._table.c[self._layout.fields[place]] for place in (one, many)]
        for lone, others in groups.items():
            for condition in _within(names[1], others):
                yield and_(names[0] == lone, condition)


def _within(column: Column[Any], values: Sequence[Value]) -> Iterator[ColumnElement[bool]]:
    distinct = list(dict.fromkeys(values))
    for start in range(0, len(distinct), _ASKED_AT_ONCE):
        yield column.in_(distinct[start : start + _ASKED_AT_ONCE])


def fresh_records(
    columns: Sequence[Coded],
    numbers: npt.NDArray[np.int64],
    fresh: Sequence[int],
    judged: Mapping[int, Held],
) -> list[Coded]:
    """Return the columns of the rows that are records of their own.

    Parameters
    ----------
    columns : sequence of Coded
        Of every row of a chunk.
    numbers : ndarray of int, shape (rows,)
    fresh : sequence of int
        The places of the rows meant, in the order written.
    judged : mapping of int to Held
        By place, the records that later rows of the chunk may have completed.

    Returns
    -------
    list of Coded
        The columns, the row numbers, and how many values of each were changed since.
    """
    if len(fresh) < len(numbers):
        chosen = np.array(fresh, dtype=np.intp)
        columns, numbers = [coded.of(chosen) for coded in columns], numbers[chosen]
    changes = repeated(0, len(fresh))
    touched = {place: held for place, held in judged.items() if held.touched}
    if touched:
        rows = [
            touched[place].row if place in touched else tuple([coded[at] for coded in columns])
            for at, place in enumerate(fresh)
        ]
        columns = [Coded.one_each(values) for values in zip(*rows, strict=True)]
        changes = Coded.one_each(
            [touched[place].changes if place in touched else 0 for place in fresh]
        )
    return [*columns, Coded.one_each(numbers.tolist()), changes]


def update_records(connection: Connection, layout: Layout, records: Iterable[Held]) -> None:
    """Write what was completed or amended of records that stood in the book before."""
    names = layout.fields
    touched = [
        {
            **{f"new_{name}": value for name, value in zip(names, held.row, strict=True)},
            "new_changes": held.changes,
            "record_id": held.id,
        }
        for held in records
        if held.touched and held.id is not None
    ]
    if not touched:
        return
    table = RECORDS[layout.kind]
    statement = (
        update(table)
        .where(table.c.id == bindparam("record_id"))
        .values({name: bindparam(f"new_{name}") for name in (*names, "changes")})
    )
    connection.execute(statement, touched)

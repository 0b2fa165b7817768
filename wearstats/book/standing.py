"""Records that stand in the book already, fetched in bulk to be compared with new rows."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Table, and_, select

from wearstats.book.tables import RECORDS
from wearstats.book.trail import Change, Source, Trails
from wearstats.book.values import Layout, Row, Value, layout, record_name

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

    def near(self, rows: Sequence[Row]) -> dict[Row, Held]:
        """Fetch the records of the days and units in a chunk, with their changes."""
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
        for condition in self._conditions(rows):
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

    def _conditions(self, rows: Sequence[Row]) -> Iterator[ColumnElement[bool]]:
        """Yield conditions under which all records with the keys of the rows are found.

        One unit and many days, or one day and many units, whichever asks less often: both are
        answered from the index of the key, which a list of pairs is not by every database.
        """
        *first, last = self._layout.lookup
        if not first:
            yield from _within(
                self._table.c[self._layout.fields[last]], [row[last] for row in rows]
            )
            return
        pairs = {(row[first[0]], row[last]) for row in rows}
        one, many = first[0], last
        if len({day for day, _ in pairs}) > len({unit for _, unit in pairs}):
            pairs = {(unit, day) for day, unit in pairs}
            one, many = last, first[0]
        groups: dict[Value, list[Value]] = defaultdict(list)
        for lone, other in pairs:
            groups[lone].append(other)
        columns = [self._table.c[self._layout.fields[place]] for place in (one, many)]
        for lone, others in groups.items():
            for condition in _within(columns[1], others):
                yield and_(columns[0] == lone, condition)


def _within(column: Column[Any], values: Sequence[Value]) -> Iterator[ColumnElement[bool]]:
    distinct = list(dict.fromkeys(values))
    for start in range(0, len(distinct), _ASKED_AT_ONCE):
        yield column.in_(distinct[start : start + _ASKED_AT_ONCE])

"""What became of a record's values: where each came from and what stood there before."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, func, insert, select

from wearstats.book.tables import HISTORY, IMPORT_SHEETS, IMPORTS
from wearstats.book.values import as_json

COMPLETED, AMENDED = "completed", "amended"


@dataclass(frozen=True, slots=True)
class Source:
    """The row a value came from."""

    sheet_id: int
    row: int


@dataclass(frozen=True, slots=True)
class Change:
    """One value of a record, completed or amended.

    Parameters
    ----------
    field : str
        Name of the column.
    old, new : str
        JSON of the column's fields, as a list.
    why : str
        "completed" or "amended".
    old_source, source : Source
        Where the old value (or the record, if it was blank) and the new one came from.
    """

    field: str
    old: str
    new: str
    why: str
    old_source: Source
    source: Source


@dataclass(slots=True)
class Trails:
    """Changes of the records of one kind, fetched in bulk, written in bulk."""

    connection: Connection
    kind: str
    when_utc: str
    _places: dict[int, tuple[str, str]] = field(default_factory=dict)

    def fetch(self, records: Sequence[str]) -> dict[str, list[Change]]:
        """Return the changes of each record named, oldest first."""
        changes: dict[str, list[Change]] = defaultdict(list)
        for start in range(0, len(records), 500):
            query = (
                select(HISTORY)
                .where(HISTORY.c.kind == self.kind)
                .where(HISTORY.c.record.in_(records[start : start + 500]))
                .order_by(HISTORY.c.id)
            )
            for row in self.connection.execute(query):
                changes[row.record].append(
                    Change(
                        row.field,
                        row.old,
                        row.new,
                        row.why,
                        Source(row.old_import_sheet_id, row.old_row),
                        Source(row.import_sheet_id, row.source_row),
                    )
                )
        return changes

    def write(self, changes: Sequence[tuple[str, Change]]) -> None:
        """Keep changes of records named."""
        if not changes:
            return
        rows = [
            {
                "kind": self.kind,
                "record": record,
                "field": change.field,
                "old": change.old,
                "new": change.new,
                "why": change.why,
                "old_import_sheet_id": change.old_source.sheet_id,
                "old_row": change.old_source.row,
                "import_sheet_id": change.source.sheet_id,
                "source_row": change.source.row,
                "when_utc": self.when_utc,
            }
            for record, change in changes
        ]
        self.connection.execute(insert(HISTORY), rows)

    def place(self, sheet_id: int) -> tuple[str, str]:
        """Return file and sheet of a sheet once logged."""
        if sheet_id not in self._places:
            query = (
                select(IMPORTS.c.file, IMPORT_SHEETS.c.sheet)
                .join(IMPORT_SHEETS, IMPORT_SHEETS.c.import_id == IMPORTS.c.id)
                .where(IMPORT_SHEETS.c.id == sheet_id)
            )
            file, sheet = self.connection.execute(query).one()
            self._places[sheet_id] = (file, sheet)
        return self._places[sheet_id]

    def first_sheet_of(self, sha256: str, before: int) -> int | None:
        """Return the first sheet of a file logged before the import of that number."""
        query = (
            select(func.min(IMPORT_SHEETS.c.id))
            .join(IMPORTS, IMPORT_SHEETS.c.import_id == IMPORTS.c.id)
            .where(IMPORTS.c.sha256 == sha256, IMPORTS.c.id < before)
        )
        return self.connection.execute(query).scalar()


def values_json(values: Sequence[object]) -> str:
    """Return a column's fields as the history keeps them."""
    return as_json(list(values))

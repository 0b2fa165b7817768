"""Rows set aside, as the book holds them: listed, and discarded for a stated reason."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, bindparam, select, update

from wearstats.book.results import AsideItem
from wearstats.book.tables import ASIDE, IMPORT_SHEETS, IMPORTS
from wearstats.book.values import Row, as_json, clean_text
from wearstats.errors import UsageError
from wearstats.records.findings import Finding, Severity

OPEN, MENDED, DISCARDED = "open", "mended", "discarded"

SOURCE = ASIDE.join(IMPORT_SHEETS, ASIDE.c.import_sheet_id == IMPORT_SHEETS.c.id).join(
    IMPORTS, IMPORT_SHEETS.c.import_id == IMPORTS.c.id
)


@dataclass(frozen=True, slots=True)
class Import:
    """The import under way.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In its one transaction.
    number : int
    file, sha256, when_utc : str
    amend : bool
        A value that contradicts the record stands in its place.
    claimed : set of (str, tuple)
        Kind and key of the records this file has spoken of, kept where it may amend: two of its
        own rows that disagree are a question all the same.
    """

    connection: Connection
    number: int
    file: str
    sha256: str
    when_utc: str
    amend: bool
    claimed: set[tuple[str, Row]] = field(default_factory=set)


def cells_text(cells: Mapping[str, str]) -> str:
    """Return cells as the book keeps them."""
    return as_json([[clean_text(header), clean_text(text)] for header, text in cells.items()])


def items(connection: Connection, state: str | None = OPEN) -> list[AsideItem]:
    """Return what was set aside, by number; `state` None: all of it."""
    query = (
        select(
            ASIDE.c.id,
            IMPORTS.c.file,
            IMPORT_SHEETS.c.sheet,
            IMPORT_SHEETS.c.kind,
            ASIDE.c.source_row,
            ASIDE.c.cells,
            ASIDE.c.findings,
            ASIDE.c.state,
            ASIDE.c.why,
        )
        .select_from(SOURCE)
        .order_by(ASIDE.c.id)
    )
    if state is not None:
        query = query.where(ASIDE.c.state == state)
    return [
        AsideItem(
            number=row.id,
            file=row.file,
            sheet=row.sheet,
            kind=row.kind,
            row=row.source_row,
            cells=dict(json.loads(row.cells)),
            findings=tuple(_finding(held) for held in json.loads(row.findings)),
            state=row.state,
            why=row.why or "",
        )
        for row in connection.execute(query)
    ]


def _finding(held: dict[str, object]) -> Finding:
    severity = Severity(str(held.pop("severity")))
    return Finding(severity=severity, **held)  # type: ignore[arg-type]  # as Finding.as_dict wrote it


def discard(connection: Connection, numbers: Sequence[int], why: str, when_utc: str) -> None:
    """Give up rows for a stated reason; they stay in the book.

    Raises
    ------
    UsageError
        No reason, or a number that names no open item; nothing is discarded then.
    """
    if not why.strip():
        message = "a row is only discarded for a stated reason"
        raise UsageError(message, hint="State it with --why.")
    wanted = sorted(set(numbers))
    still_open = {item.number for item in items(connection)}
    unknown = [str(number) for number in wanted if number not in still_open]
    if unknown:
        message = f"not set aside, or settled already: {', '.join(unknown)}; nothing was discarded"
        raise UsageError(message, hint="List what was set aside for the numbers.")
    statement = (
        update(ASIDE)
        .where(ASIDE.c.id == bindparam("item"))
        .values(state=DISCARDED, why=clean_text(why.strip()), resolved_utc=when_utc)
    )
    if wanted:
        connection.execute(statement, [{"item": number} for number in wanted])

"""Rows set aside: kept once, mended, discarded, and written out to be mended."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import ColumnElement, Connection, and_, bindparam, insert, or_, select, update

from wearstats.book.results import AsideItem
from wearstats.book.tables import ASIDE, HISTORY, IMPORT_SHEETS, IMPORTS
from wearstats.book.values import Row, as_json, clean_text
from wearstats.errors import UsageError
from wearstats.records.findings import Finding, Severity

OPEN, MENDED, DISCARDED = "open", "mended", "discarded"

_SOURCE = ASIDE.join(IMPORT_SHEETS, ASIDE.c.import_sheet_id == IMPORT_SHEETS.c.id).join(
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


@dataclass(frozen=True, slots=True)
class Faulty:
    """A row that cannot be logged."""

    row: int
    cells: Mapping[str, str]
    findings: tuple[Finding, ...]
    aside_id: int | None = None


@dataclass(frozen=True, slots=True)
class AsWritten:
    """What a sheet looks like beyond its rows.

    Parameters
    ----------
    book : frozenset of str
        Headers of the columns the book adds to a sheet of set-aside rows.
    counted : str or None
        Header of the place among like rows (run of the day), which may be filled in.
    alone : bool
        Whether it is the only sheet of its file: then its name says no more than the file's.
    """

    book: frozenset[str] = frozenset()
    counted: str | None = None
    alone: bool = False

    def typed(self, cells: Mapping[str, str], place: object = None) -> dict[str, str]:
        """Return the cells as typed, with the place filled in where it was left blank.

        A mended row is logged among few others: without its place it would be counted from 1
        again and be taken for another row.
        """
        kept = {header: text for header, text in cells.items() if header not in self.book}
        if self.counted is None or place is None or kept.get(self.counted, "").strip():
            return kept
        return {**kept, self.counted: str(place)}


@dataclass(slots=True)
class _Item:
    id: int
    row: int
    fingerprint: str
    cells: str
    findings: str
    state: str


@dataclass(slots=True)
class Shelf:
    """What was set aside of one sheet, while the sheet is logged.

    A faulty row is known, and not kept twice, where the same sheet of the same file (by content
    or by name, since a season's sheet grows and is logged again every week) held a row with the
    same cells before: the first such row of the sheet is the first one kept, and so on.
    """

    importing: Import
    sheet: str
    sheet_id: int
    kind: str
    written: AsWritten
    mended: int = 0
    _items: dict[int, _Item] = field(default_factory=dict)
    _by_cells: dict[str, list[_Item]] = field(default_factory=lambda: defaultdict(list))
    _open_by_row: dict[int, list[_Item]] = field(default_factory=lambda: defaultdict(list))
    _times_seen: Counter[str] = field(default_factory=Counter)
    # Items a faulty row of this import stands for: a second row with the number is another row.
    _claimed: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        """Fetch what is known of this sheet."""
        same_name = and_(IMPORTS.c.file == self.importing.file, IMPORT_SHEETS.c.sheet == self.sheet)
        same_content = IMPORTS.c.sha256 == self.importing.sha256
        if not self.written.alone:
            same_content = and_(same_content, IMPORT_SHEETS.c.sheet == self.sheet)
        same_kind = IMPORT_SHEETS.c.kind == self.kind
        for item in self._fetch(same_kind, or_(same_name, same_content)):
            self._by_cells[item.fingerprint].append(item)
            if item.state == OPEN:
                self._open_by_row[item.row].append(item)

    def _fetch(self, *where: ColumnElement[bool]) -> list[_Item]:
        columns = ("id", "source_row", "fingerprint", "cells", "findings", "state")
        query = select(*(ASIDE.c[name] for name in columns)).select_from(_SOURCE)
        query = query.where(*where).order_by(ASIDE.c.id)
        found = [_Item(*row) for row in self.importing.connection.execute(query)]
        self._items.update({item.id: item for item in found})
        return found

    def know(self, numbers: Sequence[int]) -> frozenset[int]:
        """Fetch items by number; return the numbers that name no item of this kind."""
        missing = [number for number in set(numbers) if number not in self._items]
        for start in range(0, len(missing), 500):
            some = missing[start : start + 500]
            self._fetch(ASIDE.c.id.in_(some), IMPORT_SHEETS.c.kind == self.kind)
        return frozenset(number for number in numbers if number not in self._items)

    def put(self, rows: Sequence[Faulty]) -> None:
        """Keep faulty rows that are not known yet."""
        fresh: list[dict[str, object]] = []
        for faulty in rows:
            cells = cells_text(faulty.cells)
            findings = as_json([finding.as_dict() for finding in faulty.findings])
            item = self._items.get(faulty.aside_id) if faulty.aside_id is not None else None
            if item is not None and item.state == OPEN and item.id not in self._claimed:
                self._claimed.add(item.id)
                self._try_again(item, cells, findings)
                continue
            fingerprint = self._fingerprint(faulty.cells)
            before = self._times_seen[fingerprint]
            self._times_seen[fingerprint] += 1
            known = self._by_cells.get(fingerprint, [])
            if before < len(known):
                self._say_anew(known[before], faulty.cells, findings)
                continue
            fresh.append(
                {
                    "import_sheet_id": self.sheet_id,
                    "source_row": faulty.row,
                    "fingerprint": fingerprint,
                    "cells": cells,
                    "findings": findings,
                    "state": OPEN,
                }
            )
        if fresh:
            self.importing.connection.execute(insert(ASIDE), fresh)

    def _try_again(self, item: _Item, cells: str, findings: str) -> None:
        """Keep the latest attempt at mending in place of the one before it."""
        if cells != item.cells:
            self.importing.connection.execute(
                insert(HISTORY),
                {
                    "kind": "aside",
                    "record": as_json([item.id]),
                    "field": "cells",
                    "old": item.cells,
                    "new": cells,
                    "why": "mended in part",
                    "import_sheet_id": self.sheet_id,
                    "when_utc": self.importing.when_utc,
                },
            )
        self._rewrite(item, cells, findings)

    def _say_anew(self, item: _Item, cells: Mapping[str, str], findings: str) -> None:
        """Say why a known row is faulty now: other settings may have left another reason."""
        half_mended = self._fingerprint(dict(json.loads(item.cells))) != item.fingerprint
        if item.state == OPEN and not half_mended:
            self._rewrite(item, cells_text(cells), findings)

    def _rewrite(self, item: _Item, cells: str, findings: str) -> None:
        if cells == item.cells and _gist(findings) == _gist(item.findings):
            return
        item.cells, item.findings = cells, findings
        self.importing.connection.execute(
            update(ASIDE).where(ASIDE.c.id == item.id).values(cells=cells, findings=findings)
        )

    def resolve(self, rows: Sequence[tuple[int, Mapping[str, str], int | None]]) -> None:
        """Mark as mended what reads well now.

        Parameters
        ----------
        rows : sequence of (row, cells, aside number or None)
            Rows that were logged or were there already.
        """
        done: list[int] = []
        for row, cells, number in rows:
            item = self._items.get(number) if number is not None else self._same(row, cells)
            if item is not None and item.state == OPEN and item.id not in self._claimed:
                item.state = MENDED
                done.append(item.id)
        if not done:
            return
        self.mended += len(done)
        statement = (
            update(ASIDE)
            .where(ASIDE.c.id == bindparam("item"))
            .values(
                state=MENDED,
                resolved_by_import_id=self.importing.number,
                resolved_utc=self.importing.when_utc,
            )
        )
        self.importing.connection.execute(statement, [{"item": number} for number in done])

    def waits_for(self, row: int) -> bool:
        """Whether something of that row is open."""
        return row in self._open_by_row

    def _same(self, row: int, cells: Mapping[str, str]) -> _Item | None:
        waiting = self._open_by_row.get(row)
        if not waiting:
            return None
        fingerprint = self._fingerprint(cells)
        return next((item for item in waiting if item.fingerprint == fingerprint), None)

    def _fingerprint(self, cells: Mapping[str, str]) -> str:
        """Tell rows apart by what was typed; the place is left out, as it may be filled in."""
        own = {header: text for header, text in cells.items() if header != self.written.counted}
        return hashlib.sha256(cells_text(own).encode()).hexdigest()


def cells_text(cells: Mapping[str, str]) -> str:
    """Return cells as the book keeps them."""
    return as_json([[clean_text(header), clean_text(text)] for header, text in cells.items()])


def _gist(findings: str) -> list[tuple[object, ...]]:
    """Return what findings say, wherever the row stands now."""
    parts = ("code", "message", "column", "value", "expected")
    return [tuple(found[part] for part in parts) for found in json.loads(findings)]


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
        .select_from(_SOURCE)
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
        raise UsageError(message)
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

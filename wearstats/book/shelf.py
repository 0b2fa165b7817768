"""Rows set aside while a sheet is logged: known again, kept once, settled where they read well."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import ColumnElement, and_, bindparam, insert, or_, select, update

from wearstats.book.asides import MENDED, OPEN, SOURCE, Import, cells_text
from wearstats.book.tables import ASIDE, HISTORY, IMPORT_SHEETS, IMPORTS
from wearstats.book.values import as_json
from wearstats.records.findings import Finding


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
    why: str | None


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
    _times_seen: Counter[str] = field(default_factory=Counter)
    # Items a faulty row of this import stands for: a second row with the number is another row.
    _claimed: set[int] = field(default_factory=set)
    # What open items look like, so that few rows of a long sheet are looked at closely.
    _open_texts: set[tuple[str, ...]] = field(default_factory=set)
    _some_half_mended: bool = False
    _well: list[tuple[str, int | None]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Fetch what is known of this sheet."""
        same_name = and_(IMPORTS.c.file == self.importing.file, IMPORT_SHEETS.c.sheet == self.sheet)
        same_content = IMPORTS.c.sha256 == self.importing.sha256
        if not self.written.alone:
            same_content = and_(same_content, IMPORT_SHEETS.c.sheet == self.sheet)
        same_kind = IMPORT_SHEETS.c.kind == self.kind
        for item in self._fetch(same_kind, or_(same_name, same_content)):
            self._by_cells[item.fingerprint].append(item)
            if item.state == OPEN and not _repeats(item):
                cells = dict(json.loads(item.cells))
                self._open_texts.add(self._texts(cells))
                self._some_half_mended |= self._fingerprint(cells) != item.fingerprint

    def _fetch(self, *where: ColumnElement[bool]) -> list[_Item]:
        columns = ("id", "source_row", "fingerprint", "cells", "findings", "state", "why")
        query = select(*(ASIDE.c[name] for name in columns)).select_from(SOURCE)
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

    def is_open(self, number: int) -> bool:
        """Whether the item of that number waits to be mended."""
        item = self._items.get(number)
        return item is not None and item.state == OPEN

    def put(self, rows: Sequence[Faulty]) -> dict[int, tuple[str, str]]:
        """Keep faulty rows that are not known yet.

        Returns
        -------
        dict of int to (str, str)
            The rows that have been settled since they were first set aside: code and message
            of a note that says so.
        """
        fresh: list[dict[str, object]] = []
        settled: dict[int, tuple[str, str]] = {}
        for faulty in rows:
            cells = cells_text(faulty.cells)
            findings = as_json([finding.as_dict() for finding in faulty.findings])
            item = self._items.get(faulty.aside_id) if faulty.aside_id is not None else None
            if item is not None and item.state == OPEN and item.id not in self._claimed:
                self._claimed.add(item.id)
                self._try_again(item, faulty.cells, findings)
                continue
            known = self._known(item, self._fingerprint(faulty.cells))
            if known is not None:
                self._claimed.add(known.id)
                self._say_anew(known, faulty.cells, findings)
                if known.state != OPEN:
                    settled[faulty.row] = _settled(known)
                continue
            fingerprint = self._fingerprint(faulty.cells)
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
        return settled

    def _known(self, numbered: _Item | None, fingerprint: str) -> _Item | None:
        """Return the item a faulty row stands for, if it looks as it did then."""
        if (
            numbered is not None
            and numbered.fingerprint == fingerprint
            and numbered.id not in self._claimed
        ):
            return numbered
        before = self._times_seen[fingerprint]
        self._times_seen[fingerprint] += 1
        known = self._by_cells.get(fingerprint, [])
        return known[before] if before < len(known) else None

    def _try_again(self, item: _Item, said: Mapping[str, str], findings: str) -> None:
        """Keep the latest attempt at mending in place of the one before it."""
        # A sheet to be mended has the headers of all its rows: a blank says nothing.
        cells, held = cells_text(said), dict(json.loads(item.cells))
        if _filled(said) == _filled(held):
            cells = item.cells
        elif self._fingerprint(said) != self._fingerprint(held) or self._numbered(held):
            # A place in the day filled in where there was none overwrites nothing.
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

    def _numbered(self, cells: Mapping[str, str]) -> bool:
        return bool(cells.get(self.written.counted or "", "").strip())

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

    def read_well(self, cells: Mapping[str, str], number: int | None) -> None:
        """Remember a row that was logged or was there already, if something waits for it."""
        if number is not None:
            self._well.append(("", number))
        elif self._some_half_mended or self._texts(cells) in self._open_texts:
            self._well.append((self._fingerprint(cells), None))

    def resolve(self) -> None:
        """Mark as mended what reads well now, wherever in the sheet it stands; at its end."""
        done: list[int] = []
        for fingerprint, number in self._well:
            item = self._items.get(number) if number is not None else self._same(fingerprint)
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

    @property
    def waits(self) -> bool:
        """Whether a row without a number may settle anything."""
        return bool(self._open_texts)

    def _same(self, fingerprint: str) -> _Item | None:
        return next(
            (
                item
                for item in self._by_cells.get(fingerprint, [])
                if item.state == OPEN and item.id not in self._claimed and not _repeats(item)
            ),
            None,
        )

    def _texts(self, cells: Mapping[str, str]) -> tuple[str, ...]:
        apart = {*self.written.book, self.written.counted}
        return tuple([t for header, t in cells.items() if t.strip() and header not in apart])

    def _fingerprint(self, cells: Mapping[str, str]) -> str:
        """Tell rows apart by what was typed; the place is left out, as it may be filled in."""
        own = {name: text for name, text in _filled(cells).items() if name != self.written.counted}
        return hashlib.sha256(cells_text(own).encode()).hexdigest()


def _repeats(item: _Item) -> bool:
    """Whether an item looks like the row it repeats, so that only its number tells it apart."""
    return any(found["code"] == "duplicate-row" for found in json.loads(item.findings))


def _filled(cells: Mapping[str, str]) -> dict[str, str]:
    return {header: text for header, text in cells.items() if text.strip()}


def _settled(item: _Item) -> tuple[str, str]:
    if item.state == MENDED:
        how = "it has been mended since"
    else:
        how = f"it was left aside for good ({item.why})"
    return (
        f"aside-{item.state}",
        f"this row was set aside before as number {item.id}, and {how}: nothing to do",
    )


def _gist(findings: str) -> list[tuple[object, ...]]:
    """Return what findings say, wherever the row stands now."""
    parts = ("code", "message", "column", "value", "expected")
    return [tuple(found[part] for part in parts) for found in json.loads(findings)]

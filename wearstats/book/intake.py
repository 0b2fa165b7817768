"""Rows of one sheet into the book, a chunk at a time, inside the import's transaction."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from sqlalchemy import insert, update

from wearstats.book.asides import Import
from wearstats.book.matching import Comparison, Verdict, compare
from wearstats.book.results import SheetResult
from wearstats.book.shelf import AsWritten, Faulty, Shelf
from wearstats.book.standing import Held, Standing, fresh_records, update_records
from wearstats.book.store import insert_columns, legible
from wearstats.book.tables import COUNTS, IMPORT_SHEETS, RECORDS
from wearstats.book.trail import AMENDED, COMPLETED, Change, Source, Trails, values_json
from wearstats.book.values import (
    Keeping,
    Layout,
    Row,
    Value,
    layout,
    record_name,
    shown,
)
from wearstats.records.coded import Coded, repeated
from wearstats.records.findings import Finding, Severity
from wearstats.records.schema import SHEETS
from wearstats.records.taken import Taken


@dataclass(slots=True)
class _Chunk:
    """What a chunk leaves to be written."""

    held: dict[Row, Held]
    places: dict[Row, list[int]] | None = None
    # Places of rows that are records of their own, and those of them that later rows may complete.
    fresh: list[int] = field(default_factory=list)
    judged: dict[int, Held] = field(default_factory=dict)
    changes: list[tuple[str, Change]] = field(default_factory=list)
    faulty: list[Faulty] = field(default_factory=list)


class SheetIntake:
    """Takes one sheet of a file into the book.

    Parameters
    ----------
    importing : Import
    sheet : str
        Its name in the file.
    kind : str
        A name in `records.schema.SHEETS`.
    written : AsWritten
    """

    def __init__(self, importing: Import, sheet: str, kind: str, written: AsWritten) -> None:
        self._importing = importing
        self._table = RECORDS[kind]
        self._layout: Layout = layout(kind)
        self._written = written
        self._keeping = Keeping(kind)
        counted = SHEETS[kind].counted
        self._place = None if counted is None else self._layout.fields.index(counted)
        self._counts = dict.fromkeys(COUNTS, 0)
        self._group = [place for place in self._layout.key if place != self._place]
        self._rows_seen: tuple[int, int] | None = None
        self.findings: list[Finding] = []
        self.sheet, self.kind = sheet, kind
        key = importing.connection.execute(
            insert(IMPORT_SHEETS).values(
                import_id=importing.number, sheet=sheet, kind=kind, **self._counts
            )
        ).inserted_primary_key
        self._sheet_id = int(key[0]) if key is not None else 0
        self._trails = Trails(importing.connection, kind, importing.when_utc)
        self._standing = Standing(importing.connection, kind, self._trails)
        self._logged_before = self._trails.first_sheet_of(importing.sha256, importing.number)
        self._shelf = Shelf(importing, sheet, self._sheet_id, kind, written)

    def add(self, taken: Taken) -> None:
        """Log, complete, amend or set aside the rows of one chunk."""
        columns = self._keeping.columns_of(taken.columns)
        numbers: list[int] = taken.rows.tolist()
        asides = taken.aside_ids or [None] * len(numbers)
        self._know(taken, numbers)
        with legible("the book"):
            chunk = _Chunk(self._standing.near(columns))
        for place in self._rows_to_judge(chunk, columns, asides):
            row = tuple([coded[place] for coded in columns])
            self._take(chunk, place, row, (numbers[place], taken.cells[place]), asides[place])
        chunk.faulty.extend(
            Faulty(bad.row, self._written.typed(bad.cells), bad.findings, bad.aside_id)
            for bad in taken.aside
        )
        self._counts["set_aside"] += len(chunk.faulty)
        self._put_aside(chunk.faulty)
        self.findings.extend(taken.notes)
        self._note_replaced_text(taken, numbers)
        self._write(chunk, columns, taken.rows)
        self._note_rows([*numbers[:1], *numbers[-1:], *(bad.row for bad in taken.aside)])

    def _rows_to_judge(
        self, chunk: _Chunk, columns: Sequence[Coded], asides: Sequence[int | None]
    ) -> Iterable[int]:
        """Log the rows that meet no record, all at once; return the places of the others.

        Most sheets hold little else, and to judge each row by itself would take longer than the
        database does.
        """
        every = range(len(asides))
        amend = self._importing.amend
        if self._shelf.waits or asides.count(None) < len(asides):
            return every
        if self._standing.none_before and not amend:
            chunk.fresh = list(every)
            self._counts["logged"] += len(every)
            return ()
        keys = list(zip(*(columns[place].listed() for place in self._layout.key), strict=True))
        if len(set(keys)) < len(keys):
            return every
        held = chunk.held
        chunk.fresh = [place for place, key in enumerate(keys) if key not in held]
        self._counts["logged"] += len(chunk.fresh)
        if amend:
            self._importing.claimed.update((self.kind, keys[place]) for place in chunk.fresh)
        return [place for place, key in enumerate(keys) if key in held]

    def _take(
        self,
        chunk: _Chunk,
        place: int,
        row: Row,
        written: tuple[int, Mapping[str, str]],
        aside: int | None,
    ) -> None:
        """Let one row do what it may, or have it set aside."""
        number, typed = written
        unplaced = aside is not None and self._unplaced(chunk, row, number, typed, aside)
        findings = unplaced or self._judge(chunk, place, row, number)
        if findings:
            known = None if unplaced else self._place_of(row)
            chunk.faulty.append(Faulty(number, self._written.typed(typed, known), findings, aside))
        elif aside is not None or self._shelf.waits:
            self._shelf.read_well(self._written.typed(typed), aside)

    def finish(self, rows_read: int) -> SheetResult:
        """Keep the counts with the import."""
        self._shelf.resolve()
        self._counts["rows_read"] = rows_read
        self._counts["mended"] = self._shelf.mended
        first, last = self._rows_seen or (None, None)
        self._importing.connection.execute(
            update(IMPORT_SHEETS)
            .where(IMPORT_SHEETS.c.id == self._sheet_id)
            .values(**self._counts, first_row=first, last_row=last)
        )
        return SheetResult(self.sheet, self.kind, **self._counts, first_row=first, last_row=last)

    def _put_aside(self, rows: Sequence[Faulty]) -> None:
        settled = self._shelf.put(rows)
        for faulty in rows:
            if faulty.row not in settled:
                self.findings.extend(faulty.findings)
                continue
            self.findings.append(self._note(*settled[faulty.row], faulty.row))

    def _note(self, code: str, message: str, row: int, column: str | None = None) -> Finding:
        return Finding(code, message, Severity.NOTE, self._importing.file, self.sheet, row, column)

    def _unplaced(
        self, chunk: _Chunk, row: Row, number: int, typed: Mapping[str, str], aside: int
    ) -> tuple[Finding, ...]:
        """Ask for the place of a mended row on a day of which the book holds records.

        Its like stayed behind in the sheet it came from: counted among the mended rows alone it
        would be taken for the first of the day, and fill or contradict another record.
        """
        label = self._written.counted
        if self._place is None or label is None or typed.get(label, "").strip():
            return ()
        if not self._shelf.is_open(aside):
            return ()
        if chunk.places is None:
            chunk.places = self._places_there(chunk.held.values(), self._place)
        there = chunk.places.get(self._group_of(row))
        if not there:
            return ()
        counted = SHEETS[self.kind].counted
        message = (
            f"the book holds {counted} {' and '.join(map(str, sorted(there)))} of that day and "
            f"unit, and which {counted} this row is cannot be told here; write its number under "
            f"{label!r}"
        )
        return (
            Finding(
                f"{counted}-number-missing",
                message,
                Severity.ASIDE,
                self._importing.file,
                self.sheet,
                number,
                label,
                expected=f"a {counted} number",
            ),
        )

    def _group_of(self, row: Row) -> Row:
        return tuple([row[place] for place in self._group])

    def _places_there(self, records: Iterable[Held], place: int) -> dict[Row, list[int]]:
        """Return the places taken by records of other sheets, by what their like share."""
        places: dict[Row, list[int]] = {}
        for held in records:
            taken = held.row[place]
            if held.sheet_id != self._sheet_id and isinstance(taken, int):
                places.setdefault(self._group_of(held.row), []).append(taken)
        return places

    def _place_of(self, row: Row) -> Value:
        return None if self._place is None else row[self._place]

    def _note_rows(self, numbers: Sequence[int]) -> None:
        if numbers:
            seen = (*numbers, *(self._rows_seen or ()))
            self._rows_seen = (min(seen), max(seen))

    def _know(self, taken: Taken, numbers: Sequence[int]) -> None:
        """Fetch the items named by number; say which there are not."""
        asides = taken.aside_ids or ()
        came_back = [*zip(asides, numbers, strict=False)]
        came_back += [(bad.aside_id, bad.row) for bad in taken.aside]
        named = {aside: number for aside, number in came_back if aside is not None}
        for unknown in sorted(self._shelf.know(list(named))):
            self.findings.append(
                self._note(
                    "aside-unknown",
                    f"no row of this kind was set aside under number {unknown}; "
                    "the row is treated like any other",
                    named[unknown],
                )
            )

    def _note_replaced_text(self, taken: Taken, numbers: Sequence[int]) -> None:
        for place, column in self._keeping.unkeepable(taken.columns):
            self.findings.append(
                self._note(
                    "text-replaced",
                    "a sign no database can keep (NUL or half a character) is kept as ␀ or �",
                    numbers[place],
                    column,
                )
            )

    def _judge(self, chunk: _Chunk, place: int, row: Row, number: int) -> tuple[Finding, ...]:
        """Let a row do what it may; return why it may not."""
        key = self._layout.key_of(row)
        held = chunk.held.get(key)
        if held is None:
            held = Held(row, self._sheet_id, number, 0)
            chunk.held[key] = chunk.judged[place] = held
            chunk.fresh.append(place)
            self._counts["logged"] += 1
            self._claim(key)
            return ()
        comparison = compare(held.row, row, self._layout)
        verdict, comparison = self._verdict(held, row, comparison)
        if verdict is Verdict.CONTRADICTS:
            return tuple(
                self._contradiction(held, row, number, column) for column in comparison.contradicts
            )
        self._claim(key)
        if verdict is Verdict.ALREADY_THERE:
            self._counts["already_there"] += 1
            return ()
        self._counts["logged"] += 1
        self._counts["amended" if verdict is Verdict.AMENDS else "completed"] += 1
        self._change(chunk, held, row, number, comparison)
        return ()

    def _claim(self, key: Row) -> None:
        if self._importing.amend:
            self._importing.claimed.add((self.kind, key))

    def _verdict(self, held: Held, row: Row, comparison: Comparison) -> tuple[Verdict, Comparison]:
        may_amend = (
            self._importing.amend
            and (self.kind, self._layout.key_of(row)) not in self._importing.claimed
        )
        if comparison.contradicts and not may_amend:
            left = tuple(
                column
                for column in comparison.contradicts
                if not self._was_amended(held, row, column)
            )
            comparison = replace(comparison, contradicts=left)
            if left:
                return Verdict.CONTRADICTS, comparison
        if comparison.contradicts:
            return Verdict.AMENDS, comparison
        if comparison.fills:
            return Verdict.COMPLETES, comparison
        return Verdict.ALREADY_THERE, comparison

    def _was_amended(self, held: Held, row: Row, column: int) -> bool:
        """Whether the record said so when this same file was logged before, and was amended since.

        The file has had its say; only another file, or this one with leave to amend, may
        contradict what was amended.
        """
        said = values_json([row[place] for place in self._layout.places[column]])
        name = self._layout.columns[column].name
        return self._logged_before is not None and any(
            change.why == AMENDED
            and (change.field, change.old) == (name, said)
            and change.source.sheet_id > self._logged_before
            for change in held.trail
        )

    def _contradiction(self, held: Held, row: Row, number: int, column: int) -> Finding:
        places = self._layout.places[column]
        described = self._layout.columns[column]
        source = held.source_of(described.name)
        file, sheet = self._trails.place(source.sheet_id)
        new = shown([row[place] for place in places], described)
        old = shown([held.row[place] for place in places], described)
        where = f"{file}, sheet {sheet}, row {source.row}"
        return Finding(
            "contradiction",
            f"{described.name} is {new} here, but {old} in {where}; "
            "mend the wrong one, or log this row with --amend to let it stand",
            Severity.ASIDE,
            self._importing.file,
            self.sheet,
            number,
            described.name,
            new,
            f"{old} ({where})",
        )

    def _change(
        self, chunk: _Chunk, held: Held, row: Row, number: int, comparison: Comparison
    ) -> None:
        record = record_name(self.kind, held.row)
        here = Source(self._sheet_id, number)
        for column in sorted((*comparison.fills, *comparison.contradicts)):
            places = self._layout.places[column]
            name = self._layout.columns[column].name
            why = AMENDED if column in comparison.contradicts else COMPLETED
            old = values_json([held.row[place] for place in places])
            new = values_json([row[place] for place in places])
            change = Change(name, old, new, why, held.source_of(name), here)
            held.trail = (*held.trail, change)
            held.changes += 1
            chunk.changes.append((record, change))
            held.row = tuple(
                [row[place] if place in places else value for place, value in enumerate(held.row)]
            )
        held.touched = True

    def _write(
        self, chunk: _Chunk, columns: Sequence[Coded], numbers: npt.NDArray[np.int64]
    ) -> None:
        connection = self._importing.connection
        *values, numbered, changes = fresh_records(columns, numbers, chunk.fresh, chunk.judged)
        ours = (repeated(self._sheet_id, len(chunk.fresh)), numbered, changes)
        names = (*self._layout.fields, "import_sheet_id", "source_row", "changes")
        insert_columns(connection, self._table, names, [*values, *ours])
        update_records(connection, self._layout, chunk.held.values())
        self._trails.write(chunk.changes)

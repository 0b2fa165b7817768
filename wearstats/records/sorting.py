"""Parts the rows of a sheet into those taken and those set aside, chunk by chunk."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
import numpy.typing as npt

from wearstats.records.cells import Cell, Fault, cell_text
from wearstats.records.coded import Coded, Marks, as_array, coded_numbers, mixed, repeated
from wearstats.records.columns import Column, Sheet
from wearstats.records.common import UNIT
from wearstats.records.faults import (
    Faults,
    aside_id,
    cells_by_label,
    note_again,
    note_stretch,
    note_unread,
    number_missing,
    ragged,
    too_many,
)
from wearstats.records.findings import Finding
from wearstats.records.headers import Heading
from wearstats.records.kinds import Settings
from wearstats.records.places import Places
from wearstats.records.raw import RawChunk, RawSheet, is_blank
from wearstats.records.rules import RULES, broken_rules
from wearstats.records.seen import NOWHERE, Details, Seen
from wearstats.records.spellings import UnitSpellings
from wearstats.records.stretches import ColumnTaker, Stretch
from wearstats.records.taken import AsideRow, Taken, Typed
from wearstats.records.values import blank, cell_reader

_Flags = npt.NDArray[np.bool_]
_SPELLING = "unit-spelling"


@dataclass(slots=True)
class Sorter:
    """Sorts one sheet; it remembers marks of the rows it has met, not the rows.

    Parameters
    ----------
    raw : RawSheet
    sheet : Sheet
    headings : tuple of Heading
        As many as the sheet has headers.
    takers : dict of int to ColumnTaker
        By the place of the header.
    """

    raw: RawSheet
    sheet: Sheet
    headings: tuple[Heading, ...]
    takers: dict[int, ColumnTaker]
    _seen: Seen = field(default_factory=Seen)
    _taken: Seen = field(default_factory=Seen)
    _details: Details = field(default_factory=Details)
    _places: Places = field(default_factory=Places)

    @classmethod
    def of(
        cls,
        raw: RawSheet,
        sheet: Sheet,
        headings: tuple[Heading, ...],
        settings: Settings,
        spellings: UnitSpellings,
    ) -> "Sorter":
        """Return a sorter with a taker for each column that can be read."""
        takers = {
            place: _taker(raw, heading, heading.column, settings, spellings)
            for place, heading in enumerate(headings)
            if heading.role == "column" and heading.column is not None and heading.fault is None
        }
        return cls(raw, sheet, headings, takers)

    def sorted(self) -> Iterator[Taken]:
        """Yield the sheet chunk by chunk."""
        chunks = self.raw.chunks
        chunk, following, done = next(chunks, None), next(chunks, None), 0
        alone = following is None
        while chunk is not None:
            columns = _transposed(chunk, len(self.headings))
            if not self._places.looked_ahead and self._leaves_places_blank(columns):
                # The file is read from its top again, and never by two readers at once.
                every = [chunk] if alone else self.raw.chunks
                self._places.look_ahead(self._numbered(one) for one in every)
                chunks = islice(self.raw.chunks, done + 2, None)
            yield self._sort(chunk, columns)
            chunk, following, done = following, next(chunks, None), done + 1

    def _sort(self, chunk: RawChunk, columns: Sequence[Sequence[Cell]]) -> Taken:
        stretches = self._read(columns)
        rows = np.array(chunk.rows, dtype=np.int64)
        faults = Faults(len(rows))
        self._note_cells(stretches, columns, faults)
        groups = self._groups(stretches, len(rows))
        keyed = self._keyed(stretches, len(rows))
        countable = keyed & ~self._note_duplicates(stretches, rows, keyed, faults)
        fields = self._fields(stretches, len(rows))
        if self.sheet.counted is not None:
            places = self._place(fields, stretches, groups, countable, faults)
        else:
            places = None
        if self.sheet.name in RULES:
            for row, name, fault in broken_rules(self.sheet.name, self._arrays(fields)):
                faults.add(row, self._label(name), "", fault)
        self._note_contradictions(stretches, rows, _with_places(groups, places), faults)
        return self._parted(chunk, columns, fields, places, faults)

    def _read(self, columns: Sequence[Sequence[Cell]]) -> dict[str, Stretch]:
        return {
            taker.column.name: taker.take(columns[place]) for place, taker in self.takers.items()
        }

    def _label(self, name: str) -> str:
        """Return the header under which a column stands in this sheet."""
        for heading in self.headings:
            column = heading.column
            if heading.role == "column" and column is not None and column.name == name:
                return heading.label
        return name

    # --- what is wrong with single cells -------------------------------------------------

    def _note_cells(
        self,
        stretches: dict[str, Stretch],
        columns: Sequence[Sequence[Cell]],
        faults: Faults,
    ) -> None:
        for place, heading in enumerate(self.headings):
            column = heading.column
            stretch = stretches.get(column.name) if column is not None else None
            if place in self.takers and stretch is not None:
                note_stretch(stretch, heading, faults)
            elif heading.role == "again":
                note_again(stretch, heading, columns[place], faults)
            else:
                note_unread(heading, columns[place], faults)

    # --- rows among their like -----------------------------------------------------------

    def _groups(self, stretches: dict[str, Stretch], size: int) -> Marks:
        """Mark each row by its key, without its place among its like."""
        groups: Marks = np.zeros(size, dtype=np.uint64)
        for column in self.sheet:
            if column.key and column.name != self.sheet.counted and column.name in stretches:
                groups = mixed(groups, stretches[column.name].marks)
        return groups

    def _keyed(self, stretches: dict[str, Stretch], size: int) -> _Flags:
        """Return the rows whose key is known, if only by presumption."""
        keyed: _Flags = np.ones(size, dtype=bool)
        for column in self.sheet:
            if not column.key or column.name == self.sheet.counted:
                continue
            stretch = stretches.get(column.name)
            if stretch is not None:
                keyed &= ~stretch.faulty(passing=_SPELLING)
        return keyed

    def _note_duplicates(
        self,
        stretches: dict[str, Stretch],
        rows: npt.NDArray[np.int64],
        keyed: _Flags,
        faults: Faults,
    ) -> _Flags:
        copies: _Flags = np.zeros(len(rows), dtype=bool)
        marks: Marks = np.zeros(len(rows), dtype=np.uint64)
        for stretch in stretches.values():
            marks = mixed(marks, stretch.marks)
        known = np.flatnonzero(keyed)
        earlier = self._seen.meet(marks[known], rows[known])
        hint = f"; if both are meant, number them under {self.sheet.counted!r}"
        again = earlier != NOWHERE
        for row, first in zip(known[again].tolist(), earlier[again].tolist(), strict=True):
            message = f"it repeats row {first}{hint if self.sheet.counted else ''}"
            faults.add(row, "", "", Fault("duplicate-row", message, "each record once"))
            copies[row] = True
        return copies

    def _leaves_places_blank(self, columns: Sequence[Sequence[Cell]]) -> bool:
        """Tell whether a row leaves its place among its like blank."""
        for place, taker in self.takers.items():
            if taker.column.name == self.sheet.counted:
                return any(is_blank((cell,)) for cell in set(columns[place]))
        return False

    def _place(
        self,
        fields: dict[str, Coded],
        stretches: dict[str, Stretch],
        groups: Marks,
        countable: _Flags,
        faults: Faults,
    ) -> npt.NDArray[np.float64]:
        """Fill in blank places among like rows; say where they cannot be."""
        column = self.sheet.column(str(self.sheet.counted))
        (name,) = column.fields
        stretch = stretches.get(column.name)
        counted = countable & ~stretch.filled if stretch is not None else countable
        written = as_array(column, fields[name].values)[fields[name].codes].astype(np.float64)
        places, unclear = self._places.fill(groups, written, counted)
        fields[name] = coded_numbers(places)
        label = self._label(column.name)
        for row in np.flatnonzero(unclear).tolist():
            faults.add(row, label, "", number_missing(self.sheet, column))
        most = column.limits[1] if column.limits is not None else np.inf
        for row in np.flatnonzero(counted & (places > most)).tolist():
            faults.add(row, label, "", too_many(self.sheet, most))
        return places

    def _numbered(self, chunk: RawChunk) -> Marks:
        """Return the groups of the rows of a chunk that give their place."""
        columns = _transposed(chunk, len(self.headings))
        wanted = {column.name for column in self.sheet if column.key}
        stretches = {
            taker.column.name: taker.take(columns[place])
            for place, taker in self.takers.items()
            if taker.column.name in wanted
        }
        groups = self._groups(stretches, len(chunk.rows))
        counted = stretches[str(self.sheet.counted)]
        return groups[counted.filled & self._keyed(stretches, len(groups))]

    def _note_contradictions(
        self,
        stretches: dict[str, Stretch],
        rows: npt.NDArray[np.int64],
        keys: Marks,
        faults: Faults,
    ) -> None:
        sound = np.flatnonzero(~faults.flags())
        names = list(stretches)
        self._details.add(rows, [stretches[name].marks for name in names])
        earlier = self._taken.meet(keys[sound], rows[sound])
        again = earlier != NOWHERE
        for row, first in zip(sound[again].tolist(), earlier[again].tolist(), strict=True):
            unlike = [
                self._label(names[one]) for one in self._details.unlike(first, int(rows[row]))
            ]
            label = unlike[0] if unlike else ""
            alike = ", ".join(column.name for column in self.sheet if column.key)
            message = (
                f"it has the same {alike} as row {first}, which says otherwise under "
                f"{' and '.join(repr(one) for one in unlike)}; keep the one that holds"
            )
            faults.add(row, label, "", Fault("contradiction", message, "one row for each record"))

    # --- the outcome ---------------------------------------------------------------------

    def _fields(self, stretches: dict[str, Stretch], size: int) -> dict[str, Coded]:
        fields: dict[str, Coded] = {}
        for column in self.sheet:
            stretch = stretches.get(column.name)
            if stretch is not None:
                fields |= stretch.fields
            else:
                for name, missing in zip(column.fields, blank(column), strict=True):
                    fields[name] = repeated(missing, size)
        return fields

    def _arrays(self, fields: dict[str, Coded]) -> dict[str, npt.NDArray[np.generic]]:
        return {
            name: as_array(column, fields[name].values)[fields[name].codes]
            for column in self.sheet
            for name in column.fields
        }

    def _parted(
        self,
        chunk: RawChunk,
        columns: Sequence[Sequence[Cell]],
        fields: dict[str, Coded],
        places: npt.NDArray[np.float64] | None,
        faults: Faults,
    ) -> Taken:
        texts = _texts(chunk, columns, text_only=self.raw.text_only)
        labels = tuple(heading.label for heading in self.headings)
        sound = np.flatnonzero(~faults.flags())
        ids = self._aside_ids(columns)
        aside = [
            AsideRow(
                chunk.rows[row],
                dict(zip(labels, texts[row], strict=True))
                # Among rows that came back from being set aside, the count says nothing.
                | (self._known_place(places, row) if ids is None or ids[row] is None else {}),
                tuple(self._found(chunk.rows[row], *one) for one in found),
                None if ids is None else ids[row],
            )
            for row, found in faults.by_row.items()
        ]
        aside.extend(self._ragged(number, cells) for number, cells in chunk.ragged)
        return Taken(
            self.sheet.name,
            {name: coded.of(sound) for name, coded in fields.items()},
            np.array(chunk.rows, dtype=np.int64)[sound],
            Typed(labels, texts, sound),
            None if ids is None else [ids[row] for row in sound.tolist()],
            sorted(aside, key=lambda one: one.row),
        )

    def _known_place(self, places: npt.NDArray[np.float64] | None, row: int) -> dict[str, str]:
        """Return the cell of a row's place among its like, where that is known."""
        if places is None or self.sheet.counted is None or np.isnan(places[row]):
            return {}
        return {self._label(self.sheet.counted): str(int(places[row]))}

    def _aside_ids(self, columns: Sequence[Sequence[Cell]]) -> list[int | None] | None:
        for place, heading in enumerate(self.headings):
            if heading.role == "aside":
                return [aside_id(cell_text(cell)) for cell in columns[place]]
        return None

    def _found(self, number: int, label: str, text: str, fault: Fault) -> Finding:
        return fault.found(self.raw.file, self.raw.name, number, label or None, text or None)

    def _ragged(self, number: int, cells: Sequence[Cell]) -> AsideRow:
        labels = [heading.label for heading in self.headings]
        by_label = cells_by_label(labels, cells)
        ids = [
            aside_id(by_label.get(one.label, "")) for one in self.headings if one.role == "aside"
        ]
        fault = ragged(len(cells), len(labels))
        return AsideRow(
            number, by_label, (self._found(number, "", "", fault),), ids[0] if ids else None
        )


def _taker(
    raw: RawSheet, heading: Heading, column: Column, settings: Settings, spellings: UnitSpellings
) -> ColumnTaker:
    reader = cell_reader(
        column,
        mapped=heading.mapped,
        headed=heading.headed,
        dates=settings.stated_dates or heading.dates,
    )
    if column.name != UNIT.name:
        return ColumnTaker(column, reader, text_only=raw.text_only)
    return ColumnTaker(column, reader, spellings.settle, spellings.presumed, raw.text_only)


def _transposed(chunk: RawChunk, width: int) -> Sequence[Sequence[Cell]]:
    return list(zip(*chunk.cells, strict=True)) if chunk.cells else [()] * width


def _texts(
    chunk: RawChunk, columns: Sequence[Sequence[Cell]], *, text_only: bool
) -> Sequence[Sequence[str]]:
    """Return the rows as typed."""
    if text_only:
        return chunk.cells  # type: ignore[return-value]  # a text file's cells are all text
    return list(zip(*([cell_text(cell) for cell in column] for column in columns), strict=True))


def _with_places(groups: Marks, places: npt.NDArray[np.float64] | None) -> Marks:
    if places is None:
        return groups
    return mixed(groups, np.nan_to_num(places).astype(np.uint64))

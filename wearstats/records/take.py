"""From raw sheets to rows taken and rows set aside; every row read ends in one of the two."""

from collections.abc import Iterator
from dataclasses import replace
from operator import itemgetter

from wearstats.records.columns import Sheet
from wearstats.records.faults import cells_by_label
from wearstats.records.findings import Finding
from wearstats.records.headers import labels, match_headers
from wearstats.records.kinds import (
    Settings,
    header_notes,
    missing_columns,
    not_records,
    sheet_kind,
)
from wearstats.records.raw import RawChunk, RawSheet
from wearstats.records.sorting import Sorter
from wearstats.records.spellings import UnitSpellings
from wearstats.records.taken import AsideRow, Taken


def take(raw: RawSheet, settings: Settings, spellings: UnitSpellings) -> Iterator[Taken]:
    """Take the records out of a sheet.

    Parameters
    ----------
    raw : RawSheet
    settings : Settings
    spellings : UnitSpellings
        The ids known so far; learns the new ones.

    Yields
    ------
    Taken
        At least one; rows in the order written.

    Raises
    ------
    RecordError
        It cannot be told which kind of record the sheet holds, or none of its headers is known.
    """
    sheet = sheet_kind(raw, settings)
    if sheet is None:
        yield Taken.nothing().noted([*raw.notes, not_records(raw)])
        return
    headings = match_headers(raw.headers, sheet, settings.column_map)
    notes = [*raw.notes, *header_notes(raw, sheet, headings)]
    missing = missing_columns(raw, sheet, headings)
    stretches: Iterator[Taken]
    if missing:
        stretches = (_all_aside(raw, sheet, chunk, missing) for chunk in raw.chunks)
    else:
        joined = settings.column_map.units_joined if settings.column_map is not None else {}
        stretches = Sorter.of(raw, sheet, headings, settings, spellings.joining(joined)).sorted()
    first = True
    for taken in stretches:
        yield taken.noted(notes) if first else taken
        first = False
    if first:
        yield Taken.nothing(sheet.name).noted(notes)


def _all_aside(
    raw: RawSheet, sheet: Sheet, chunk: RawChunk, findings: tuple[Finding, ...]
) -> Taken:
    names = labels(raw.headers)
    rows = sorted([*zip(chunk.rows, chunk.cells, strict=True), *chunk.ragged], key=itemgetter(0))
    aside = [
        AsideRow(
            row,
            cells_by_label(names, cells),
            tuple(replace(finding, row=row) for finding in findings),
        )
        for row, cells in rows
    ]
    return replace(Taken.nothing(sheet.name), aside=aside)

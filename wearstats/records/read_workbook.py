"""XLSX workbooks, read row by row: results of formulas, real dates, percent as written."""

import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import openpyxl

from wearstats.errors import RecordError
from wearstats.records.cells import Cell, Uncomputed, number_text
from wearstats.records.pages import is_own_page
from wearstats.records.raw import (
    MOST_COLUMNS,
    Head,
    NumberedRow,
    RawChunk,
    RawSheet,
    chunked,
    find_head,
    head_notes,
    note,
    refuse,
    too_wide,
)

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

EXPECTED = "an .xlsx workbook, not locked by a password"
MOST_BYTES: Final = 1 << 30
"""Most that a workbook may unpack to: ten times a full sheet of a million rows."""
MOST_ROWS: Final = 1_048_576
"""Rows a sheet has in any spreadsheet; a number beyond it would be a gap without end."""
_BLOCK_BYTES = 1 << 20
_SMALL_BYTES = 8 << 20
_MOST_RATIO = 100
"""Text of sheets packs to a tenth, of the dullest to a fortieth; a bomb to a thousandth."""
_WORKBOOK = "xl/workbook.xml"
_ENCRYPTED = 0x1
_LONGEST_TAG = 40
_ROWS_AT_ONCE = 200
"""Rows fetched under one guard, which costs as much as a row of twenty cells."""
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")


def read_workbook(path: Path, column_map: "ColumnMap | None") -> Iterator[RawSheet]:
    """Read the sheets of a workbook that have anything in them.

    The pages of our entry workbook that hold no records are passed over.

    Raises
    ------
    RecordError
        It is locked, damaged, too large, or empty.
    """
    formulas = _guard(path)
    with _careful(path.name), _opened(path, values=True) as book:
        names = [sheet.title for sheet in book.worksheets]
        hidden = {sheet.title for sheet in book.worksheets if sheet.sheet_state != "visible"}
    heads: dict[int, Head] = {}
    for place in range(len(names)):
        head = find_head(_rows(path, place, formulas=False), column_map)
        if head is not None:
            heads[place] = head
    own = {place for place in heads if is_own_page(names[place], heads[place], column_map)}
    for place in own:
        del heads[place]
    if not any(head.has_rows for head in heads.values()):
        message = "no sheet has a row below its headers" if heads else "the workbook is empty"
        refuse("file-empty", path.name, message, f"{EXPECTED}, with a row for each record")
    for place, head in heads.items():
        if own and not head.has_rows:
            # Nobody fills in all four sheets of our workbook; an empty one is no news.
            continue
        sheet = _sheet(path, names[place], place, head, formulas=formulas, alone=len(heads) == 1)
        if sheet.name in hidden:
            said = note(
                "sheet-hidden", "the sheet is hidden in the workbook", path.name, sheet.name
            )
            sheet = replace(sheet, notes=(*sheet.notes, said))
        yield sheet


def _sheet(
    path: Path, name: str, place: int, head: Head, *, formulas: bool, alone: bool
) -> RawSheet:
    if len(head.headers) > MOST_COLUMNS:
        too_wide(path.name, name, len(head.headers), EXPECTED)

    def open_chunks() -> Iterator[RawChunk]:
        return chunked(_rows(path, place, formulas=formulas), head, pad=True)

    notes = head_notes(head, path.name, name)
    if not head.has_rows:
        notes = (*notes, note("sheet-empty", "no row below the headers", path.name, name))
    return RawSheet(path.name, name, head.headers, head.row, open_chunks, notes, alone)


@contextmanager
def _careful(file: str) -> Iterator[None]:
    """Turn whatever a damaged workbook makes openpyxl raise into one error."""
    try:
        # openpyxl warns of what it passes over (drop-down lists, dates beyond the calendar).
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except RecordError:
        raise
    except Exception as error:  # noqa: BLE001 - a damaged file makes openpyxl raise anything
        # The library adds paragraphs of advice, and where the file is.
        said = (str(error).splitlines() or [type(error).__name__])[0]
        said = re.sub(rf"/.*{re.escape(file)}", lambda _: file, said)
        refuse("file-damaged", file, f"the workbook is damaged ({said})", EXPECTED)


def _guard(path: Path) -> bool:
    """Refuse what is no workbook or too large; tell whether it holds formulas."""
    with _careful(path.name), zipfile.ZipFile(path) as archive:
        members = archive.infolist()
        problem = _problem(members)
        if problem:
            refuse("file-kind", path.name, problem, EXPECTED)
        sheets = [one for one in members if one.filename.startswith("xl/worksheets/")]
        return any(_holds_formula(archive, one) for one in sheets if not one.is_dir())


def _problem(members: Sequence[zipfile.ZipInfo]) -> str:
    if any(one.flag_bits & _ENCRYPTED for one in members):
        return "it is locked by a password"
    if sum(one.file_size for one in members) > MOST_BYTES:
        return f"it unpacks to more than {MOST_BYTES >> 20} MB"
    if any(one.file_size > max(_SMALL_BYTES, _MOST_RATIO * one.compress_size) for one in members):
        return "a part of it unpacks to more than a hundred times its size, as no sheet does"
    if _WORKBOOK not in {one.filename for one in members}:
        return "it is a zip archive but no workbook"
    return ""


def _holds_formula(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bool:
    tail = b""
    with archive.open(member) as stream:
        while block := stream.read(_BLOCK_BYTES):
            if _FORMULA.search(tail + block):
                return True
            tail = block[-_LONGEST_TAG:]
    return False


@contextmanager
def _opened(path: Path, *, values: bool) -> Iterator[openpyxl.Workbook]:
    # A stream of ours: openpyxl leaves a file it opened itself open when it refuses it.
    with path.open("rb") as stream:
        book = openpyxl.load_workbook(stream, read_only=True, data_only=values, keep_links=False)
        try:
            yield book
        finally:
            book.close()


def _rows(path: Path, place: int, *, formulas: bool) -> Iterator[NumberedRow]:
    """Yield the rows of one sheet; each fetch is guarded, no guard stays open over a yield."""
    source = enumerate(_row_cells(path, place, formulas=formulas), start=1)
    while True:
        with _careful(path.name):
            some = list(islice(source, _ROWS_AT_ONCE))
        if not some:
            return
        if some[-1][0] > MOST_ROWS:
            refuse("sheet-long", path.name, f"a row is numbered beyond {MOST_ROWS}", EXPECTED)
        yield from some


def _row_cells(path: Path, place: int, *, formulas: bool) -> Iterator[Sequence[Cell]]:
    with _opened(path, values=True) as book:
        sheet = book.worksheets[place]
        # The stated size of a sheet may be far beyond what is written in it.
        sheet.reset_dimensions()
        if not formulas:
            for row in sheet.iter_rows():
                yield [_value(cell) for cell in row]
            return
        with _opened(path, values=False) as written:
            other = written.worksheets[place]
            other.reset_dimensions()
            for row, formula_row in zip(sheet.iter_rows(), other.iter_rows(), strict=False):
                yield [_computed(*pair) for pair in zip(row, formula_row, strict=False)]


def _computed(cell: Any, formula: Any) -> Cell:
    if cell.value is None and getattr(formula, "data_type", "") == "f":
        return Uncomputed(str(getattr(formula.value, "text", formula.value)))
    return _value(cell)


def _value(cell: Any) -> Cell:
    value = cell.value
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, (int, float)):
        if "%" in (cell.number_format or ""):
            return f"{number_text(float(f'{value * 100:.12g}'))}%"
        return value
    if isinstance(value, date):
        return value
    # A time of day or a span of time is no record; its text is kept for the finding.
    return str(value)

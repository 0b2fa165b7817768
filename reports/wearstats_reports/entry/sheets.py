"""One entry sheet: headers, drop-down lists, limits, ruled rows."""

from collections.abc import Sequence
from copy import copy
from datetime import date
from itertools import takewhile
from typing import Any

from openpyxl.formatting.rule import Rule
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.dimensions import ColumnDimension

from wearstats.records.cells import cell_text
from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.common import UNIT
from wearstats.records.schema import UNITS
from wearstats.records.write import put_text
from wearstats_reports.entry import style, words
from wearstats_reports.entry.filled import Filled, KnownUnits, written
from wearstats_reports.entry.headers import choices, first_unit, header
from wearstats_reports.entry.limits import rule

_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384
_HEADER_HEIGHT, _ROW_HEIGHT = 48, 24
"""In points; printed small, a row is still high enough for handwriting."""
_HEADER_LINES = 3
_CHARACTER, _POINTS = 5.5, 72
_SPARE_ROWS = 12
_WIDEST = 40
_WIDTHS = {
    Kind.DATE: 12,
    Kind.TEXT: 13,
    Kind.CHOICE: 11,
    Kind.GO_NO_GO: 9,
    Kind.NUMBER: 9,
    Kind.COUNT: 7,
}
_WIDE = {"remark": 30, "meet": 18}
_TEXT_FORMAT = "@"
_WRITTEN_AS_TEXT = {Kind.TEXT, Kind.GO_NO_GO, Kind.CHOICE}
"""Else a spreadsheet turns 3/4 into a day in March, and lot 2024-05 into one in May."""


def fill_sheet(page: Any, sheet: Sheet, *, system: str, ids: str, known: KnownUnits) -> None:
    """Lay out the entry sheet of a kind of record.

    Parameters
    ----------
    page : openpyxl worksheet
    sheet : Sheet
    system : {"inch", "metric"}
        Units the headers start with.
    ids : str
        Formula of the range in which the ids of units stand.
    known : KnownUnits
        Written on the sheet of units.
    """
    rows = known.records if sheet.name == UNITS.name else ()
    for place, column in enumerate(sheet, start=1):
        unit = first_unit(column, system)
        _column(page, place, column)
        _header(page, place, column, header(column, unit))
        _validate(page, place, column, None if sheet.name == UNITS.name else ids)
        cells = [written(column, values[column.name], unit) for values in rows]
        for row, value in enumerate(cells, start=2):
            _write(page.cell(row, place), value)
        _widen(page.column_dimensions[get_column_letter(place)], cells)
    _ruled_rows(
        page, len(sheet.columns), max(_rows_of_a_page(page, system), len(rows) + _SPARE_ROWS)
    )
    _mark_missing(page, sheet)
    _open_beyond(page, len(sheet.columns))
    named = len(list(takewhile(lambda column: column.required, sheet)))
    page.freeze_panes = page.cell(2, named + 1)
    page.print_title_rows = "1:1"
    style.paper(page, system=system, landscape=True)
    style.lock(page)


def _format(column: Column) -> str:
    if column.kind is Kind.DATE:
        return style.DATE_FORMAT
    return _TEXT_FORMAT if column.kind in _WRITTEN_AS_TEXT else "General"


def _column(page: Any, place: int, column: Column) -> None:
    """Format a whole column, so that a row far down is like the first."""
    dimension = page.column_dimensions[get_column_letter(place)]
    width = _WIDE.get(column.name, _WIDTHS[column.kind])
    while any(_too_tall(choice, width) for choice in choices(column)):
        width += 1
    dimension.width = width
    dimension.number_format = _format(column)
    dimension.protection = style.OPEN
    dimension.font = style.BODY
    dimension.alignment = style.SPOKEN if _is_spoken(column) else style.CENTERED


def _too_tall(text: str, width: int) -> bool:
    """Tell whether a header breaks a word, or takes more lines than its row has."""
    longest = max(len(word) for word in text.split())
    return longest + 2 > width or style.lines(text, width - 2) > _HEADER_LINES


def _header(page: Any, place: int, column: Column, text: str) -> None:
    cell = page.cell(1, place)
    put_text(cell, text)
    style.dress(
        cell,
        style.REVERSED if column.required else style.STRONG,
        style.DEEP if column.required else style.PALE,
        style.RULED,
    )
    cell.alignment = style.HEADED
    page.row_dimensions[1].height = _HEADER_HEIGHT
    validation = DataValidation(
        showInputMessage=True, promptTitle=column.name, prompt=words.about(column)
    )
    may_be = choices(column)
    if len(may_be) > 1:
        cell.protection = style.OPEN
        validation.type, validation.formula1 = "list", f'"{",".join(may_be)}"'
        validation.showErrorMessage = True
        validation.errorTitle, validation.error = column.name, f"Pick one of {', '.join(may_be)}."
    validation.add(cell.coordinate)
    page.add_data_validation(validation)


def _validate(page: Any, place: int, column: Column, ids: str | None) -> None:
    letter = get_column_letter(place)
    if column.name == UNIT.name and ids is not None:
        validation = DataValidation(type="list", formula1=ids, errorStyle="warning")
        validation.error = words.UNKNOWN_ID
    else:
        found = rule(column, f"{letter}2", f"{letter}$1")
        if found is None:
            return
        validation = DataValidation(type=found.kind, formula1=found.first, formula2=found.second)
        if found.second is not None:
            validation.operator = "between"
        validation.error = words.refusal(column)
    validation.allow_blank = True
    validation.showErrorMessage = True
    validation.errorTitle = column.name
    if words.prompt(column):
        validation.showInputMessage = True
        validation.promptTitle, validation.prompt = column.name, words.prompt(column)
    validation.add(f"{letter}2:{letter}{_LAST_ROW}")
    page.add_data_validation(validation)


def _widen(dimension: Any, cells: Sequence[Filled]) -> None:
    longest = max((len(cell_text(value)) for value in cells), default=0)
    dimension.width = max(dimension.width, min(longest + 2, _WIDEST))


def _write(cell: Any, value: Filled) -> None:
    if isinstance(value, str):
        put_text(cell, value)
    elif isinstance(value, date):
        cell.value = date(value.year, value.month, value.day)
    elif value is not None:
        cell.value = value


def _rows_of_a_page(page: Any, system: str) -> int:
    """Return how many rows print on one page as a form to be filled in by hand."""
    paper = style.PAPERS[system]
    wide = (paper.long - 2 * style.MARGIN_INCHES) * _POINTS
    high = (paper.short - 4 * style.MARGIN_INCHES) * _POINTS
    scale = min(1.0, wide / sum(_CHARACTER * one.width for one in page.column_dimensions.values()))
    return int((high / scale - _HEADER_HEIGHT) / _ROW_HEIGHT)


def _is_spoken(column: Column) -> bool:
    return column.kind is Kind.TEXT and not column.key


def _ruled_rows(page: Any, width: int, rows: int) -> None:
    """Rule rows; a cell of its own does not take its column's format, so it is said again."""
    # Said of the sheet and not of each row, so that a row still grows with a long remark.
    page.sheet_format.defaultRowHeight, page.sheet_format.customHeight = _ROW_HEIGHT, True
    for row in range(2, rows + 2):
        for place in range(1, width + 1):
            cell = page.cell(row, place)
            like = page.column_dimensions[get_column_letter(place)]
            style.dress(cell, style.BODY, border=style.RULED)
            cell.alignment = copy(like.alignment)
            cell.number_format = like.number_format
            cell.protection = style.OPEN


def _mark_missing(page: Any, sheet: Sheet) -> None:
    """Shade a cell that must be filled in a row that has something in it."""
    end = get_column_letter(len(sheet.columns))
    for place, column in enumerate(sheet, start=1):
        if column.required:
            letter = get_column_letter(place)
            formula = f"AND(ISBLANK(${letter}2),COUNTA($A2:${end}2)>0)"
            shade = Rule("expression", formula=[formula], dxf=style.MISSING)
            page.conditional_formatting.add(f"{letter}2:{letter}{_LAST_ROW}", shade)


def _open_beyond(page: Any, width: int) -> None:
    """Leave the columns beyond to the person: own notes, and rows may be deleted whole."""
    letter = get_column_letter(width + 1)
    beyond = ColumnDimension(page, index=letter, min=width + 1, max=_LAST_COLUMN)
    beyond.protection = style.OPEN
    page.column_dimensions[letter] = beyond


def range_of_ids(sheet: str, letter: str) -> str:
    """Return the formula of the ids written in a column of a sheet, without the blanks below."""
    whole = f"'{sheet}'!${letter}$2:${letter}${_LAST_ROW}"
    return f"OFFSET('{sheet}'!${letter}$2,0,0,MAX(1,COUNTA({whole})),1)"


def fill_lists(page: Any, ids: Sequence[str], *, system: str) -> None:
    """Lay out the page of ids that are not all on the sheet of units."""
    cell = page.cell(1, 1)
    put_text(cell, "Ids in the drop-down lists; add new ones below")
    style.dress(cell, style.REVERSED, style.DEEP)
    cell.alignment = style.HEADED
    page.column_dimensions["A"].width = 30
    page.column_dimensions["A"].number_format = _TEXT_FORMAT
    page.row_dimensions[1].height = _HEADER_HEIGHT
    for row, text in enumerate(ids, start=2):
        cell = page.cell(row, 1)
        put_text(cell, text)
        cell.number_format = _TEXT_FORMAT
        cell.font = style.BODY
    page.freeze_panes = "A2"
    page.print_title_rows = "1:1"
    style.paper(page, system=system, landscape=False)

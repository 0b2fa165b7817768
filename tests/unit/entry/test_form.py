"""The form: what it lets somebody type is what the reader takes, and spreadsheets can hold it."""

from pathlib import Path
from typing import Any

import openpyxl
import pytest

from wearstats.plans.cautions import CAUTIONS
from wearstats.records.cells import cell_text
from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.headers import understood
from wearstats.records.pages import GUIDE_PAGE
from wearstats.records.schema import SHEETS
from wearstats_reports.entry import write_entry_workbook
from wearstats_reports.entry.example import EXAMPLE, example
from wearstats_reports.entry.headers import choices, first_unit, header, units
from wearstats_reports.entry.limits import rule, spans

COLUMNS = [
    pytest.param(sheet, column, id=f"{sheet.name}-{column.base}")
    for sheet in SHEETS.values()
    for column in sheet
]
LAST_ROW = 1_048_576


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> openpyxl.Workbook:
    made = write_entry_workbook(tmp_path_factory.mktemp("form") / "entry.xlsx")
    return openpyxl.load_workbook(made.path)


def validation(page: Any, cell: str) -> Any:
    found = [one for one in page.data_validations.dataValidation if cell in one.sqref]
    return found[0] if found else None


@pytest.mark.parametrize(("sheet", "column"), COLUMNS)
def test_every_header_one_may_pick_is_understood_as_that_unit(sheet: Sheet, column: Column) -> None:
    offered = {}
    for unit in units(column) or (None,):
        heading = understood(header(column, unit), sheet.name)
        assert heading is not None
        assert heading.column == column
        assert heading.headed == (unit.name if unit is not None else None)
        offered[header(column, unit)] = unit
    assert tuple(offered) == choices(column)
    if column.quantity is not None:
        assert {unit.name for unit in column.quantity.units} == {
            unit.name for unit in offered.values() if unit is not None
        }


def test_each_sheet_has_the_columns_of_the_schema_and_nothing_else(book: openpyxl.Workbook) -> None:
    assert book.sheetnames == [GUIDE_PAGE, *SHEETS]
    for name, sheet in SHEETS.items():
        page: Any = book[name]
        found = [understood(str(cell.value), name) for cell in page[1]]
        assert [one.column.name for one in found if one and one.column] == [
            column.name for column in sheet
        ]
        assert all(cell.value is None for row in page.iter_rows(min_row=2) for cell in row)
        assert page.freeze_panes == {"units": "B2"}.get(name, "C2")
        assert page.print_title_rows == "$1:$1"
        assert (page.page_setup.orientation, page.page_setup.fitToWidth) == ("landscape", 1)
        assert page.sheet_properties.pageSetUpPr.fitToPage


def test_paper_and_units_follow_the_system(tmp_path: Path) -> None:
    made = write_entry_workbook(tmp_path / "entry.xlsx", system="metric")
    page: Any = openpyxl.load_workbook(made.path)["runs"]
    headers = [cell.value for cell in page[1]]
    assert {"boost [kPa]", "tip [mm]", "air temperature [°C]", "barometer [kPa]"} <= set(headers)
    # Paper 9 is A4, 1 Letter (ECMA-376 part 1, 18.3.1.63, paperSize; from memory).
    assert page.page_setup.paperSize == 9


def test_texts_are_as_short_as_spreadsheets_ask(book: openpyxl.Workbook) -> None:
    # Limits of the validation dialog of common spreadsheets, from memory: title 32, text 255 (an
    # error 225), a formula or a list 255. A longer one makes the file "damaged".
    for name in SHEETS:
        page: Any = book[name]
        for one in page.data_validations.dataValidation:
            assert len(one.promptTitle or "") <= 32
            assert len(one.errorTitle or "") <= 32
            assert len(one.prompt or "") <= 255
            assert len(one.error or "") <= 225, one.error
            assert len(one.formula1 or "") <= 255, one.formula1
            assert "{" not in (one.formula1 or ""), "constants in braces are refused there"
            if (one.formula1 or "").startswith('"'):
                assert all(item.strip() == item for item in one.formula1.strip('"').split(","))


@pytest.mark.parametrize(("sheet", "column"), COLUMNS)
def test_every_column_says_what_it_is_and_checks_to_the_last_row(
    book: openpyxl.Workbook, sheet: Sheet, column: Column
) -> None:
    page: Any = book[sheet.name]
    letter = next(cell.column_letter for cell in page[1] if _names(cell.value, sheet, column))
    head = validation(page, f"{letter}1")
    assert head.prompt.startswith(column.meaning)
    assert (head.type == "list") == (len(units(column)) > 1)
    cells = validation(page, f"{letter}2")
    if column.kind is Kind.TEXT and not column.key:
        assert cells is None
        return
    assert validation(page, f"{letter}{LAST_ROW}") == cells
    assert cells.error
    if column.kind is Kind.CHOICE:
        assert cells.formula1.strip('"').split(",") == list(column.choices or ())


def _names(text: str, sheet: Sheet, column: Column) -> bool:
    heading = understood(text, sheet.name)
    return heading is not None and heading.column == column


def test_cells_keep_what_is_typed(book: openpyxl.Workbook) -> None:
    # A text cell keeps 3/4; else a spreadsheet makes it a day in March.
    formats = {"text": "@", "reading": "@", "choice": "@", "date": "yyyy-mm-dd"}
    for name, sheet in SHEETS.items():
        page: Any = book[name]
        for place, column in enumerate(sheet, start=1):
            expected = formats.get(column.kind.value, "General")
            letter = page.cell(1, place).column_letter
            assert page.cell(2, place).number_format == expected
            assert page.column_dimensions[letter].number_format == expected


def test_only_headers_that_cannot_be_switched_are_locked(book: openpyxl.Workbook) -> None:
    for name, sheet in SHEETS.items():
        page: Any = book[name]
        assert page.protection.sheet
        assert not page.protection.password
        assert not page.protection.insertRows
        assert not page.protection.deleteRows
        assert not page.protection.sort
        for place, column in enumerate(sheet, start=1):
            letter = page.cell(1, place).column_letter
            assert page.cell(1, place).protection.locked == (len(units(column)) < 2)
            assert not page.cell(2, place).protection.locked
            assert not page.column_dimensions[letter].protection.locked
        beyond = page.cell(1, len(sheet.columns) + 1).column_letter
        assert not page.column_dimensions[beyond].protection.locked
    assert book[GUIDE_PAGE].protection.sheet


def test_the_guide_has_the_cautions_an_example_marked_as_such_and_every_column(
    book: openpyxl.Workbook,
) -> None:
    page: Any = book[GUIDE_PAGE]
    texts = [cell_text(cell.value) for row in page.iter_rows() for cell in row]
    assert set(CAUTIONS) <= set(texts)
    assert texts.count("EXAMPLE, not read") == len(SHEETS)
    assert any("Unprotect Sheet" in text for text in texts)
    for sheet in SHEETS.values():
        for column in sheet:
            assert header(column, first_unit(column, "inch")) in texts
            assert any(text.startswith(column.meaning) for text in texts)
            shown = EXAMPLE[sheet.name].get(column.name)
            assert shown is None or shown in texts


def test_the_example_fills_every_column_but_those_that_would_say_it_twice() -> None:
    left = {
        f"{sheet.name} {column.name}"
        for sheet in SHEETS.values()
        for column in sheet
        if example(sheet, column, first_unit(column, "inch")) is None
    }
    # Go and no-go say it already; K3 is in use.
    assert left == {"readings value", "units retired"}
    for sheet in SHEETS.values():
        assert set(EXAMPLE[sheet.name]) <= {column.name for column in sheet}


def test_limits_are_said_in_every_unit() -> None:
    runs = SHEETS["runs"]
    # 1 psi = 6.894757 kPa (NIST SP 811, appendix B.8).
    assert spans(runs.column("boost")) == "0 to 100 psi (0 to 689.5 kPa, 0 to 6.895 bar)"
    assert spans(runs.column("run")) == "1 to 99"
    assert spans(runs.column("engine speed")) == "500 to 15000 rpm"
    assert rule(runs.column("remark"), "A2", "A$1") is None

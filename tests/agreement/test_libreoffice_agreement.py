"""The entry workbook in LibreOffice: opened, saved, and its limits worked out by its own engine."""

import shutil
import subprocess
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pandas as pd
import pytest

from wearstats.book import Book
from wearstats.records.cells import Cell, Fault
from wearstats.records.columns import Column, Kind
from wearstats.records.schema import SHEETS
from wearstats.records.season import Season
from wearstats.records.values import cell_reader
from wearstats.units import PERCENT
from wearstats_reports.entry import write_entry_workbook
from wearstats_reports.entry.example import example
from wearstats_reports.entry.headers import first_unit, header, units
from wearstats_reports.entry.limits import rule

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
pytestmark = pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed")

UTF_8_CSV = "csv:Text - txt - csv (StarCalc):44,34,76"
EVERY_SHEET_AS_CSV = f"{UTF_8_CSV},1,,0,false,true,false,false,false,-1"


def convert(path: Path, to: str, folder: Path) -> None:
    subprocess.run(
        [
            str(SOFFICE),
            "--headless",
            f"-env:UserInstallation={(folder.parent / 'profile').as_uri()}",
            "--convert-to",
            to,
            "--outdir",
            str(folder),
            str(path),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )


def season(book: Path, *files: Path) -> Season:
    with Book.create(book) as opened:
        for file in files:
            result = opened.log(file)
            assert result.set_aside == 0, result.findings
        return opened.season()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The workbook with the example typed in under metric headers."""
    path = tmp_path_factory.mktemp("filled") / "entry.xlsx"
    write_entry_workbook(path, system="metric")
    book = openpyxl.load_workbook(path)
    for name, sheet in SHEETS.items():
        page: Any = book[name]
        for place, column in enumerate(sheet, start=1):
            page.cell(2, place).value = example(sheet, column, first_unit(column, "metric"))
    book.save(path)
    return path


def same(one: Season, other: Season) -> None:
    for name in SHEETS:
        assert len(getattr(one, name)) == 1
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), rtol=1e-9)


def test_saved_by_libreoffice_it_reads_the_same_and_is_still_a_form(
    filled: Path, tmp_path: Path
) -> None:
    out = tmp_path / "saved"
    convert(filled, "xlsx", out)
    same(season(tmp_path / "a.book", filled), season(tmp_path / "b.book", out / "entry.xlsx"))
    before, after = (openpyxl.load_workbook(path) for path in (filled, out / "entry.xlsx"))
    assert before.sheetnames == after.sheetnames
    for name in SHEETS:
        was, now = before[name], after[name]
        assert [cell.value for cell in was[1]] == [cell.value for cell in now[1]][: was.max_column]
        # Without a window it writes no frozen panes; the rest of the form is kept.
        assert now.protection.sheet
        assert not now.protection.password
        assert not now["A2"].protection.locked
        kinds = [_kinds(page) for page in (was, now)]
        assert kinds[0] == kinds[1]


def _kinds(page: Any) -> list[tuple[str, str]]:
    """Return kind and message of each validation that checks something."""
    return sorted(
        (one.type, one.error or "")
        for one in page.data_validations.dataValidation
        if one.type not in {None, "none"}
    )


def test_saved_as_csv_it_reads_the_same(filled: Path, tmp_path: Path) -> None:
    out = tmp_path / "saved"
    convert(filled, EVERY_SHEET_AS_CSV, out)
    files = [out / f"entry-{name}.csv" for name in SHEETS]
    same(season(tmp_path / "a.book", filled), season(tmp_path / "b.book", *files))


class Case(NamedTuple):
    sheet: str
    column: Column
    header: str
    unit: str
    typed: Cell


READINGS = ("3/4", "3-4", "<2", ">8", "4", "0.10 mm", '.004"', "0", "0.1", "0.19", "0.21", "-3-4")


def cases() -> list[Case]:
    """Return bare numbers about every limit, in every unit, and readings as people write them."""
    found = []
    for name, sheet in SHEETS.items():
        for column in sheet:
            for unit in units(column):
                text = header(column, unit)
                low, high = column.limits or (0.0, 1.0)
                ends = [0.0, (low + high) / 2, *_about(low), *_about(high)]
                if unit == units(column)[0]:
                    # Converted, an end itself may fall on either side by its last digit.
                    ends += [low, high]
                asked = column.ask_below or 1.0
                for kept in (*ends, 0.9 * asked, 1.1 * asked, -0.9 * asked):
                    typed: Cell = float(f"{unit.show(kept):.9g}")
                    if column.kind is Kind.GO_NO_GO:
                        typed = f"{typed:.9f}"
                    found.append(Case(name, column, text, unit.name, typed))
                if column.kind is Kind.GO_NO_GO and unit.name == "thou":
                    found.extend(Case(name, column, text, unit.name, one) for one in READINGS)
                found.append(Case(name, column, text, unit.name, f"7 {unit.name}"))
    return found


def _about(end: float) -> tuple[float, float]:
    step = max(abs(end), 1.0) * 0.01
    return end - step, end + step


def test_a_limit_refuses_what_the_reader_would_set_aside_and_nothing_else(tmp_path: Path) -> None:
    asked = cases()
    book = openpyxl.Workbook()
    page: Any = book.active
    for place, one in enumerate(asked):
        # Three rows a case: its header, the cell, and its rule as a formula.
        row = 3 * place + 1
        page.cell(row, 1).value = one.header
        page.cell(row + 1, 1).value = one.typed
        found = rule(one.column, f"A{row + 1}", f"A{row}")
        assert found is not None
        assert found.kind == "custom"
        page.cell(row + 2, 1).value = f"=IF({found.first},1,0)"
    book.save(tmp_path / "rules.xlsx")
    convert(tmp_path / "rules.xlsx", UTF_8_CSV, tmp_path / "out")
    lines = (tmp_path / "out" / "rules.csv").read_text(encoding="utf-8").splitlines()
    verdicts = lines[2::3]
    assert len(verdicts) == len(asked)
    refused = 0
    for one, verdict in zip(asked, verdicts, strict=True):
        read = cell_reader(one.column, headed=one.unit)(one.typed)
        taken = not isinstance(read, Fault)
        refused += not taken
        # A typed 38% is held as 0.38, which only the reader can tell from a bare 0.38.
        asked_about = isinstance(read, Fault) and read.code == "unit-doubt"
        if _left_to_the_reader(one) or (asked_about and one.column.quantity is PERCENT):
            assert verdict == "1", one
        else:
            assert verdict == ("1" if taken else "0"), (one, read)
    assert refused > 100
    assert refused < len(asked) - 100


def _left_to_the_reader(one: Case) -> bool:
    """Tell whether it is text that carries a unit, or a reading with a minus."""
    if not isinstance(one.typed, str):
        return False
    return (
        one.column.kind is not Kind.GO_NO_GO
        or "-" in one.typed
        or not one.typed.replace(".", "").isdigit()
    )


def test_dates_lists_and_counts_are_checked_by_kind() -> None:
    # Those rules need no formula of ours: the spreadsheet's own kinds hold the limits.
    kinds = {Kind.DATE: "date", Kind.CHOICE: "list", Kind.COUNT: "whole"}
    for sheet in SHEETS.values():
        for column in sheet:
            found = rule(column, "A2", "A$1")
            if column.kind in kinds:
                assert found is not None
                assert found.kind == kinds[column.kind]
            if column.kind is Kind.COUNT and column.limits and found:
                assert (found.first, found.second) == tuple(f"{end:g}" for end in column.limits)

import os
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from wearstats.errors import RecordError
from wearstats.records.dictionary import data_dictionary
from wearstats.records.read import read_sheets
from wearstats.records.schema import SHEETS
from wearstats.records.write import sheet_names, write_csv, write_workbook

FORMULAS = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", '=HYPERLINK("x")', "#REF!", "'=1"]


def frame() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "date": [date(2026, 5, 3)] * len(FORMULAS),
            "unit": FORMULAS,
            "boost": [30.5, None, -4.0, 1, 2, 3, 4, 5],
            "remark": ["a\x00b", None, "-4.5", "ü", "x,y", 'q"q', "two\nlines", ""],
        }
    )


def test_text_never_becomes_a_formula_in_a_workbook(tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", {"runs": frame()})
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    sheet: Any = book["runs"]
    cells = [sheet.cell(row, 2) for row in range(2, len(FORMULAS) + 2)]
    assert [cell.value for cell in cells] == FORMULAS
    assert {cell.data_type for cell in cells} == {"s"}
    assert all(cell.quotePrefix for cell in cells)
    assert sheet.cell(2, 1).is_date
    assert sheet.cell(2, 4).value == "a\u2400b"
    assert sheet.cell(3, 3).value is None


def test_text_never_becomes_a_formula_in_csv(tmp_path: Path) -> None:
    write_csv(tmp_path / "runs.csv", frame())
    lines = (tmp_path / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1].split(",")[:3] == ["2026-05-03", "'=1+1", "30.5"]
    assert lines[3].split(",")[1:] == ["'-1+1", "-4", "-4.5"]


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    write_csv(tmp_path / "runs.csv", frame())
    write_workbook(tmp_path / "runs.xlsx", {"runs": frame()})
    for name in ("runs.csv", "runs.xlsx"):
        (raw,) = read_sheets(tmp_path / name)
        cells = [row for chunk in raw.chunks for row in chunk.cells]
        assert [row[1] for row in cells] == FORMULAS
        assert [row[3] or "" for row in cells][1:] == frame()["remark"].fillna("").tolist()[1:]


def test_a_failed_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    write_csv(path, frame())
    before = path.read_bytes()

    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wearstats.records.write.csv_text", full)
    with pytest.raises(RecordError, match=r"a\.csv: it cannot be written"):
        write_csv(path, frame())
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["a.csv"]


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot be written"):
        write_workbook(tmp_path / "none" / "a.xlsx", {"runs": frame()})


def test_sheet_names_that_a_workbook_takes(tmp_path: Path) -> None:
    odd = ["a/b:c*?[x]\\", "", "'", "x" * 40, "X" * 40, "a b c   x"]
    assert len({name.casefold() for name in sheet_names(odd)}) == len(odd)
    write_workbook(tmp_path / "a.xlsx", dict.fromkeys(odd, frame()))
    assert len(openpyxl.load_workbook(tmp_path / "a.xlsx").sheetnames) == len(odd)


def test_no_sheets_make_an_empty_workbook(tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", {})
    assert openpyxl.load_workbook(tmp_path / "a.xlsx").sheetnames == ["empty"]


def test_the_dictionary_has_a_row_for_every_column() -> None:
    page = data_dictionary()
    rows = [line for line in page.splitlines() if line.startswith("| ")]
    columns = [column for sheet in SHEETS.values() for column in sheet]
    assert len(rows) == len(columns) + 2 * len(SHEETS)
    for column in columns:
        for said in (*column.fields, column.meaning, *column.aliases, *(column.choices or ())):
            assert said in page
    # Every table is one: the same number of bars, escaped ones aside, in each of its lines.
    assert {line.replace("\\|", "").count("|") for line in rows} == {7}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_written_into_and_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    end = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_csv(pipe, frame())
        write_csv(tmp_path / "file.csv", frame())
        assert os.read(end, 100_000) == (tmp_path / "file.csv").read_bytes()
    finally:
        os.close(end)
    assert pipe.is_fifo()

import zipfile
from collections.abc import Callable
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from wearstats.errors import RecordError
from wearstats.records.cells import Cell, Uncomputed
from wearstats.records.columnmap import ColumnMap
from wearstats.records.raw import RawSheet
from wearstats.records.read import read_sheets


def raw_of(path: Path) -> RawSheet:
    (raw,) = read_sheets(path)
    return raw


def rows_of(raw: RawSheet) -> list[tuple[int, list[Cell]]]:
    return [
        (row, list(cells))
        for chunk in raw.chunks
        for row, cells in zip(chunk.rows, chunk.cells, strict=True)
    ]


def csv_file(tmp_path: Path, text: str, encoding: str = "utf-8", name: str = "runs.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def workbook(tmp_path: Path, fill: Callable[[Any], None], name: str = "book.xlsx") -> Path:
    book = openpyxl.Workbook()
    fill(book)
    book.save(tmp_path / name)
    return tmp_path / name


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"], ids=["lf", "crlf", "cr"])
def test_encodings_delimiters_and_line_ends(
    tmp_path: Path, encoding: str, delimiter: str, line_end: str
) -> None:
    lines = (["date", "unit", "Air °F"], ["2026-05-03", "Kü", "85"])
    text = line_end.join(delimiter.join(line) for line in lines) + line_end
    raw = raw_of(csv_file(tmp_path, text, encoding))
    assert raw.headers == ("date", "unit", "Air °F")
    assert rows_of(raw) == [(2, ["2026-05-03", "Kü", "85"])]
    assert [note.code for note in raw.notes] == (["encoding"] if encoding == "cp1252" else [])


def test_decimal_commas_do_not_mislead_the_delimiter(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "date;unit;tip\n2026-05-03;K1;0,10 mm\n2026-05-04;K1;0,1\n"))
    assert rows_of(raw)[0] == (2, ["2026-05-03", "K1", "0,10 mm"])


def test_blank_lines_count_in_row_numbers_and_not_as_rows(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "\ndate,unit\n\n2026-05-03,K1\n , \n2026-05-04,K1\n"))
    assert [row for row, _ in rows_of(raw)] == [4, 6]
    assert raw.header_row == 2


def test_a_quoted_line_break_is_one_row(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, 'date,unit,remark\n2026-05-03,K1,"a\nb"\n2026-05-04,K1,c\n'))
    assert [row for row, _ in rows_of(raw)] == [2, 3]


def test_ragged_rows_are_kept_apart_by_number(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "date,unit\n2026-05-03\n2026-05-03,K1,x\n2026-05-03,K1,\n"))
    (chunk,) = raw.chunks
    assert [row for row, _ in chunk.ragged] == [2, 3]
    assert chunk.rows == [4]


def test_title_lines_above_the_headers_are_noted(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "Season of K1\n\ndate,unit,tip\n2026-05-03,K1,4\n"))
    assert (raw.header_row, raw.first_row) == (3, 4)
    assert [note.code for note in raw.notes] == ["title-lines"]


def test_a_column_map_helps_to_find_the_headers(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "my season,,\nTag,Bl,Spalt\n2026-05-03,K1,4\n")
    column_map = ColumnMap.model_validate(
        {"columns": {"Tag": "date", "Bl": "unit", "Spalt": "tip"}}
    )
    (raw,) = read_sheets(path, column_map=column_map)
    assert raw.header_row == 2


def test_the_protecting_apostrophe_is_taken_off(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "date,unit,remark\n2026-05-03,K1,'=x\n2026-05-03,K1,'tis\n"))
    assert [cells[2] for _, cells in rows_of(raw)] == ["=x", "'tis"]


def test_chunks_can_be_read_again(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "date,unit\n2026-05-03,K1\n"))
    assert rows_of(raw) == rows_of(raw)


def bomb(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("hello.txt", "hello")


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", b"", "empty"),
        ("a.csv", b"\xef\xbb\xbf", "empty"),
        ("a.csv", b"\n \n", "empty"),
        ("a.csv", b"date,unit\n", "no row below"),
        ("a.csv", b"PK\x03\x04rest", "not what its name says"),
        ("a.csv", b"PAR1rest", "not what its name says"),
        ("a.xlsx", b"date,unit\n2026-05-03,K1\n", "not what its name says"),
        ("a.xlsx", b"PK\x03\x04broken", "damaged"),
        ("a.parquet", b"PAR1broken", "damaged"),
        ("a.parquet", b"date,unit", "not what its name says"),
        ("a.xlsx", bytes.fromhex("d0cf11e0a1b11ae1") + b"x", "password"),
        ("a.csv", b"date,unit\n\x00\x01\x02", "not text"),
        ("a.csv", b"date,unit\n\x81\x8d", "not text"),
        ("a.csv", b"\xff\xfed\x00a", "not text"),
        ("a.ods", b"x", "not read"),
        ("a", b"x", "not read"),
    ],
)
def test_a_file_that_cannot_be_read_is_named(
    tmp_path: Path, name: str, content: bytes, said: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RecordError, match=said) as caught:
        list(read_sheets(path))
    (finding,) = caught.value.findings
    assert finding.file == name
    assert finding.expected


def test_missing_files_and_folders(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="no such file"):
        list(read_sheets(tmp_path / "none.csv"))
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(RecordError, match="folder"):
        list(read_sheets(tmp_path / "folder.csv"))


def test_a_quote_never_closed_is_refused_with_its_line(tmp_path: Path) -> None:
    path = csv_file(tmp_path, 'date,unit\n2026-05-03,"K1\n2026-05-04,K1\n')
    with pytest.raises(RecordError, match="quote"):
        list(raw_of(path).chunks)


def test_a_zip_that_is_no_workbook(tmp_path: Path) -> None:
    bomb(tmp_path / "a.xlsx")
    with pytest.raises(RecordError, match="no workbook"):
        list(read_sheets(tmp_path / "a.xlsx"))


def test_a_workbook_that_unpacks_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = workbook(tmp_path, lambda book: book.active.append(["date", "unit"]))
    monkeypatch.setattr("wearstats.records.read_workbook.MOST_BYTES", 1000)
    with pytest.raises(RecordError, match="unpacks to more"):
        list(read_sheets(path))


def test_defusedxml_guards_openpyxl() -> None:
    assert openpyxl.DEFUSEDXML


def test_an_entity_in_a_workbook_is_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path, lambda book: book.active.append(["date", "unit"]))
    evil = tmp_path / "evil.xlsx"
    with zipfile.ZipFile(path) as good, zipfile.ZipFile(evil, "w") as bad:
        for member in good.infolist():
            content = good.read(member)
            if member.filename.startswith("xl/worksheets/"):
                content = b'<!DOCTYPE x [<!ENTITY a "aa">]>' + content
            bad.writestr(member.filename, content)
    with pytest.raises(RecordError, match="damaged"):
        list(read_sheets(evil))


def test_cells_of_a_workbook(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        sheet = book.active
        sheet.title = "runs"
        sheet.append(["date", "unit", "overdrive", "tip", "remark"])
        sheet.append([date(2026, 5, 3), 2, 0.4, "=1+3", time(3, 4)])
        sheet["C2"].number_format = "0%"
        sheet.append([datetime(2026, 5, 4, 3, 4), "K1", 40, True, "#REF!"])  # noqa: DTZ001
        book.create_sheet("empty")

    (raw,) = read_sheets(workbook(tmp_path, fill))
    assert raw.alone
    assert rows_of(raw) == [
        (2, [datetime(2026, 5, 3), 2, "40%", Uncomputed("=1+3"), "03:04:00"]),  # noqa: DTZ001
        (3, [datetime(2026, 5, 4, 3, 4), "K1", 40, True, "#REF!"]),  # noqa: DTZ001
    ]


def test_short_rows_of_a_workbook_only_lack_blanks(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        book.active.append(["date", "unit", "tip", "", "remark"])
        book.active.append(["2026-05-03", "K1"])
        book.active.append([])
        book.active.append(["2026-05-03", "K1", 4, None, "x", "beyond"])

    (chunk,) = raw_of(workbook(tmp_path, fill)).chunks
    assert chunk.rows == [2]
    assert [row for row, _ in chunk.ragged] == [4]


def test_an_empty_workbook(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="empty"):
        list(read_sheets(workbook(tmp_path, lambda book: book.create_sheet("more"))))


def test_parquet(tmp_path: Path) -> None:
    path = tmp_path / "runs.parquet"
    frame = pd.DataFrame(
        {"date": [date(2026, 5, 3)], "unit": ["K1"], "boost (psi)": [30.5], "odd": [[1, 2]]}
    )
    frame.to_parquet(path)
    raw = raw_of(path)
    assert raw.headers == ("date", "unit", "boost (psi)", "odd")
    assert rows_of(raw) == [(2, [date(2026, 5, 3), "K1", 30.5, "[1, 2]"])]


def test_a_hidden_sheet_is_read_and_said_to_be_hidden(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        book.active.append(["date", "unit"])
        book.active.append([date(2026, 5, 3), "K1"])
        backup = book.create_sheet("Backup")
        backup.sheet_state = "hidden"
        backup.append(["date", "unit"])
        backup.append([date(2026, 5, 4), "K1"])

    shown, backup = read_sheets(workbook(tmp_path, fill))
    assert shown.notes == ()
    assert [note.code for note in backup.notes] == ["sheet-hidden"]
    assert len(rows_of(backup)) == 1


def test_a_name_that_lies_is_told_what_the_content_is_not(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "date,unit\n2026-05-03,K1\n", name="runs.xlsx")
    with pytest.raises(RecordError, match="its content is not a workbook"):
        list(read_sheets(path))


def test_bytes_in_no_known_encoding_are_kept_in_sight(tmp_path: Path) -> None:
    path = tmp_path / "runs.parquet"
    pd.DataFrame({"date": ["2026-05-03"], "unit": ["K1"], "remark": [b"a\xff"]}).to_parquet(path)
    assert rows_of(raw_of(path)) == [(2, ["2026-05-03", "K1", r"a\xff"])]


def test_titles_are_counted_in_good_english(tmp_path: Path) -> None:
    raw = raw_of(csv_file(tmp_path, "Season,\nShop,\nLake,\ndate,unit\n2026-05-03,K1\n"))
    (note,) = raw.notes
    assert "rows 1, 2 and 3 were read as titles" in note.message

from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from wearstats.errors import RecordError
from wearstats.records import raw as raw_module
from wearstats.records.columnmap import ColumnMap
from wearstats.records.findings import Severity
from wearstats.records.kinds import Settings
from wearstats.records.read import read_sheets
from wearstats.records.schema import SHEETS
from wearstats.records.spellings import UnitSpellings
from wearstats.records.take import take
from wearstats.records.taken import Taken, field_dtype


def taken_all(
    path: Path, settings: Settings | None = None, spellings: UnitSpellings | None = None
) -> list[Taken]:
    settings = settings or Settings()
    spellings = spellings if spellings is not None else UnitSpellings()
    return [
        taken
        for raw in read_sheets(path, column_map=settings.column_map)
        for taken in take(raw, settings, spellings)
    ]


def taken_of(
    tmp_path: Path,
    text: str,
    settings: Settings | None = None,
    spellings: UnitSpellings | None = None,
    name: str = "runs.csv",
) -> Taken:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    (taken,) = taken_all(path, settings, spellings)
    return taken


def codes(taken: Taken) -> dict[int, list[str]]:
    return {row.row: [finding.code for finding in row.findings] for row in taken.aside}


def test_rows_are_taken_in_canonical_form(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path, "Date,Blower,Boost (kPa),Tip,Strips\n2026-05-03,K1,200,3/4,OK\n3 May 2026,K2,,,\n"
    )
    assert taken.kind == "runs"
    assert taken.frame["unit"].tolist() == ["K1", "K2"]
    # 200 kPa / 6.894757 kPa = 29.00755 psi
    assert taken.frame["boost_psi"].tolist() == pytest.approx([29.00755, np.nan], nan_ok=True)
    assert taken.frame["tip_low_thou"].tolist() == pytest.approx([3, np.nan], nan_ok=True)
    assert taken.frame["strips"].tolist() == ["sound", None]
    assert taken.frame["run"].tolist() == [1, 1]
    assert taken.frame["date"].tolist() == [pd.Timestamp("2026-05-03")] * 2
    assert taken.frame["_row"].tolist() == [2, 3]
    assert taken.frame["_cells"][0] == {
        "Date": "2026-05-03",
        "Blower": "K1",
        "Boost (kPa)": "200",
        "Tip": "3/4",
        "Strips": "OK",
    }
    sheet = SHEETS["runs"]
    assert list(taken.frame.columns) == [*sheet.fields, "_row", "_cells", "_aside"]
    for field in sheet.fields:
        assert taken.frame[field].dtype == field_dtype(sheet, field)


def test_a_finding_says_where_and_what(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,unit,Boost\n2026-05-03,K1,900 psi\n")
    (row,) = taken.aside
    (finding,) = row.findings
    assert finding.as_dict() == {
        "code": "value-range",
        "message": "900 psi is outside 0 to 100 psi",
        "severity": Severity.ASIDE,
        "file": "runs.csv",
        "sheet": "runs",
        "row": 2,
        "column": "Boost",
        "value": "900 psi",
        "expected": "0 to 100 psi",
    }
    assert row.cells["Boost"] == "900 psi"


def test_blank_runs_are_numbered_as_written_also_past_rows_set_aside(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path,
        "date,unit,tip\n2026-05-03,K1,4\n2026-05-03,K2,4\n2026-05-03,K1,tight\n2026-05-03,K1,5\n",
    )
    assert taken.frame["run"].tolist() == [1, 1, 3]
    assert taken.aside[0].cells["run"] == "2"


def test_some_numbered_and_some_not_is_asked_about(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path,
        "date,unit,run,tip\n2026-05-03,K1,,4\n2026-05-03,K1,2,4\n2026-05-04,K1,,4\n",
    )
    assert codes(taken) == {2: ["run-number-missing"]}
    assert taken.frame["run"].tolist() == [2, 1]


def test_a_repeated_row_is_set_aside_and_names_the_first(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path,
        "date,unit,tip\n2026-05-03,K1,4\n2026-05-03,K1,5\n3 May 2026,K1,4 thou\n2026-05-03,K1,6\n",
    )
    assert codes(taken) == {4: ["duplicate-row"]}
    assert "repeats row 2" in taken.aside[0].findings[0].message
    assert taken.frame["run"].tolist() == [1, 2, 3]


def test_a_numbered_repeat_is_a_duplicate_and_a_differing_one_a_contradiction(
    tmp_path: Path,
) -> None:
    taken = taken_of(
        tmp_path,
        "date,unit,run,Tip gap,boost\n2026-05-03,K1,1,4,30\n2026-05-03,K1,1,4,30\n"
        "2026-05-03,K1,1,5,31\n",
    )
    assert codes(taken) == {3: ["duplicate-row"], 4: ["contradiction"]}
    message = taken.aside[1].findings[0].message
    assert "row 2" in message
    assert "'Tip gap' and 'boost'" in message


def test_a_row_at_fault_contradicts_nothing(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,unit,run,tip\n2026-05-03,K1,1,tight\n2026-05-03,K1,1,5\n")
    assert codes(taken) == {2: ["number-unread"]}
    assert len(taken.frame) == 1


def test_readings_alike_are_asked_about_unless_repeat_is_given(tmp_path: Path) -> None:
    head = "date,unit,what,station,go,no-go,value,repeat\n"
    taken = taken_of(
        tmp_path,
        head
        + "2026-05-03,K1,tip,front,3,4,,\n2026-05-03,K1,tip,Front,3,4,,\n"
        + "2026-05-03,K2,tip,front,3,4,,1\n2026-05-03,K2,tip,front,3,4,,2\n"
        + "2026-05-03,K3,tip,front,,,,\n2026-05-03,K3,tip,front,4,3,,\n"
        + "2026-05-03,K3,tip,front,,,-3,\n2026-05-03,K3,strip height,front,,,-3,\n",
        name="readings.csv",
    )
    assert codes(taken) == {
        3: ["duplicate-row"],
        6: ["reading-missing"],
        7: ["reading-order"],
        8: ["value-range"],
    }
    assert taken.frame["_row"].tolist() == [2, 4, 5, 9]


def test_a_unit_spelled_another_way_is_asked_about(tmp_path: Path) -> None:
    text = "date,unit\n2026-05-03,K2\n2026-05-04,K 2\n2026-05-05,k2\n2026-05-06,K2\n"
    taken = taken_of(tmp_path, text)
    assert codes(taken) == {3: ["unit-spelling"], 4: ["unit-spelling"]}
    message = taken.aside[0].findings[0].message
    assert '--join "K 2=K2"' in message
    assert '--apart "K 2"' in message
    joined = taken_of(tmp_path, text, spellings=UnitSpellings(joined={"K 2": "K2", "k2": "K2"}))
    assert joined.frame["unit"].tolist() == ["K2"] * 4
    apart = taken_of(tmp_path, text, spellings=UnitSpellings(joined={"k2": "K2"}, apart=["K 2"]))
    assert apart.frame["unit"].tolist() == ["K2", "K 2", "K2", "K2"]
    known = taken_of(tmp_path, text, spellings=UnitSpellings(known=["k2"]))
    assert codes(known) == {row: ["unit-spelling"] for row in (2, 3, 5)}
    by_map = Settings(ColumnMap.model_validate({"units_joined": {"K 2": "K2", "k2": "K2"}}))
    assert not taken_of(tmp_path, text, by_map).aside


def test_a_run_of_a_unit_in_doubt_keeps_its_place_in_the_day(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path, "date,unit,tip\n2026-05-03,K2,4\n2026-05-03,K 2,5\n2026-05-03,K2,6\n"
    )
    assert taken.frame["run"].tolist() == [1, 3]
    assert taken.aside[0].cells["run"] == "2"


def test_ragged_rows_and_cells_beyond_the_headers_are_kept(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,unit\n2026-05-03,K1\n2026-05-03,K1,x,y\n2026-05-03\n")
    assert codes(taken) == {3: ["row-ragged"], 4: ["row-ragged"]}
    assert taken.aside[0].cells == {
        "date": "2026-05-03",
        "unit": "K1",
        "column 3": "x",
        "column 4": "y",
    }


def test_unknown_headers_are_noted_and_their_cells_kept(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,unit,Bosst\n2026-05-03,K1,30\n")
    (note,) = taken.notes
    assert (note.code, note.severity) == ("header-unknown", Severity.NOTE)
    assert "boost" in note.message
    assert taken.frame["_cells"][0]["Bosst"] == "30"


def test_two_headers_for_a_column_must_agree(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path,
        "date,unit,tip,tip gap\n2026-05-03,K1,4,4\n2026-05-04,K1,4,5\n"
        "2026-05-05,K1,4,\n2026-05-06,K1,,5\n",
    )
    assert [note.code for note in taken.notes] == ["column-twice"]
    assert codes(taken) == {3: ["column-twice"], 5: ["column-twice"]}


def test_a_header_with_a_unit_it_cannot_have_sets_its_cells_aside(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,unit,boost (mm)\n2026-05-03,K1,30\n2026-05-04,K1,\n")
    assert codes(taken) == {2: ["header-unit"]}
    assert len(taken.frame) == 1


def test_a_missing_required_column_sets_every_row_aside(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,Unti,tip\n2026-05-03,K1,4\n2026-05-04,K1,5,x\n")
    assert codes(taken) == {2: ["column-missing"], 3: ["column-missing"]}
    assert "'Unti'" in taken.aside[0].findings[0].message
    assert taken.aside[1].cells["column 4"] == "x"


def test_rows_set_aside_come_back_with_their_number(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path,
        "aside,reason it was set aside,date,unit,tip\n17,because,2026-05-03,K1,4\n"
        ",,2026-05-04,K1,4\n18,because,2026-05-05,K1,tight\nx,,2026-05-06,K1,4\n",
    )
    assert taken.frame["_aside"].tolist() == [17, pd.NA]
    assert [row.aside_id for row in taken.aside] == [18, None]
    assert codes(taken) == {4: ["number-unread"], 5: ["aside-number"]}
    assert not taken.notes


def test_dates_take_the_order_stated_and_else_ask(tmp_path: Path) -> None:
    text = "date,unit\n03/04/2026,K1\n"
    assert codes(taken_of(tmp_path, text)) == {2: ["date-order"]}
    day = taken_of(tmp_path, text, Settings(dates="day first"))
    assert day.frame["date"].tolist() == [pd.Timestamp("2026-04-03")]
    by_map = Settings(ColumnMap.model_validate({"dates": "month first"}))
    assert taken_of(tmp_path, text, by_map).frame["date"][0] == pd.Timestamp("2026-03-04")
    headed = taken_of(tmp_path, "date (d/m/y),unit\n03/04/2026,K1\n")
    assert headed.frame["date"][0] == pd.Timestamp("2026-04-03")


def test_the_kind_is_told_by_name_headers_or_statement(tmp_path: Path) -> None:
    bare = "date,unit,tip\n2026-05-03,K1,4\n"
    assert taken_of(tmp_path, bare, name="Restrips 2026.csv").kind == "restrips"
    with pytest.raises(RecordError, match="runs or restrips"):
        taken_of(tmp_path, bare, name="sheet.csv")
    forced = taken_of(tmp_path, bare, Settings(kind="restrips"), name="sheet.csv")
    assert forced.kind == "restrips"
    by_map = Settings(ColumnMap.model_validate({"sheet": "runs"}))
    assert taken_of(tmp_path, bare, by_map, name="sheet.csv").kind == "runs"
    told = taken_of(tmp_path, "date,unit,boost\n2026-05-03,K1,30\n", name="sheet.csv")
    assert told.kind == "runs"
    with pytest.raises(RecordError, match="none of the headers"):
        taken_of(tmp_path, "a,b\n1,2\n", name="sheet.csv")
    with pytest.raises(RecordError, match="no kind of record"):
        taken_of(tmp_path, bare, Settings(kind="rnus"))


def test_an_instruction_page_is_passed_over_with_a_note(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page: Any = book.active
    page.title = "How to"
    page.append(["Fill in one row for each run."])
    page.append(["Date"])
    runs: Any = book.create_sheet("runs")
    runs.append(["date", "unit"])
    runs.append(["2026-05-03", "K1"])
    empty: Any = book.create_sheet("units")
    empty.append(["unit", "lobes"])
    book.save(tmp_path / "season.xlsx")
    page_taken, runs_taken, empty_taken = taken_all(tmp_path / "season.xlsx")
    assert (page_taken.kind, page_taken.rows_read) == ("", 0)
    assert page_taken.notes[-1].sheet == "How to"
    assert runs_taken.rows_read == 1
    assert (empty_taken.kind, empty_taken.rows_read) == ("units", 0)
    assert [note.code for note in empty_taken.notes] == ["sheet-empty"]


def test_spellings_are_learnt_over_the_sheets_of_a_file(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    units: Any = book.active
    units.title = "units"
    units.append(["unit"])
    units.append(["K2"])
    runs: Any = book.create_sheet("runs")
    runs.append(["date", "unit"])
    runs.append(["2026-05-03", "K-2"])
    book.save(tmp_path / "season.xlsx")
    _, taken = taken_all(tmp_path / "season.xlsx")
    assert codes(taken) == {2: ["unit-spelling"]}


def test_chunks_make_no_difference(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(20261125)
    lines = ["date,unit,run,tip,remark"]
    for _ in range(120):
        day, unit, run = rng.integers(1, 4), rng.integers(1, 4), rng.integers(0, 4)
        lines.append(
            f"2026-05-{day:02},K{' ' if rng.random() < 0.1 else ''}{unit},{run or ''},"
            f"{rng.integers(3, 6)},{'x' if rng.random() < 0.5 else ''}"
        )
    path = tmp_path / "runs.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    (whole,) = taken_all(path)
    monkeypatch.setattr(raw_module, "CHUNK_ROWS", 7)
    monkeypatch.setattr("wearstats.records.read_delimited.CHUNK_ROWS", 7)
    parts = taken_all(path)
    assert len(parts) > 10
    together = pd.concat([part.frame for part in parts], ignore_index=True)
    pd.testing.assert_frame_equal(together, whole.frame)
    assert [row for part in parts for row in part.aside] == whole.aside
    assert len(whole.aside) > 20


def test_more_runs_in_a_day_than_are_taken(tmp_path: Path) -> None:
    rows = "".join(f"2026-05-03,K1,{100 + number} um\n" for number in range(101))
    taken = taken_of(tmp_path, "date,unit,tip\n" + rows)
    assert taken.frame["run"].tolist() == list(range(1, 100))
    assert codes(taken) == {101: ["value-range"], 102: ["value-range"]}


def test_a_unit_cannot_leave_before_it_joined(tmp_path: Path) -> None:
    taken = taken_of(
        tmp_path, "unit,taken in,retired\nK1,2026-05-03,2026-05-02\n", name="units.csv"
    )
    assert codes(taken) == {2: ["dates-order"]}


def test_true_one_and_text_one_are_told_apart(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet: Any = book.active
    sheet.title = "runs"
    sheet.append(["date", "unit", "run"])
    for number, cell in enumerate((1, True, "1", 1.0), start=1):
        sheet.append([f"2026-05-0{number}", "K1", cell])
    book.save(tmp_path / "a.xlsx")
    (taken,) = taken_all(tmp_path / "a.xlsx")
    assert codes(taken) == {3: ["value-kind"]}


@pytest.mark.parametrize("word", ["#REF!", "#DIV/0!", "#BEZUG!", "#NV", "Err:502", "#¿NOMBRE?"])
def test_no_spreadsheet_error_becomes_a_unit(tmp_path: Path, word: str) -> None:
    taken = taken_of(tmp_path, f"date,unit,boost\n2026-05-03,{word},33\n")
    assert codes(taken) == {2: ["error-value"]}


def test_a_unit_may_be_numbered_with_a_hash(tmp_path: Path) -> None:
    assert taken_of(tmp_path, "date,unit\n2026-05-03,#4\n").frame["unit"].tolist() == ["#4"]


def test_no_number_that_is_none_becomes_a_unit(tmp_path: Path) -> None:
    path = tmp_path / "runs.parquet"
    table = pa.table({"date": ["2026-05-03"] * 2, "unit": pa.array([1.0, float("nan")])})
    pq.write_table(table, path)
    (taken,) = taken_all(path)
    assert taken.frame["unit"].tolist() == ["1"]
    assert codes(taken) == {3: ["not-finite"]}


def test_what_is_asked_names_what_exists(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("date,unit,remark\n2026-05-03,K1,x\n", encoding="utf-8")
    with pytest.raises(RecordError, match=r"could hold runs or restrips.*`--sheet`") as asked:
        taken_all(path)
    # The place is said once.
    assert str(asked.value).count("mine.csv") == 1
    assert str(asked.value.findings[0]) == str(asked.value)


def test_a_drive_ratio_is_asked_about_in_plain_words(tmp_path: Path) -> None:
    taken = taken_of(tmp_path, "date,unit,overdrive\n2026-05-03,K1,1.4\n")
    ((finding,),) = [row.findings for row in taken.aside]
    assert "1.4 % would be unusually small" in finding.message
    assert "A drive ratio of 1.40 is 40 % over." in finding.message

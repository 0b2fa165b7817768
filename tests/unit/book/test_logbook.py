"""The book's promises, each on files as people write them."""

import math
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook
from sqlalchemy import select

from wearstats.book import Book, ImportResult, SheetResult
from wearstats.book.tables import METADATA
from wearstats.errors import RecordError, UsageError
from wearstats.records.costs import Costs
from wearstats.records.kinds import Settings
from wearstats.records.schema import SHEETS
from wearstats.records.season import Season

pytestmark = pytest.mark.usefixtures("either_database")

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
HEAD = "date,unit,run,boost (psi),tip (thou),strips,remark"
TWO = f"{HEAD}\n2026-05-03,K2,1,38,3/4,sound,\n2026-05-03,K3,1,39,,,first\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "season.db"
    with Book.create(path, clock=lambda: NOON):
        pass
    return path


def log(
    path: Path,
    text: str,
    name: str = "runs.csv",
    *,
    settings: Settings | None = None,
    amend: bool = False,
) -> ImportResult:
    file = path.with_name(name)
    file.write_text(text, encoding="utf-8")
    with Book.open(path, clock=lambda: NOON) as book:
        result = book.log(file, settings=settings, amend=amend)
    assert_adds_up(result)
    return result


def assert_adds_up(result: ImportResult) -> None:
    parts: list[ImportResult | SheetResult] = [result, *result.sheets]
    for part in parts:
        assert part.rows_read == part.logged + part.already_there + part.set_aside


def counts(result: ImportResult) -> tuple[int, int, int]:
    return (result.logged, result.already_there, result.set_aside)


def content(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return every table but the list of imports, each row as it is."""
    kept = [table for table in METADATA.sorted_tables if not table.name.startswith("import")]
    with Book.open(path) as book, book._store.reading() as connection:
        return {
            table.name: [
                tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))
            ]
            for table in kept
        }


def runs(path: Path) -> pd.DataFrame:
    with Book.open(path) as book:
        return book.season().runs


# --- 1: rows read = logged + already there + set aside ---------------------------------------


def test_rows_add_up_and_are_kept_with_name_hash_and_row_numbers(path: Path) -> None:
    text = TWO + "2026-05-03,K2,1,38,3/4,sound,\nsoon,K2,2,38,,,\n2026-05-04,K2,1,40,,,\n"
    result = log(path, text)
    assert result.rows_read == 5
    # The reader sets a row that repeats another of its sheet aside: it may be a run of its own.
    assert counts(result) == (3, 0, 2)
    with Book.open(path) as book:
        (row,) = book.imports().to_dict("records")
    # sha256 of the text, by hashlib in the test: the file's bytes are the text's.
    assert row["sha256"] == result.sha256
    assert len(str(row["sha256"])) == 64
    kept = (row["file"], row["sheet"], row["kind"], row["first_row"], row["last_row"])
    assert kept == ("runs.csv", result.sheets[0].sheet, "runs", 2, 6)
    assert (row["rows_read"], row["logged"], row["already_there"], row["set_aside"]) == (5, 3, 0, 2)
    assert row["when_utc"] == pd.Timestamp(NOON)
    assert [finding.row for finding in result.findings] == [4, 5]


def test_a_second_file_of_known_rows_is_already_there(path: Path) -> None:
    log(path, TWO)
    assert counts(log(path, TWO + "2026-05-04,K2,1,40,,,\n", "more.csv")) == (1, 2, 0)


# --- 2: logged twice, completed, contradicted, amended ---------------------------------------


def test_logging_the_same_file_twice_changes_nothing(path: Path) -> None:
    text = TWO + "soon,K2,2,38,,,\n2026-05-03,K2,1,31,,,\n2026-05-03,K3,1,,4,,\n"
    first = log(path, text)
    assert counts(first) == (2, 0, 3)
    before = content(path)
    second = log(path, text)
    assert counts(second) == (0, 2, 3)
    assert content(path) == before
    with Book.open(path) as book:
        assert len(book.imports()) == 2


def test_a_renamed_copy_changes_nothing_either(path: Path) -> None:
    text = TWO + "soon,K2,2,38,,,\n"
    log(path, text)
    before = content(path)
    assert counts(log(path, text, "copy.csv")) == (0, 2, 1)
    assert content(path) == before


def test_a_sheet_that_grew_keeps_its_faulty_row_once(path: Path) -> None:
    log(path, TWO + "soon,K2,2,38,,,\n")
    grown = log(path, TWO + "2026-05-03,K4,1,38,,,\nsoon,K2,2,38,,,\nsoon,K2,2,38,,,\n")
    assert counts(grown) == (1, 2, 2)
    with Book.open(path) as book:
        # The second of two equal faulty rows is a row of its own.
        assert [item.row for item in book.aside()] == [4, 6]


def test_a_row_that_fills_blanks_completes_the_record(path: Path) -> None:
    log(path, TWO)
    result = log(path, f"{HEAD}\n2026-05-03,K3,1,,<2,sound,\n", "late.csv")
    assert counts(result) == (1, 0, 0)
    assert result.completed == 1
    (row,) = runs(path).query("unit == 'K3'").to_dict("records")
    assert (row["boost_psi"], row["tip_high_thou"], row["strips"]) == (39, 2, "sound")
    assert math.isnan(float(row["tip_low_thou"]))
    assert row["remark"] == "first"
    with Book.open(path) as book:
        history = book.history()
    assert history["field"].tolist() == ["tip", "strips"]
    assert history["old"].tolist() == ["blank", "blank"]
    assert history["new"].tolist() == ["<2 thou", "sound"]
    assert history["file"].tolist() == ["late.csv"] * 2


def test_a_row_that_contradicts_is_set_aside_and_names_both_sides(path: Path) -> None:
    log(path, TWO)
    before = runs(path)
    result = log(path, f"{HEAD}\n2026-05-03,K2,1,38,4/5,hot,new\n", "other.csv")
    assert counts(result) == (0, 0, 1)
    pd.testing.assert_frame_equal(runs(path), before)
    assert {finding.code for finding in result.findings} == {"contradiction"}
    by_column = {finding.column: finding for finding in result.findings}
    tip = by_column["tip"]
    assert (tip.file, tip.row, tip.value) == ("other.csv", 2, "4/5 thou")
    assert "3/4 thou in runs.csv, sheet" in tip.message
    assert "row 2" in tip.message
    assert "sound" in by_column["strips"].message
    with Book.open(path) as book:
        (item,) = book.aside()
    assert item.findings == result.findings


def test_a_completed_value_is_traced_to_the_file_that_completed_it(path: Path) -> None:
    log(path, TWO)
    log(path, f"{HEAD}\n\n2026-05-03,K3,1,,5,,\n", "late.csv")
    (finding,) = log(path, f"{HEAD}\n2026-05-03,K3,1,,6,,\n", "later.csv").findings
    assert "5 thou in late.csv" in finding.message
    assert "row 3" in finding.message


def test_with_leave_to_amend_the_new_value_stands_and_the_old_one_is_kept(path: Path) -> None:
    log(path, TWO)
    result = log(path, f"{HEAD}\n2026-05-03,K2,1,37.5,,,\n", "other.csv", amend=True)
    assert counts(result) == (1, 0, 0)
    assert result.amended == 1
    assert runs(path).query("unit == 'K2'")["boost_psi"].tolist() == [37.5]
    with Book.open(path) as book:
        (change,) = book.history().to_dict("records")
    assert change["record"] == "2026-05-03 K2 1"
    assert (change["field"], change["old"], change["new"]) == ("boost", "38 psi", "37.5 psi")
    assert (change["old_file"], change["old_row"]) == ("runs.csv", 2)
    assert (change["file"], change["row"], change["why"]) == ("other.csv", 2, "amended")


def test_the_file_that_was_amended_changes_nothing_when_logged_again(path: Path) -> None:
    log(path, TWO)
    log(path, f"{HEAD}\n2026-05-03,K2,1,37.5,,,\n", "other.csv", amend=True)
    before = content(path)
    assert counts(log(path, TWO)) == (0, 2, 0)
    assert content(path) == before
    # But another file that says so contradicts.
    assert counts(log(path, f"{HEAD}\n2026-05-03,K2,1,38,,,\n", "third.csv")) == (0, 0, 1)


def test_a_contradiction_that_is_amended_is_settled(path: Path) -> None:
    log(path, TWO)
    other = f"{HEAD}\n2026-05-03,K2,1,37.5,,,\n"
    assert counts(log(path, other, "other.csv")) == (0, 0, 1)
    result = log(path, other, "other.csv", amend=True)
    assert (result.amended, result.mended) == (1, 1)
    with Book.open(path) as book:
        assert book.aside() == []


def test_two_sheets_of_a_file_that_disagree_are_a_question_even_with_leave_to_amend(
    path: Path,
) -> None:
    log(path, f"{HEAD}\n2026-05-03,K2,1,38,,,\n", "first.csv")
    held = Workbook()
    held.remove(held.worksheets[0])
    for name, boost in {"runs A": 37, "runs B": 36}.items():
        page = held.create_sheet(name)
        page.append(["date", "unit", "run", "boost (psi)"])
        page.append(["2026-05-03", "K2", 1, boost])
    file = path.with_name("two.xlsx")
    held.save(file)
    for amended in (1, 0):
        with Book.open(path, clock=lambda: NOON) as book:
            result = book.log(file, amend=True)
            assert (result.amended, result.set_aside) == (amended, 1)
            assert book.season().runs["boost_psi"].tolist() == [37]
            assert len(book.aside()) == 1


@pytest.mark.parametrize("amend", [False, True])
def test_two_rows_of_a_file_that_disagree_are_a_question(path: Path, *, amend: bool) -> None:
    log(path, f"{HEAD}\n2026-05-03,K2,1,38,,,\n", "first.csv")
    text = f"{HEAD}\n2026-05-03,K2,1,{37 if amend else 38},,,\n2026-05-03,K2,1,36,,,\n"
    result = log(path, text, amend=amend)
    assert result.set_aside == 1
    before = content(path)
    again = log(path, text, amend=amend)
    assert counts(again) == (0, 1, 1)
    assert content(path) == before


# --- 4: mended, discarded ---------------------------------------------------------------------


def mend(file: Path, **cells: object) -> None:
    """Type values into the first row below the headers."""
    held = load_workbook(file)
    page = held.worksheets[0]
    headers = [cell.value for cell in page[1]]
    for header, value in cells.items():
        page.cell(2, headers.index(header) + 1).value = value  # type: ignore[assignment]  # any
    held.save(file)


def test_a_row_set_aside_is_mended_in_the_sheet_it_comes_out_in(path: Path) -> None:
    log(path, TWO + "soon,K2,2,38,,hot,=1+1\n")
    out = path.with_name("mend.xlsx")
    with Book.open(path) as book:
        book.write_aside(out)
        (item,) = book.aside()
    (page,) = load_workbook(out).worksheets
    rows = list(page.iter_rows(values_only=True))
    assert rows[0] == ("aside", "reason it was set aside", *HEAD.split(","))
    assert rows[1][0] == item.number
    assert "soon" in str(rows[1][1])
    assert rows[1][2:6] == ("soon", "K2", "2", "38")
    assert page.cell(2, 9).data_type == "s", "a formula in a remark stays text"

    # Still wrong: the item stays, once.
    mend(out, date="later")
    with Book.open(path) as book:
        result = book.log(out)
        assert counts(result) == (0, 0, 1)
        (still,) = book.aside()
        assert still.number == item.number
        assert still.cells["date"] == "later"
        assert book.history()["why"].tolist() == ["mended in part"]
    before = content(path)
    with Book.open(path) as book:
        book.log(out)
    assert content(path) == before

    mend(out, date="2026-05-03")
    with Book.open(path) as book:
        result = book.log(out)
        assert_adds_up(result)
        assert counts(result) == (1, 0, 0)
        assert result.mended == 1
        assert book.aside() == []
        assert [held.state for held in book.aside(None)] == ["mended"]
    row = runs(path).iloc[1]
    assert (row["unit"], row["run"], row["remark"]) == ("K2", 2, "=1+1")

    # Neither the mended sheet nor the first one brings it back.
    before = content(path)
    with Book.open(path) as book:
        assert counts(book.log(out)) == (0, 1, 0)
    log(path, TWO + "soon,K2,2,38,,hot,=1+1\n")
    assert content(path) == before


def test_a_mended_row_that_contradicts_says_so_under_its_old_number(path: Path) -> None:
    log(path, TWO + "soon,K2,1,31,,,\n")
    out = path.with_name("mend.xlsx")
    with Book.open(path) as book:
        book.write_aside(out)
        (item,) = book.aside()
    mend(out, date="2026-05-03")
    with Book.open(path) as book:
        assert counts(book.log(out)) == (0, 0, 1)
        (still,) = book.aside()
    assert still.number == item.number
    assert [finding.code for finding in still.findings] == ["contradiction"]


def test_a_mended_row_keeps_its_place_in_the_day(path: Path) -> None:
    head = "date,unit,boost (psi)"
    log(path, f"{head}\n2026-05-03,K2,38\n2026-05-03,K2,fast\n2026-05-03,K2,36\n")
    out = path.with_name("mend.xlsx")
    with Book.open(path) as book:
        book.write_aside(out)
    mend(out, **{"boost (psi)": "37"})
    with Book.open(path) as book:
        assert counts(book.log(out)) == (1, 0, 0)
    found = runs(path)
    assert found["run"].tolist() == [1, 2, 3]
    assert found["boost_psi"].tolist() == [38, 37, 36]


def test_a_contradiction_keeps_its_place_in_the_day(path: Path) -> None:
    head = "date,unit,boost (psi)"
    log(path, f"{head}\n2026-05-03,K2,38\n2026-05-03,K2,37\n")
    log(path, f"{head}\n2026-05-03,K2,38\n2026-05-03,K2,36\n", "other.csv")
    out = path.with_name("mend.xlsx")
    with Book.open(path) as book:
        book.write_aside(out)
    mend(out, **{"boost (psi)": "37"})
    with Book.open(path) as book:
        result = book.log(out)
        assert counts(result) == (0, 1, 0)
        assert result.mended == 1


def test_rows_that_settings_make_readable_are_mended(path: Path) -> None:
    text = f"{HEAD}\n03/05/2026,K2,1,38,,,\n04/05/2026,K2,1,39,,,\n"
    assert counts(log(path, text)) == (0, 0, 2)
    result = log(path, text, settings=Settings(dates="day first"))
    assert counts(result) == (2, 0, 0)
    assert result.mended == 2
    with Book.open(path) as book:
        assert book.aside() == []
    assert runs(path)["date"].tolist() == [pd.Timestamp("2026-05-03"), pd.Timestamp("2026-05-04")]


def test_a_row_with_cells_too_many_is_read_and_set_aside(path: Path) -> None:
    result = log(path, TWO + "2026-05-04,K2,1,40,,,,,,7\n")
    assert (result.rows_read, *counts(result)) == (3, 2, 0, 1)


def test_the_reason_shown_is_the_one_that_still_holds(path: Path) -> None:
    log(path, f"{HEAD}\n2026-05-03,K2,1,38,,,\n", "first.csv")
    text = f"{HEAD}\n03/05/2026,K2,1,39,,,\n"
    log(path, text)
    result = log(path, text, settings=Settings(dates="day first"))
    assert counts(result) == (0, 0, 1)
    with Book.open(path) as book:
        (item,) = book.aside()
    assert [finding.code for finding in item.findings] == ["contradiction"]


def test_two_rows_under_one_aside_number_are_two_rows(path: Path) -> None:
    log(path, TWO + "soon,K2,2,38,,,\n")
    text = f"aside,{HEAD}\n1,later,K2,2,38,,,\n1,never,K2,3,37,,,\n1,2026-05-03,K2,4,36,,,\n"
    result = log(path, text, "mend.csv")
    assert (counts(result), result.mended) == ((1, 0, 2), 0)
    with Book.open(path) as book:
        assert [item.cells["date"] for item in book.aside()] == ["later", "never"]
    before = content(path)
    log(path, text, "mend.csv")
    assert content(path) == before


def test_a_discarded_row_stays_discarded(path: Path) -> None:
    text = TWO + "soon,K2,2,38,,,\n"
    log(path, text)
    with Book.open(path, clock=lambda: NOON) as book:
        (item,) = book.aside()
        with pytest.raises(UsageError, match="stated reason"):
            book.discard([item.number], " ")
        with pytest.raises(UsageError, match="77"):
            book.discard([item.number, 77], "typed twice")
        assert book.aside() == [item]
        book.discard([item.number], "typed twice")
        assert book.aside() == []
        (held,) = book.aside("discarded")
        assert held.why == "typed twice"
        with pytest.raises(UsageError, match="settled already"):
            book.discard([item.number], "again")
    before = content(path)
    assert counts(log(path, text)) == (0, 2, 1)
    assert content(path) == before


def test_set_aside_rows_of_several_sheets_need_a_workbook(path: Path) -> None:
    log(path, TWO + "soon,K2,2,38,,,\n")
    log(path, "date,unit,reason\nsoon,K2,planned\n", "restrips.csv")
    with Book.open(path) as book:
        with pytest.raises(UsageError, match="CSV holds one sheet"):
            book.write_aside(path.with_name("mend.csv"))
        with pytest.raises(UsageError, match=r"\.xlsx or \.csv"):
            book.write_aside(path.with_name("mend.pdf"))
        book.write_aside(path.with_name("mend.xlsx"))
    assert load_workbook(path.with_name("mend.xlsx")).sheetnames == ["runs", "restrips"]


def test_set_aside_rows_of_one_sheet_come_out_as_csv_and_go_back_in(path: Path) -> None:
    log(path, TWO + "soon,K2,2,38,,,=1+1\n")
    out = path.with_name("mend.csv")
    with Book.open(path) as book:
        book.write_aside(out)
        out.write_text(out.read_text(encoding="utf-8-sig").replace(",soon,", ",2026-05-03,"))
        result = book.log(out)
    assert (counts(result), result.mended) == ((1, 0, 0), 1)


def test_nothing_set_aside_writes_nothing(path: Path) -> None:
    out = path.with_name("mend.xlsx")
    with Book.open(path) as book, pytest.raises(UsageError, match="nothing is set aside"):
        book.write_aside(out)
    assert not out.exists()


def test_an_aside_number_that_names_nothing_is_noted(path: Path) -> None:
    result = log(path, f"aside,{HEAD}\n41,2026-05-03,K2,1,38,,,\n")
    assert counts(result) == (1, 0, 0)
    assert [finding.code for finding in result.findings] == ["aside-unknown"]


# --- 5: text is text --------------------------------------------------------------------------

TEXTS = ['=HYPERLINK("x")', "<b>bold</b>", "../../etc", "' or 1=1 --", "naïve ẞ 漢 🛠", "a\u202eb"]


@pytest.mark.parametrize("text", TEXTS)
def test_text_comes_out_as_it_went_in(path: Path, text: str) -> None:
    pd.DataFrame(
        {"date": ["2026-05-03"], "unit": ["K2"], "run": [1], "remark": [text], "meet": [text]}
    ).to_parquet(path.with_name("runs.parquet"))
    with Book.open(path) as book:
        assert counts(book.log(path.with_name("runs.parquet"))) == (1, 0, 0)
    (row,) = runs(path).to_dict("records")
    assert (row["remark"], row["meet"]) == (text, text)


def test_a_sign_no_database_keeps_is_replaced_in_sight(path: Path) -> None:
    file = path.with_name("runs.parquet")
    remarks = ["a\x00b", "a\x00b"]
    pd.DataFrame(
        {"date": ["2026-05-03", "soon"], "unit": "K2", "run": [1, 2], "remark": remarks}
    ).to_parquet(file)
    with Book.open(path) as book:
        result = book.log(file)
        kept = [*book.season().runs["remark"], *(item.cells["remark"] for item in book.aside())]
    assert counts(result) == (1, 0, 1)
    assert kept == ["a␀b", "a␀b"]
    assert [finding.row for finding in result.findings if finding.code == "text-replaced"]


# --- all sheets, names, season, costs ---------------------------------------------------------


def test_a_workbook_is_one_import_of_all_its_sheets(path: Path) -> None:
    file = path.with_name("season.xlsx")
    held = Workbook()
    held.remove(held.worksheets[0])
    for name, rows in {
        "runs": [["date", "unit", "run"], [datetime(2026, 5, 3), "K2", 1]],  # noqa: DTZ001 - as a cell holds it
        "restrips": [["date", "unit", "reason"], [datetime(2026, 4, 1), "K2", "planned"]],  # noqa: DTZ001
        "units": [["unit", "lobes"], ["K2", 3], ["K2", 4]],
        "readings": [
            ["date", "unit", "what", "value"],
            [datetime(2026, 4, 1), "K2", "tip", "3/4 thou"],  # noqa: DTZ001
            [datetime(2026, 4, 1), "K2", "tip", "4 thou"],  # noqa: DTZ001
        ],
    }.items():
        page = held.create_sheet(name)
        for row in rows:
            page.append(row)
    held.save(file)
    with Book.open(path) as book:
        result = book.log(file)
        season = book.season()
        assert len(book.imports()) == 4
    assert_adds_up(result)
    assert [sheet.kind for sheet in result.sheets] == ["runs", "restrips", "units", "readings"]
    assert counts(result) == (5, 0, 1)
    assert season.units["lobes"].tolist() == [3]
    assert season.restrips["after_run"].isna().all()
    assert season.readings["repeat"].tolist() == [1, 2]
    assert season.readings["rotor"].tolist() == [None, None]
    assert not season.simulated


def test_a_file_that_cannot_be_read_leaves_no_trace(path: Path) -> None:
    before = content(path)
    with Book.open(path) as book:
        with pytest.raises(RecordError):
            book.log(path.with_name("missing.csv"))
        with pytest.raises(RecordError):
            book.log(path)
        assert book.imports().empty
    assert content(path) == before


def test_a_name_is_asked_about_once(path: Path) -> None:
    log(path, TWO)
    other = path.with_name("other.csv")
    other.write_text(f"{HEAD}\n2026-05-04,K 2,1,38,,,\n2026-05-04,k-3,1,38,,,\n")
    with Book.open(path) as book:
        assert counts(book.log(other)) == (0, 0, 2)
        result = book.log(other, join={"K 2": "K2"}, apart=["k-3"])
        assert (counts(result), result.mended) == ((2, 0, 0), 2)
        assert book.spellings() == ({"K 2": "K2"}, frozenset({"k-3"}))
        assert set(book.season().runs["unit"]) == {"K2", "K3", "k-3"}
    later = f"{HEAD}\n2026-05-05,K 2,1,38,,,\n2026-05-05,k-3,1,38,,,\n"
    assert counts(log(path, later, "later.csv")) == (2, 0, 0)


def test_names_cannot_be_joined_in_a_ring_or_over_records_of_their_own(path: Path) -> None:
    log(path, TWO)
    before = content(path)
    file = path.with_name("runs.csv")
    with Book.open(path) as book:
        with pytest.raises(UsageError, match="in a ring"):
            book.log(file, join={"a": "b", "b": "a"})
        with pytest.raises(UsageError, match="in a ring"):
            book.log(file, join={"a": "a"})
        with pytest.raises(UsageError, match="holds 1 rows under 'K3'"):
            book.log(file, join={"K3": "K2"})
        with pytest.raises(UsageError, match="cannot be joined"):
            book.log(file, join={"K 2": "K2"}, apart=["K 2"])
        assert len(book.imports()) == 1
    assert content(path) == before


def test_a_chain_of_names_ends_at_the_unit_that_stays(path: Path) -> None:
    log(path, TWO)
    file = path.with_name("runs.csv")
    with Book.open(path, clock=lambda: NOON) as book:
        book.log(file, join={"blower two": "number two"})
        book.log(file, join={"number two": "K2"})
        assert book.spellings()[0] == {"blower two": "K2", "number two": "K2"}
        (change,) = book.history().to_dict("records")
    assert (change["kind"], change["old"], change["new"]) == ("spellings", "number two", "K2")


def test_the_season_is_sorted_by_key_whatever_the_order_of_logging(path: Path) -> None:
    log(path, f"{HEAD}\n2026-05-04,K3,2,1,,,\n2026-05-04,K3,1,1,,,\n2026-05-03,K9,1,1,,,\n"
        "2026-05-03,K10,1,1,,,\n".replace(",1,,,", ",38,,,"))  # fmt: skip
    found = runs(path)
    keys = list(zip(found["date"], found["unit"], found["run"], strict=True))
    assert keys == sorted(keys)
    assert found.index.tolist() == [0, 1, 2, 3]


def test_the_season_is_in_the_form_the_records_room_states(path: Path) -> None:
    with Book.open(path) as book:
        empty = book.season()
    log(path, TWO + "2026-05-04,K10,,36,,,\n")
    log(path, "date,unit,reason\n2026-05-03,K3,planned\n2026-05-01,K2,\n", "restrips.csv")
    log(path, "unit,taken in,lobes\nK3,2026-01-01,3\nK2,,\n", "units.csv")
    log(path, "date,unit,what,value (thou),clock\n2026-05-03,K3,tip,3/4,6\n"
        "2026-05-03,K3,tip,4,\n", "readings.csv")  # fmt: skip
    with Book.open(path) as book:
        full = book.season()
    for season in (empty, full):
        stated = Season.from_frames(season.runs, season.restrips, season.units, season.readings)
        for kind in SHEETS:
            pd.testing.assert_frame_equal(getattr(season, kind), getattr(stated, kind))
    assert [len(getattr(full, kind)) for kind in SHEETS] == [3, 2, 2, 2]


def test_costs_are_kept_with_their_history(path: Path) -> None:
    with Book.open(path, clock=lambda: NOON) as book:
        assert book.season().costs is None
        first = Costs(planned=900, burn_through=14_000)
        book.set_costs(first)
        book.set_costs(first)
        second = Costs(planned=950, burn_through=14_000, currency="EUR")
        book.set_costs(second)
        assert book.season().costs == second
        assert book.season(with_costs=False).costs is None
        history = book.history()
    changed = history[history["old"] != "blank"]
    assert changed["field"].tolist() == ["planned", "currency"]
    assert changed["old"].tolist() == ["900.0", ""]
    assert changed["new"].tolist() == ["950.0", "EUR"]


def test_a_made_up_season_says_so(tmp_path: Path) -> None:
    with Book.create(tmp_path / "made.db", simulated=True) as book:
        assert book.season().simulated


def test_settings_are_kept_with_the_import_and_no_path(path: Path) -> None:
    log(path, TWO, settings=Settings(dates="day first"))
    with Book.open(path) as book:
        (row,) = book.imports().to_dict("records")
    assert '"dates":"day first"' in row["settings"]
    assert str(path.parent) not in repr(content(path)) + repr(row)


def test_progress_counts_rows(path: Path) -> None:
    path.with_name("runs.csv").write_text(TWO)
    seen: list[int] = []
    with Book.open(path) as book:
        book.log(path.with_name("runs.csv"), on_progress=lambda _sheet, rows: seen.append(rows))
    assert seen[-1] == 2

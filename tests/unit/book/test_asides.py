"""Rows set aside, season long: sheets that grow, sheets mended in part, old copies that return."""

from pathlib import Path

import pytest

from wearstats.book import Book, ImportResult

pytestmark = pytest.mark.usefixtures("either_database")

HEAD = "date,unit,boost (psi),tip (thou)"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return Book.create(tmp_path / "season.db")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def log(book: Book, file: Path, text: str, *, join: dict[str, str] | None = None) -> ImportResult:
    file.write_text(text, encoding="utf-8")
    result = book.log(file, join=join or {})
    assert result.rows_read == result.logged + result.already_there + result.set_aside
    return result


def counts(result: ImportResult) -> tuple[int, int, int]:
    return result.logged, result.already_there, result.set_aside


def states(book: Book) -> list[str]:
    return [item.state for item in book.aside(None)]


def codes(result: ImportResult) -> list[str]:
    return [finding.code for finding in result.findings]


def test_a_mended_row_without_its_place_in_the_day_is_asked_which_run_it_was(
    book: Book, folder: Path
) -> None:
    # The second run of the day: its date was misread, so nobody knows that it is the second.
    text = f"{HEAD}\n2026-05-03,K1,33,\n3 Mya 2026,K1,,3/4\n2026-05-03,K1,35,\n"
    log(book, folder / "runs.csv", text)
    before = book.season().runs
    out = folder / "mend.csv"
    book.write_aside(out)
    mended = out.read_text(encoding="utf-8").replace(",3 Mya 2026,", ",2026-05-03,")
    assert mended.splitlines()[0].endswith(",run"), "there is a column to say it in"
    result = log(book, out, mended)
    # Counted from 1 it would fill the blank feeler reading of another run.
    assert counts(result) == (0, 0, 1)
    (finding,) = result.findings
    assert (finding.code, finding.column, finding.row) == ("run-number-missing", "run", 2)
    assert "run 1 and 2" in finding.message
    assert book.season().runs.equals(before)
    assert states(book) == ["open"]
    assert counts(log(book, out, mended)) == (0, 0, 1)
    assert len(book.aside()) == 1

    line = mended.splitlines()[1]
    assert line.endswith(",")
    result = log(book, out, f"{mended.splitlines()[0]}\n{line}3\n")
    assert (counts(result), result.mended) == ((1, 0, 0), 1)
    assert book.season().runs["run"].tolist() == [1, 2, 3]


def test_a_mended_row_alone_on_its_day_needs_no_number(book: Book, folder: Path) -> None:
    log(book, folder / "runs.csv", f"{HEAD}\n2026-05-03,K1,33,\n3 Mya 2026,K1,,3/4\n")
    out = folder / "mend.csv"
    book.write_aside(out)
    mended = out.read_text(encoding="utf-8").replace(",3 Mya 2026,", ",2026-05-04,")
    assert counts(log(book, out, mended)) == (1, 0, 0)
    assert counts(log(book, out, mended)) == (0, 1, 0)
    assert states(book) == ["mended"]


def test_a_row_that_moved_in_a_growing_sheet_is_settled_where_it_stands_now(
    book: Book, folder: Path
) -> None:
    old = "2026-05-03,K1,33,\n2026-05-04,K 1,35,\n"
    log(book, folder / "runs.csv", f"{HEAD}\n{old}")
    # The newest on top, as many write it.
    grown = f"{HEAD}\n2026-05-05,K1,34,\n{old}"
    result = log(book, folder / "runs.csv", grown, join={"K 1": "K1"})
    assert (counts(result), result.mended) == ((2, 1, 0), 1)
    assert states(book) == ["mended"]


def test_a_repeated_row_is_not_settled_by_the_row_it_repeats(book: Book, folder: Path) -> None:
    twice = "2026-05-03,K1,33,\n2026-05-03,K1,33,\n"
    log(book, folder / "runs.csv", f"{HEAD}\n{twice}")
    log(book, folder / "runs.csv", f"{HEAD}\n2026-05-05,K1,34,\n{twice}")
    assert states(book) == ["open"]


def test_what_is_settled_is_said_to_be_settled(book: Book, folder: Path) -> None:
    text = f"{HEAD}\n2026-05-03,K1,x33,\n2026-05-04,K1,x35,\n2026-05-05,K1,x36,\n"
    log(book, folder / "runs.csv", text)
    out = folder / "mend.csv"
    book.write_aside(out)
    log(book, out, out.read_text(encoding="utf-8").replace(",x33,", ",33,"))
    book.discard([2], "typed twice")
    result = log(book, folder / "runs.csv", text)
    assert counts(result) == (0, 0, 3)
    assert codes(result) == ["aside-mended", "aside-discarded", "number-unread"]
    mended, discarded, _ = result.findings
    assert (mended.severity, mended.row) == ("note", 2)
    assert "number 1" in mended.message
    assert "typed twice" in discarded.message


def test_an_old_copy_of_a_mended_sheet_brings_nothing_back(book: Book, folder: Path) -> None:
    log(book, folder / "runs.csv", f"{HEAD}\n2026-05-03,K1,x33,\n")
    out = folder / "mend.csv"
    book.write_aside(out)
    unmended = out.read_text(encoding="utf-8")
    log(book, out, unmended.replace(",x33,", ",33,"))
    result = log(book, out, unmended)
    assert counts(result) == (0, 0, 1)
    assert codes(result) == ["aside-mended"]
    assert states(book) == ["mended"]


def test_a_sheet_logged_unmended_leaves_no_trace_in_the_history(book: Book, folder: Path) -> None:
    # Two sheets' worth of headers: blanks where a row's own sheet has no such column.
    log(book, folder / "runs.csv", f"{HEAD}\n2026-05-03,K1,x33,\n2026-05-04,K1,x33,,,9\n")
    book.write_aside(folder / "mend.xlsx")
    book.log(folder / "mend.xlsx")
    assert book.history().empty
    assert states(book) == ["open", "open"]


def test_several_reasons_are_kept_apart(book: Book, folder: Path) -> None:
    log(book, folder / "runs.csv", f"{HEAD}\nTotal,,33,\n")
    (item,) = book.aside()
    assert item.reason == "'Total' is not understood as a date; unit must be filled"


def test_a_spelling_decided_anew_says_what_stays_where_it_was(book: Book, folder: Path) -> None:
    text = f"{HEAD}\n2026-05-03,K1,33,\n2026-05-04,k-1,33,\n"
    log(book, folder / "runs.csv", text, join={"k-1": "K1"})
    result = log(book, folder / "more.csv", f"{HEAD}\n2026-05-09,k-1,33,\n", join={"k-1": "K9"})
    assert codes(result) == ["spelling-anew"]
    assert "'K1'" in result.findings[0].message

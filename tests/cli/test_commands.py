"""The command line as a person meets it: help, errors, exit codes, JSON, mending."""

import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from told import Tell

COMMANDS = (
    "sheet",
    "log",
    "aside",
    "lives",
    "life",
    "wear",
    "leak",
    "cut",
    "trend",
    "plan",
    "lookback",
    "season",
    "demo",
)
RUNS = """Date,Unit,Run,Boost (psi),Runs since restrip,Tip (thou),Strips
2026-05-02,K1,1,30.1,1,3/4,sound
2026-05-02,K1,2,29.8,2,,
2026-05-02,K1,3,29.5,3,3/4,sound
2026-05-03,K1,1,29.2,4,,burned
03/04/2026,K2,1,31.0,1,.004,sound
2026-05-03,K 1,2,31.0,1,4,sound
2026-05-04,K2,1,900,1,4,sound
"""


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "runs.csv"
    path.write_text(RUNS, encoding="utf-8")
    return path


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "shop.book"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(tell: Tell, command: str) -> None:
    said = tell(command, "--help")
    assert said.code == 0
    assert f"Example: wearstats {command}" in said.out


def test_help_lists_every_command(tell: Tell) -> None:
    said = tell("--help")
    assert said.code == 0
    assert all(f"\n  {command} " in said.out for command in COMMANDS)


def test_wrong_usage_is_two(tell: Tell, tmp_path: Path) -> None:
    assert tell("nonsense").code == 2
    assert tell("life").code == 2
    assert tell("life", "--level", "2", "x.book").code == 2
    missing = tell("lives", tmp_path / "none.book")
    assert missing.code == 2
    assert "none.book" in missing.err


def test_rows_set_aside_are_three_and_counted(tell: Tell, book: Path, sheet: Path) -> None:
    said = tell("log", book, sheet, "--json")
    assert said.code == 3
    (file,) = said.json["files"]
    assert file["rows_read"] == 7
    assert file["rows_read"] == file["logged"] + file["already_there"] + file["set_aside"]
    assert file["logged"] == 4
    found = {(each["row"], each["column"]): each for each in file["findings"]}
    assert found[6, "Date"]["value"] == "03/04/2026"
    assert found[6, "Tip (thou)"]["value"] == ".004"
    assert found[7, "Unit"]["value"] == "K 1"
    assert found[8, "Boost (psi)"]["value"] == "900"
    for each in found.values():
        assert (each["file"], each["sheet"]) == ("runs.csv", "runs")
        assert each["message"]


def test_the_same_file_twice_changes_nothing(tell: Tell, book: Path, sheet: Path) -> None:
    tell("log", book, sheet)
    before = tell("lives", book, "--json").out, tell("aside", book, "--json").out
    again = tell("log", book, sheet, "--json")
    (file,) = again.json["files"]
    assert (file["logged"], file["already_there"], file["set_aside"]) == (0, 4, 3)
    assert (tell("lives", book, "--json").out, tell("aside", book, "--json").out) == before


def test_what_is_set_aside_is_mended_and_logged(
    tell: Tell, book: Path, sheet: Path, tmp_path: Path
) -> None:
    tell("log", book, sheet)
    mend = tmp_path / "mend.xlsx"
    listed = tell("aside", book, "--out", mend)
    assert listed.code == 3
    workbook = openpyxl.load_workbook(mend)
    (page,) = workbook.worksheets
    mends = {"03/04/2026": "2026-04-03", ".004": '.004"', "K 1": "K1", "900": "30.0"}
    for row in page.iter_rows(min_row=2):
        for cell in row:
            if str(cell.value) in mends:
                cell.value = mends[str(cell.value)]
    workbook.save(mend)
    said = tell("log", book, mend, "--json")
    assert said.code == 0, said.out
    (file,) = said.json["files"]
    assert (file["logged"], file["set_aside"]) == (3, 0)
    unneeded = mend.with_name("unneeded.xlsx")
    assert tell("aside", book, "--out", unneeded).code == 0
    assert not unneeded.exists()


def test_stated_dates_and_joined_spellings_settle_questions(
    tell: Tell, book: Path, sheet: Path
) -> None:
    tell("log", book, sheet)
    said = tell("log", book, sheet, "--join", "K 1=K1", "--json")
    (file,) = said.json["files"]
    assert (file["logged"], file["set_aside"]) == (1, 2)
    # Asked once: the next sheet may write K 1 as well.
    (again,) = tell("log", book, sheet, "--json").json["files"]
    assert (again["logged"], again["set_aside"]) == (0, 2)


def test_lives_say_what_is_known(tell: Tell, book: Path, sheet: Path) -> None:
    tell("log", book, sheet)
    said = tell("lives", book, "--json")
    (life,) = said.json["lives"]
    assert (life["unit"], life["entry"], life["lower"], life["upper"]) == ("K1", 0, 3, 4)
    assert life["mode"] == "burned"
    assert said.json["counts"] == {
        "builds": 1, "burned": 1, "failed": 1, "left_out": 0, "lives": 1, "unfinished": 0,
    }  # fmt: skip


def test_an_error_in_json_is_json(tell: Tell, tmp_path: Path) -> None:
    said = tell("lives", tmp_path / "none.book", "--json")
    assert said.code == 2
    assert said.json["command"] == "lives"
    assert "none.book" in said.json["error"]["message"]


def test_no_answer_is_one_and_says_why(tell: Tell, book: Path, sheet: Path) -> None:
    tell("log", book, sheet)
    said = tell("leak", book)
    assert said.code == 1
    assert said.err.startswith("wearstats: ")
    assert "Traceback" not in said.err


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.csv", b"", "empty"),
        ("runs.xlsx", b"Date,Unit\n2026-05-02,K1\n", "not"),
        ("runs.csv", b"PK\x03\x04 and so on", "not"),
        ("runs.csv", b"colour,taste\nred,sweet\n", "runs.csv"),
        ("runs.csv", b"Date,Blowr\n2026-05-02,K1\n", "unit"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(
    tell: Tell, book: Path, tmp_path: Path, *, name: str, content: bytes, said: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    answer = tell("log", book, path)
    assert answer.code in {2, 3}
    assert name in answer.err + answer.out
    assert said in (answer.err + answer.out).casefold()
    assert "Traceback" not in answer.err


def test_files_before_one_that_cannot_be_read_are_accounted_for(
    tell: Tell, book: Path, sheet: Path, tmp_path: Path
) -> None:
    said = tell("log", book, sheet, tmp_path / "none.csv")
    assert said.code == 2
    assert "runs.csv" in said.out
    assert "none.csv: there is no such file" in said.err
    assert "Logged before it: runs.csv" in said.err
    again = tell("log", book, sheet, tmp_path / "none.csv", "--json")
    assert "Logged before it: runs.csv" in again.json["error"]["hint"]


def test_forty_unknown_columns_do_not_hide_what_is_set_aside(
    tell: Tell, book: Path, tmp_path: Path
) -> None:
    path = tmp_path / "runs.csv"
    odd = [f"Odd {number}" for number in range(40)]
    head = ",".join(["date", "unit", "boost", *odd])
    rows = [f"2026-05-{day:02},K1,x," + ",".join("7" * 40) for day in range(1, 21)]
    path.write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    said = " ".join(tell("log", book, path).out.split())
    assert "and 17 more of this kind: rows 5, 6, 7," in said
    assert "and 37 more of this kind: columns 'Odd 3', 'Odd 4'," in said
    assert said.index("row 2, column 'boost'") < said.index("'Odd 0'")
    assert "20 rows wait to be mended" in said


def test_nothing_is_asked_to_be_mended_twice(tell: Tell, book: Path, sheet: Path) -> None:
    tell("log", book, sheet)
    numbers = [one["aside"] for one in tell("aside", book, "--json").json["aside"]]
    words = [word for number in numbers for word in ("--discard", number)]
    assert tell("aside", book, *words, "--why", "typed twice").code == 0
    said = tell("log", book, sheet)
    assert said.code == 3
    assert "nothing to do" in " ".join(said.out.split())
    assert "to be mended" not in said.out


def test_the_installed_command_answers() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "wearstats_cli", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith("wearstats ")


def test_a_book_of_which_every_build_is_left_out_says_so(tell: Tell, tmp_path: Path) -> None:
    sheet = tmp_path / "runs.csv"
    sheet.write_text("Date,Unit,Run,Strips\n2026-05-02,K1,1,sound\n")
    book = tmp_path / "shop.book"
    assert tell("log", book, sheet).code == 0
    for command in ("life", "plan"):
        said = tell(command, book)
        assert said.code == 1
        assert "every build is left out" in said.err
        assert "wearstats lives" in said.err

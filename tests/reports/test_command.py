"""`wearstats season` as it is called: a hostile book, and paper where nothing can print."""

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wearstats.book import Book
from wearstats_cli.main import main
from wearstats_reports import printing

SCRIPT = "<script>alert(1)</script>"
FORMULA = "=cmd|' /C calc'!A0"
NAMES = (
    "../../x",
    "=1+1",
    "K" * 200,
    "מגדש \u202e אדום",
    "🏁💥",
    "</title><b>K2",
)


def call(*words: object) -> int:
    with pytest.raises(SystemExit) as caught:
        main([str(word) for word in words])
    code = caught.value.code
    assert isinstance(code, int)
    return code


@pytest.fixture(scope="module")
def hostile_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile book")
    sheet = folder / "runs.csv"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["Date", "Unit", "Run", "Meet", "Boost (psi)", "Strips", "Remark"])
        for place, name in enumerate(NAMES):
            for run in range(1, 7):
                looked = "burned" if run == 6 and place % 2 else "sound"
                day = f"2026-05-{run:02d}"
                rows.writerow([day, name, 1, FORMULA, 40 - run / 4, looked, SCRIPT])
    book = folder / "hostile.book"
    with Book.create(book) as made:
        made.log(sheet)
    return book


def test_a_hostile_book_makes_a_sound_report(
    hostile_book: Path, tmp_path: Path, parsed: Callable[[Path], Any]
) -> None:
    out = tmp_path / "out"
    assert call("season", hostile_book, "--out", out) == 0
    assert {path.name for path in tmp_path.iterdir()} == {"out"}
    told = json.loads((out / "season.json").read_text(encoding="utf-8"))
    names = {unit["unit"] for unit in told["units"]}
    # What the door does not take is set aside; what it takes keeps its name.
    assert names <= set(NAMES)
    assert {"../../x", "🏁💥", "</title><b>K2"} <= names
    pages = {path.name for path in out.glob("*.html")}
    assert len(pages) == 1 + len(names)
    assert all(re.fullmatch(r"(index|unit-[a-z0-9-]{1,60})\.html", name) for name in pages)
    for name in pages:
        page = parsed(out / name)
        assert not page.all("b", "img")
        assert all("alert" not in script.text for script in page.all("script"))
    for table in out.glob("*.csv"):
        with table.open(encoding="utf-8-sig", newline="") as file:
            for cell in (cell for row in csv.reader(file) for cell in row):
                negative = re.fullmatch(r"-[\d.e+-]+", cell)
                assert negative or not cell.lstrip().startswith(("=", "+", "-", "@", "\t", "|"))


def test_pages_are_written_where_nothing_can_print_them(
    hostile_book: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(printing, "find_browser", lambda: None)
    assert call("season", hostile_book, "--out", tmp_path / "out", "--pdf", "--json") == 2
    said = capsys.readouterr()
    assert "no browser was found" in said.err
    assert "Install Chromium, Chrome or Edge" in said.err
    assert "no browser" in json.loads(said.out)["error"]["message"]
    assert (tmp_path / "out" / "index.html").is_file()
    assert not list((tmp_path / "out").glob("*.pdf"))


def test_what_was_printed_is_told(
    hostile_book: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked: list[str] = []

    def stand_in(_: Path, paper: str, page: Path) -> Path:
        asked.append(paper)
        return page.with_suffix(".pdf")

    monkeypatch.setattr(printing, "find_browser", lambda: Path("browser"))
    monkeypatch.setattr(printing, "_print", stand_in)
    out = tmp_path / "out"
    assert call("season", hostile_book, "--out", out, "--pdf", "--paper", "a4", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["pdf"][0] == str(out / "index.pdf")
    assert len(told["pdf"]) == 1 + len(told["pages"])
    assert set(asked) == {"A4"}

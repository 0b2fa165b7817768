"""The demo, as `make demo` calls it: messy sheets in, a fleet table and reports out."""

import json
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from wearstats.book import AsideItem, Book
from wearstats.lives import lives_of
from wearstats_synthetic import simulate, write_sheets
from wearstats_synthetic.spoil import Fault, Outcome

SEED = 20260503


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("season") / "demo"


@pytest.fixture(scope="module")
def told(folder: Path) -> str:
    words = [sys.executable, "-m", "wearstats_cli", "demo", str(folder), "--seed", str(SEED)]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout


@pytest.fixture(scope="module")
def faults(tmp_path_factory: pytest.TempPathFactory) -> tuple[Fault, ...]:
    return write_sheets(simulate(SEED), tmp_path_factory.mktemp("again")).faults


@pytest.fixture
def aside(told: str, folder: Path) -> dict[tuple[str, int], AsideItem]:
    assert told
    with Book.open(folder / "season.book") as book:
        return {(item.file, item.row): item for item in book.aside()}


def test_it_ends_with_a_fleet_table_marked_simulated(told: str, folder: Path) -> None:
    assert told.startswith("SIMULATED")
    rows = [line.split() for line in told.splitlines() if line.startswith((" K1 ", " K7 "))]
    assert [row[-1] in {"run", "first", "restrip"} for row in rows] == [True, True]
    assert "Before anything runs" in told
    assert max(map(len, told.splitlines())) <= 80
    for name in ("sheets/truth.json", "season.book", "report/index.html", "report/season.json"):
        assert (folder / name).stat().st_size > 0


SAMPLE = Path(__file__).parents[2] / "reports" / "sample"
# A tag, a drawing, a number. Numbers are compared in the JSON, not as they happen to be rounded;
# a drawing by its words, as its lines rest on the fonts of the machine.
_DRAWN = re.compile(
    r"<(style|script)[^>]*>.*?</\1>|<svg.*?<title[^>]*>(.*?)</title><desc[^>]*>(.*?)</desc>.*?</svg>"
    r"|<svg.*?</svg>|<[^>]*>",
    re.DOTALL,
)
_NUMBER = re.compile(r"(over |under )?\d[\d.,\u202f]*")


def _words(page: Path) -> list[str]:
    text = _DRAWN.sub(r" \2 \3 ", page.read_text(encoding="utf-8"))
    return _NUMBER.sub("#", text).split()


def _same(one: object, other: object, where: str = "") -> None:
    """Compare as finely as anything is printed: three figures; words with their numbers masked."""
    if isinstance(one, dict) and isinstance(other, dict):
        assert list(one) == list(other), where
        for key in one:
            _same(one[key], other[key], f"{where}.{key}")
    elif isinstance(one, list) and isinstance(other, list):
        assert len(one) == len(other), where
        for place, (mine, theirs) in enumerate(zip(one, other, strict=True)):
            _same(mine, theirs, f"{where}[{place}]")
    elif isinstance(one, float) and isinstance(other, float | int):
        assert one == pytest.approx(other, rel=1e-3, abs=1e-3), where
    elif isinstance(one, str) and isinstance(other, str):
        assert _NUMBER.sub("#", one) == _NUMBER.sub("#", other), where
    else:
        assert one == other, where


def test_the_sample_report_in_the_repository_is_what_the_demo_writes(
    told: str, folder: Path
) -> None:
    assert told
    fresh = folder / "report"
    again = "the sample report is not current: make sample"
    assert {p.name for p in SAMPLE.iterdir()} == {p.name for p in fresh.iterdir()}, again
    numbers = [json.loads((f / "season.json").read_text(encoding="utf-8")) for f in (SAMPLE, fresh)]
    assert numbers[0]["simulated"] is True
    _same(*numbers)
    for page in SAMPLE.glob("*.html"):
        words = _words(page)
        assert "SIMULATED" in words
        assert len(words) > 300
        assert words == _words(fresh / page.name), again


def test_a_sample_that_is_not_current_would_be_found() -> None:
    with pytest.raises(AssertionError, match="chance"):
        _same({"chance": 0.69}, {"chance": 0.70})
    with pytest.raises(AssertionError):
        _same({"said": ["a", 1]}, {"said": ["b", 1]})
    _same({"said": "69 % of 12", "x": [1.0, None]}, {"said": "70 % of 12", "x": [1.0002, None]})


def test_rows_read_are_rows_logged_there_and_set_aside(told: str, folder: Path) -> None:
    assert told
    with Book.open(folder / "season.book") as book:
        imports = book.imports()
    parts = imports["logged"] + imports["already_there"] + imports["set_aside"]
    assert (imports["rows_read"] == parts).all()
    assert int(imports["rows_read"].sum()) > 400


def test_every_fault_put_into_the_sheets_ends_as_it_should(
    aside: dict[tuple[str, int], AsideItem], faults: tuple[Fault, ...]
) -> None:
    asked_or_aside = {Outcome.ASIDE, Outcome.ASKED, Outcome.THERE}
    expected = {(fault.file, fault.row) for fault in faults if fault.outcome in asked_or_aside}
    assert len(expected) >= 10
    assert set(aside) == expected
    for fault in faults:
        if fault.outcome in asked_or_aside and fault.row is not None and fault.column is not None:
            found = aside[fault.file, fault.row].findings
            named = [(each.column, each.value) for each in found]
            assert (fault.column, fault.value) in named, fault


def test_a_slip_in_a_counter_leaves_its_build_out(
    told: str, folder: Path, faults: tuple[Fault, ...]
) -> None:
    assert told
    with Book.open(folder / "season.book") as book:
        out = lives_of(book.season()).left_out
    (slip,) = (fault for fault in faults if fault.code == "counter-slip")
    assert (slip.unit, slip.build) in {(each.unit, each.build) for each in out}


def test_what_was_set_aside_is_mended_and_logged(
    aside: dict[tuple[str, int], AsideItem],
    folder: Path,
    faults: tuple[Fault, ...],
    tmp_path: Path,
) -> None:
    right = {
        str(aside[fault.file, fault.row].number): fault
        for fault in faults
        if fault.row is not None and (fault.file, fault.row) in aside
    }
    workbook = openpyxl.load_workbook(folder / "mend.xlsx")
    for page in workbook.worksheets:
        headers = [str(cell.value) for cell in page[1]]
        for row in page.iter_rows(min_row=2):
            fault = right[str(row[headers.index("aside")].value)]
            if fault.column is not None:
                row[headers.index(fault.column)].value = fault.right
    mended = tmp_path / "mended.xlsx"
    workbook.save(mended)
    with Book.open(folder / "season.book") as book:
        result = book.log(mended)
        left = book.aside()
    repeats = [fault for fault in faults if fault.outcome is Outcome.THERE]
    assert result.rows_read == len(right)
    assert result.logged == len(right) - len(repeats)
    assert (result.already_there, result.set_aside) == (len(repeats), 0)
    assert not left


def test_the_json_beside_the_report_is_strict(told: str, folder: Path) -> None:
    assert told
    text = (folder / "report/season.json").read_text(encoding="utf-8")
    assert json.loads(text, parse_constant=pytest.fail)["simulated"] is True

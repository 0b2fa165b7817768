"""`wearstats trend` as a person meets it."""

from pathlib import Path

import pytest

from told import Tell


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def book_of(tell: Tell, folder: Path, lives: dict[str, list[int]], how: str = "burned") -> Path:
    """Log a run sheet on which each unit's strips last so many runs, looked at after each."""
    rows = ["Date,Unit,Run,Runs since restrip,Strips"]
    for unit, lasted in lives.items():
        day = 0
        for length in lasted:
            for run in range(1, length + 1):
                day += 1
                date = f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}"
                rows.append(f"{date},{unit},1,{run},{how if run == length else 'sound'}")
        date = f"2026-{1 + (day + 1) // 28:02d}-{1 + (day + 1) % 28:02d}"
        rows.append(f"{date},{unit},1,1,sound")
    sheet = folder / "runs.csv"
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    book = folder / "shop.book"
    assert tell("log", book, sheet).code == 0
    return book


WEARING = {"K1": [5, 6, 4, 6, 5], "K3": [12, 9, 7, 5, 4, 2]}


def test_each_unit_is_told_in_words_within_eighty_columns(tell: Tell, tmp_path: Path) -> None:
    said = tell("trend", book_of(tell, tmp_path, WEARING))
    assert said.code == 0
    text = " ".join(said.out.split())
    assert "K3 burns its strips faster than it did" in text
    assert "K1 burns its strips no faster than it did" in text
    assert "each failure is placed where it was found" in text
    assert max(len(line) for line in said.out.splitlines()) <= 80


def test_json_holds_what_the_text_says(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, WEARING)
    body = tell("trend", book, "--json").json
    assert (body["schema"], body["command"], body["simulated"]) == (1, "trend", False)
    assert (body["mode"], body["level"]) == ("burned", 0.9)
    steady, wearing = body["units"]
    assert (steady["unit"], steady["told"]) == ("K1", "no faster")
    assert (wearing["unit"], wearing["told"]) == ("K3", "faster")
    assert wearing["found_at"] == [12, 21, 28, 33, 37, 39]
    assert (wearing["failures"], wearing["gaps"], wearing["runs"]) == (6, 6, 40)
    assert wearing["p_value"] == pytest.approx(2 / 720)  # one of 720 orders, and its reverse
    assert set(wearing["power_law"]) == {"beta", "lambda", "eta", "runs_between_now"}
    assert wearing["power_law"]["beta"]["level"] == 0.9
    names = {test["name"] for test in wearing["tests"]}
    assert names == {"order of gaps", "Laplace", "handbook", "Lewis-Robinson", "reversals"}
    assert body["fleet"]["unit"] is None
    assert body["fleet"]["failures"] == 11
    last = body["mean_cumulative"][-1]
    assert (last["runs"], last["at_risk"], last["failures"]) == (39, 1, 1)
    assert last["mean"]["low"] is None  # one unit left: no interval
    assert body["not_followed"] == []


def test_the_level_asked_for_is_the_level_held_to(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, {"K3": [9, 7, 5, 2]})
    assert tell("trend", book, "--json").json["units"][0]["told"] == "faster"
    stricter = tell("trend", book, "--level", "0.95", "--json")
    assert stricter.code == 1
    assert stricter.json["units"][0]["told"] == "cannot be told"


def test_too_few_failures_are_one_with_the_count_and_the_reason(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, {"K1": [5, 4], "K2": [7]})
    said = tell("trend", book)
    assert said.code == 1
    text = " ".join(said.out.split())
    assert "cannot be told from 3 gaps" in text
    assert "4 complete gaps in one unit: K1 2, K2 1" in text
    assert "Failures of one unit, on average" in text  # what is known is still shown


def test_no_failure_is_one_and_says_why(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, WEARING)
    said = tell("trend", book, "--mode", "pulled")
    assert said.code == 1
    assert said.out == ""
    assert "no strips found pulled in" in said.err
    assert "Traceback" not in said.err
    error = tell("trend", book, "--mode", "pulled", "--json").json["error"]
    assert "pulled" in error["message"]


def test_another_mode_is_counted_where_asked_for(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, WEARING, how="pulled")
    body = tell("trend", book, "--mode", "pulled", "--json").json
    assert body["units"][1]["sentence"].startswith("K3 pulls its strips out faster than it did")


def test_a_unit_name_is_a_text(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, {"[red]K9[/red]": [9, 7, 5, 2]})
    assert "[red]K9[/red]" in tell("trend", book).out


def test_no_book_is_wrong_usage(tell: Tell, tmp_path: Path) -> None:
    assert tell("trend").code == 2
    assert tell("trend", tmp_path / "none.book").code == 2
    assert tell("trend", "x.book", "--mode", "melted").code == 2

"""`wearstats plan` as a person meets it."""

from pathlib import Path

import pytest

from told import Tell

LIVES = {"K1": (7, 9, 8), "K2": (8, 6, 10), "K3": (9, 7, 8)}


@pytest.fixture
def shop(tell: Tell, tmp_path: Path) -> tuple[Path, Path]:
    """A book in which three units burned strips through, each now with three runs on new ones."""
    rows = ["Date,Unit,Run,Runs since restrip,Overdrive (%),Strips"]
    for place, (unit, lasted) in enumerate(LIVES.items()):
        day = 0
        for build, length in enumerate((*lasted, 3)):
            for run in range(1, length + 1):
                day += 1
                state = "burned" if build < len(lasted) and run == length else "sound"
                date = f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}"
                rows.append(f"{date},{unit},1,{run},{34 + (place + build) % 3},{state}")
    sheet, costs = tmp_path / "runs.csv", tmp_path / "costs.toml"
    sheet.write_text("\n".join(rows), encoding="utf-8")
    costs.write_text('planned_restrip = 300\nburn_through = 1500\ncurrency = "USD"\n')
    assert tell("log", tmp_path / "shop.book", sheet).code == 0
    return tmp_path / "shop.book", costs


def test_a_terminal_of_80_columns_holds_it_and_nothing_is_said_twice(
    tell: Tell, shop: tuple[Path, Path]
) -> None:
    book, costs = shop
    said = tell("plan", book, "--costs", costs, "--meet-runs", "5", "--what-if", "overdrive=35")
    assert said.code == 0
    assert max(len(line) for line in said.out.splitlines()) <= 80
    for heading in ("Why", "When to restrip", "The meet ahead", "What if", "Before anything runs"):
        assert said.out.count(f"\n{heading}\n") == 1
    assert said.out.count("strips renewed in time") == 1
    assert said.out.count("look at it.") == 1


def test_the_meet_by_options_and_by_file_is_one(
    tell: Tell, shop: tuple[Path, Path], tmp_path: Path
) -> None:
    book, costs = shop
    file = tmp_path / "meet.toml"
    file.write_text(
        "runs = 6\nsets = 1\nhours_per_restrip = 4\nhours = 8\nwindows = [4, 0, 4, 0, 0, 0]\n"
    )
    base = ("plan", book, "--costs", costs, "--json")
    by_file = tell(*base, "--meet", file).json["meet"]
    options = ("--meet-runs", "6", "--stock", "1", "--restrip-hours", "4", "--hours", "8")
    by_options = tell(*base, *options, "--windows", "4,0,4,0,0,0").json["meet"]
    assert by_file == by_options
    assert [step["run"] for step in by_file["steps"]] == [1, 2, 3, 4, 5, 6]
    assert by_file["price_of_next_best"] >= 0


def test_a_meet_that_cannot_be_run_names_the_limit_and_tells_the_rest(
    tell: Tell, shop: tuple[Path, Path]
) -> None:
    book, costs = shop
    words = ("plan", book, "--costs", costs, "--meet-runs", "20", "--stock", "0", "--bound", "0.8")
    # Three units with three runs on strips that last seven to ten: twenty more take new strips.
    said = tell(*words)
    assert said.code == 1
    told = " ".join(said.out.split())
    assert "No plan makes 20 runs: the stock of 0 strip sets or the chance of 80 %" in told
    assert "strip sets would do." in told
    assert "Before anything runs" in said.out
    answer = tell(*words, "--json").json["meet"]
    assert set(answer) == {"why_not"}


def test_what_cannot_be_told_is_said(tell: Tell, shop: tuple[Path, Path]) -> None:
    book, costs = shop
    said = tell("plan", book, "--costs", costs, "--what-if", "boost=30")
    assert said.code == 1
    assert "It cannot be told" in said.out


@pytest.mark.parametrize(
    "words",
    [
        ("--stock", "2"),
        ("--meet-runs", "2", "--windows", "a,b"),
        ("--meet-runs", "3", "--restrip-hours", "4", "--windows", "4,0"),
        ("--meet-runs", "3", "--hours", "4"),
        ("--what-if", "overdrive"),
        ("--what-if", "moon=3"),
    ],
)
def test_wrong_usage_is_refused(
    tell: Tell, shop: tuple[Path, Path], words: tuple[str, ...]
) -> None:
    said = tell("plan", shop[0], *words)
    assert said.code == 2
    assert "Traceback" not in said.err

"""`wearstats wear` and `wearstats cut` as a person meets them."""

import json
import math
from pathlib import Path
from typing import Any

import pytest

from told import Tell
from wearstats_cli.main import main
from wearstats_synthetic import simulate, write_sheets

HEAD = "date,unit,rotor,lobe,station,clock,what,go,no-go\n"
GOES = {
    # Thou, by rotor and station, lobes 1 to 3; no-go is one more.
    ("drive", "front"): (30, 31, 30),
    ("drive", "center"): (31, 31, 30),
    ("drive", "rear"): (32, 31, 31),
    ("driven", "front"): (29, 30, 30),
    ("driven", "center"): (30, 30, 31),
    ("driven", "rear"): (30, 29, 30),
}


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    rows = [
        f"2026-05-03,K1,{rotor},{lobe},{station},,metal,{go},{go + 1}"
        for (rotor, station), goes in GOES.items()
        for lobe, go in enumerate(goes, start=1)
    ]
    path = tmp_path / "metal.csv"
    path.write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wear")
    write_sheets(simulate(7), folder, spoiled=False)
    path = folder / "shop.book"
    names = ("runs_dock.csv", "runs_trailer.xlsx", "restrips.csv", "units.csv")
    with pytest.raises(SystemExit):
        main(["log", str(path), *(str(folder / name) for name in names)])
    return path


def test_the_worked_sheet(tell: Tell, sheet: Path) -> None:
    # By hand in tests/unit/cut/test_cut.py: tightest lobe less 4 less 1.38, down to 0.1.
    code, out, _ = tell("cut", "--sheet", sheet, "--target", "4", "--growth", "1.38", "--json")
    assert code == 0
    answer: dict[str, Any] = json.loads(out)
    found = {(each["rotor"], each["station"]): each["height"] for each in answer["heights"]}
    assert found == {
        ("drive", "front"): 25.1,
        ("drive", "center"): 25.1,
        ("drive", "rear"): 26.1,
        ("driven", "front"): 24.1,
        ("driven", "center"): 25.1,
        ("driven", "rear"): 24.1,
    }
    assert answer["unit_name"] == "K1"
    assert answer["cuts"][0]["takes"] is None


def test_growth_from_the_rotors_diameter(tell: Tell, sheet: Path) -> None:
    # Running clearance of 4.00 cold is 2.62, uncertain by 1.11 with 0.36 of it cold (the worked
    # tip of the physics page): 1.38 of growth and 1.05 of its own.
    _, out, _ = tell("cut", "--sheet", sheet, "--target", "4", "--diameter", "5.8", "--json")
    growth = json.loads(out)["growth"]
    assert growth["value"] == pytest.approx(1.38, abs=0.006)
    assert growth["standard_uncertainty"] == pytest.approx(math.sqrt(1.11**2 - 0.36**2), abs=0.03)


def test_a_cut_fits_the_terminal(tell: Tell, sheet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    words = ("--target", "4", "--growth", "1.4", "--limit", "9", "--stock", "40")
    code, out, _ = tell("cut", "--sheet", sheet, *words)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "Somewhere wider than 9.0" in out
    assert "three and nine o'clock line" in out


def test_readings_in_the_command_and_metric(tell: Tell) -> None:
    # 0.77 mm is 30.315 thou, and 31 thou 0.7874 mm.
    words = ("--metal", "0.77 mm", "--metal", "31 thou", "--target", "0.1", "--growth", "0.03")
    code, out, _ = tell("cut", *words, "--in", "metric", "--json")
    assert code == 0
    answer = json.loads(out)
    assert answer["unit"] == "mm"
    assert answer["heights"][0]["metal"] == pytest.approx(0.77)
    # Down to a step of 0.1 thou, 0.00254 mm: 0.77 - 0.13 = 0.64 is 251.97 steps.
    assert answer["heights"][0]["height"] == pytest.approx(251 * 0.00254)


def test_a_map_is_written(tell: Tell, tmp_path: Path) -> None:
    rows = [
        f"2026-05-03,K1,drive,,{station},{clock},metal,{go},{go + 1}"
        for station in ("front", "rear")
        for clock, go in (("12", 30), ("3", 30), ("6", 27 if station == "rear" else 30), ("9", 30))
    ]
    path, drawn = tmp_path / "metal.csv", tmp_path / "map.svg"
    path.write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")
    code, out, _ = tell("cut", "--sheet", path, "--target", "4", "--growth", "1", "--map", drawn)
    assert code == 0
    assert "drive rotor, rear, 6 o'clock: 27.5, 3.0 below the rest" in out
    assert "not to be sanded" in out
    assert drawn.read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--target", "30", "--growth", "1.4"), 1, "no strip would stand above the rotor"),
        (("--target", "4", "--growth", "1.4", "--limit", "4.5"), 1, "is uneven by"),
        (("--target", "4", "--growth", "1.4", "--stock", "10"), 1, "no cut makes a strip higher"),
        (("--target", "-1", "--growth", "1.4"), 2, "an interference"),
        (("--target", "4"), 2, "how much the clearance closes"),
        (("--target", "4", "--growth", "1", "--unit", "K9"), 1, "no metal-to-metal reading of K9"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_the_reason(
    tell: Tell, sheet: Path, words: tuple[str, ...], code: int, said: str
) -> None:
    left, out, err = tell("cut", "--sheet", sheet, *words)
    assert (left, out) == (code, "")
    assert said in err


def test_one_source_of_readings(tell: Tell, sheet: Path) -> None:
    for words in ((), ("--sheet", sheet, "--metal", "30/31")):
        code, _, err = tell("cut", *words, "--target", "4", "--growth", "1")
        assert code == 2
        assert "name one of BOOK, --sheet FILE and --metal READING" in err


def test_a_reading_that_is_none(tell: Tell) -> None:
    code, _, err = tell("cut", "--metal", "wide", "--target", "4", "--growth", "1")
    assert code == 2
    assert "--metal wide" in err


def test_a_row_that_could_not_be_taken_is_said(tell: Tell, sheet: Path) -> None:
    with sheet.open("a", encoding="utf-8") as file:
        file.write("2026-05-03,K1,drive,9,front,,metal,30,31\n")
    code, out, _ = tell("cut", "--sheet", sheet, "--target", "4", "--growth", "1")
    assert code == 3
    assert "Not taken" in out


def test_the_books_newest_readings(tell: Tell, book: Path) -> None:
    code, out, _ = tell("cut", book, "--unit", "K1", "--target", "4", "--json")
    assert code == 0
    answer = json.loads(out)
    assert answer["unit_name"] == "K1"
    assert answer["growth"]["said"].endswith("alcohol")
    code, _, err = tell("cut", book, "--target", "4")
    assert code == 2
    assert "name the unit with --unit: K1" in err


def test_wear_with_a_limit(tell: Tell, book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    code, out, _ = tell("wear", book, "--limit", "8")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "Limit or burn-through within 4 runs, whichever comes first" in out
    _, out, _ = tell("wear", book, "--limit", "8", "--runs", "6", "--json")
    for unit in json.loads(out)["forecast"]:
        runs = [row["runs"] for row in unit["by_run"]]
        assert runs == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
        for row in unit["by_run"]:
            assert row["limit_first"] + row["burned_first"] == pytest.approx(row["either"])
        either, limit = unit["runs_to_either"], unit["runs_to_limit"]
        assert either["low"] <= either["estimate"]
        assert either["estimate"] <= limit["estimate"]


def test_wear_of_mesh_names_no_height(tell: Tell, book: Path) -> None:
    code, out, _ = tell("wear", book, "--what", "mesh", "--json")
    assert code == 0
    assert json.loads(out)["by_height"] == 0

"""What is written: whole files, safe names, text that stays text, the same bytes each time."""

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from wearstats.book import AsideItem
from wearstats.errors import RecordError, UsageError
from wearstats.estimates import Estimate
from wearstats.records.findings import Finding
from wearstats.records.season import Season
from wearstats_reports import SeasonReport, WrittenReport, season_report, write_season
from wearstats_reports.data import plain

EXPECTED = {
    *("index.html", "season.json", "lives.csv", "outlook.csv", "clearances.csv", "boost.csv"),
    "factors.csv",
}
SCRIPT = "<script>alert(1)</script>"
FORMULA = "=cmd|' /C calc'!A0"


def test_a_folder_holds_what_was_promised(written: WrittenReport) -> None:
    names = {path.name for path in written.folder.iterdir()}
    assert names == EXPECTED | {"unit-k1.html", "unit-k2.html", "unit-k3.html"}
    assert [path.name for path in written.tables] == [
        "lives.csv",
        "outlook.csv",
        "clearances.csv",
        "boost.csv",
        "factors.csv",
    ]
    assert {unit for unit, _ in written.pages} == {"K1", "K2", "K3"}


def test_hostile_names_stay_names(hostile: tuple[SeasonReport, WrittenReport]) -> None:
    value, written = hostile
    assert len(value.units) == len(written.pages) == 9
    for _, path in written.pages:
        assert path.parent == written.folder
        assert re.fullmatch(r"unit-[a-z0-9-]{1,60}\.html", path.name)
    assert len(list(written.folder.iterdir())) == len(EXPECTED) + 9
    assert {unit for unit, _ in written.pages} >= {"../../x", "🏁💥", "<b>K2</b>"}


def test_hostile_text_stays_text(
    hostile: tuple[SeasonReport, WrittenReport], parsed: Callable[[Path], Any]
) -> None:
    _, written = hostile
    for unit, path in written.pages:
        page = parsed(path)
        assert not page.all("b")
        assert all("alert" not in script.text for script in page.all("script"))
        assert page.all("h1")[0].text == re.sub(r"[\x00\x07]", "\ufffd", unit)
        assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", path.read_text(encoding="utf-8"))
    first = parsed(dict(written.pages)["../../x"])
    assert first.classed("remark")[0].text.startswith(SCRIPT)
    assert FORMULA in first.text


def test_no_cell_of_a_table_is_a_formula(hostile: tuple[SeasonReport, WrittenReport]) -> None:
    _, written = hostile
    meets = set()
    for path in written.tables:
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.DictReader(file):
                meets.add(row.get("meet"))
                for cell in row.values():
                    risky = cell.lstrip().startswith(("=", "+", "@", "\t")) or (
                        cell.startswith("-") and not re.fullmatch(r"-[\d.e+-]+", cell)
                    )
                    assert not risky, (path.name, cell)
    assert any(meet and FORMULA in meet for meet in meets)


def test_json_is_strict_and_every_estimate_has_its_four_keys(written: WrittenReport) -> None:
    def refuse(constant: str) -> float:
        message = f"{constant} is no JSON"
        raise AssertionError(message)

    told = json.loads(written.numbers.read_text(encoding="utf-8"), parse_constant=refuse)
    assert (told["schema"], told["command"], told["simulated"]) == (1, "season", True)
    seen = []

    def walk(value: object) -> None:
        if isinstance(value, dict):
            if "estimate" in value and "level" in value:
                seen.append(set(value))
            for item in value.values():
                walk(item)
        elif isinstance(value, list):
            for item in value:
                walk(item)

    walk(told)
    assert len(seen) > 20
    assert all(keys == {"estimate", "low", "high", "level"} for keys in seen)


def test_tables_hold_the_numbers_of_the_json(report: SeasonReport, written: WrittenReport) -> None:
    outlook = pd.read_csv(written.folder / "outlook.csv").set_index("unit")
    boost = pd.read_csv(written.folder / "boost.csv")
    lives = pd.read_csv(written.folder / "lives.csv")
    gaps = pd.read_csv(written.folder / "clearances.csv")
    for unit in report.units:
        chance = unit.today.chance_next.estimate
        assert chance is not None
        assert outlook.loc[unit.unit, "chance_next"] == pytest.approx(chance.estimate, rel=1e-12)
        assert (boost["unit"] == unit.unit).sum() == len(unit.boost.points)
        assert (lives["unit"] == unit.unit).sum() == len(unit.lives)
        mine = gaps[gaps["unit"] == unit.unit]
        assert len(mine) == len(unit.clearance.readings)
        assert (mine["what"] == "tip").sum() == len(unit.clearance.of("tip")) > 0


def test_the_same_season_and_seed_give_the_same_bytes(
    hostile_season: Season, hostile: tuple[SeasonReport, WrittenReport], tmp_path: Path
) -> None:
    again = season_report(hostile_season, level=0.9, seed=20260503, runs_ahead=4)
    assert again == hostile[0]
    written = write_season(again, tmp_path)
    for path in hostile[1].folder.iterdir():
        assert (written.folder / path.name).read_bytes() == path.read_bytes(), path.name


def test_a_write_that_fails_leaves_what_was_there(
    nearly_empty: tuple[SeasonReport, WrittenReport],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = write_season(nearly_empty[0], tmp_path).index.read_bytes()
    replace = Path.replace

    def full(self: Path, target: Path) -> Path:
        if target.name == "index.html":
            message = "no space left"
            raise OSError(message)
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(RecordError, match="no space left"):
        write_season(nearly_empty[0], tmp_path)
    assert (tmp_path / "index.html").read_bytes() == before
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_folder_that_is_a_file_is_refused_by_name(
    nearly_empty: tuple[SeasonReport, WrittenReport], tmp_path: Path
) -> None:
    path = tmp_path / "taken"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="taken"):
        write_season(nearly_empty[0], path)
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_value_without_a_place_in_a_report_is_refused() -> None:
    assert plain(Estimate(1.0, None, 2.0, 0.9, "psi")) == {
        "estimate": 1.0,
        "low": None,
        "high": 2.0,
        "level": 0.9,
    }
    assert plain(float("nan")) is None
    with pytest.raises(TypeError, match="object"):
        plain(object())


_ASIDE = AsideItem(
    number=1,
    file="runs.csv",
    sheet="runs",
    kind="runs",
    row=17,
    cells={"Blower": " k1 ", "Tip": "0.004"},
    findings=(Finding("unit-doubt", "0.004 could be thou or inches"),),
    state="open",
)


def test_what_was_set_aside_is_told_under_its_unit(nearly_empty_season: Season) -> None:
    value = season_report(nearly_empty_season, set_aside=[_ASIDE])
    told = value.units[0].left_out[0]
    assert told.what == "row 17 of runs.csv, sheet runs"
    assert told.reason == "0.004 could be thou or inches."
    assert value.left_out[0] == told


def test_a_retired_unit_gets_no_advice(season: Season) -> None:
    units = season.units.copy()
    units.loc[units["unit"] == "K2", "retired"] = pd.Timestamp("2026-07-01")
    value = season_report(
        Season.from_frames(runs=season.runs, restrips=season.restrips, units=units)
    )
    last = value.units[-1]
    assert (last.unit, last.today.advice) == ("K2", "not in service")
    assert not last.today.chance_next.known


@pytest.mark.parametrize(
    ("wrong", "said"),
    [({"level": 1.0}, "level"), ({"bound": 0.0}, "chance"), ({"runs_ahead": 0}, "runs ahead")],
)
def test_settings_that_make_no_report_are_refused(
    nearly_empty_season: Season, wrong: dict[str, Any], said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        season_report(nearly_empty_season, **wrong)

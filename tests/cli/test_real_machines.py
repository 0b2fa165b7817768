"""Records of real machines along the whole road: log, lives, life, plan, season.

41 diesel engines, 48 valve seats renewed over about two years: Nelson 1995, Technometrics
37:147-157; Meeker and Escobar 1998, ch. 16. An engine stands for a unit, a day of service for a
run, a renewal for a restrip after a run that found the strips burned. Two engines renewed two
seats on one day: the second renewal is written after a second run of that day, since a life of no
length is none. No distribution of times between renewals is published; the fit is compared with
lifelines on gaps computed from the file without this project.
"""

import csv
import json
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from lifelines import WeibullFitter

from wearstats_cli.main import main

DATA = Path(__file__).resolve().parents[1] / "reference" / "data" / "v09_valve_seats.csv"
FIRST_DAY = date(2021, 1, 1)


def engines() -> dict[str, tuple[list[int], int]]:
    renewals: dict[str, list[int]] = defaultdict(list)
    ends: dict[str, int] = {}
    with DATA.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["event"] == "1":
                renewals[row["system"]].append(int(row["time"]))
            else:
                ends[row["system"]] = int(row["time"])
    return {name: (sorted(renewals[name]), end) for name, end in ends.items()}


def days(renewals: list[int], end: int) -> Iterator[tuple[int, int, bool]]:
    """Yield (day, run of the day, found burned)."""
    for day in range(1, end + 1):
        at_once = renewals.count(day)
        for number in range(1, max(at_once, 1) + 1):
            yield day, number, number <= at_once


def write_sheets(folder: Path) -> list[Path]:
    units, runs, restrips = (folder / f"{name}.csv" for name in ("units", "runs", "restrips"))
    with (
        units.open("w", encoding="utf-8", newline="") as unit_file,
        runs.open("w", encoding="utf-8", newline="") as run_file,
        restrips.open("w", encoding="utf-8", newline="") as restrip_file,
    ):
        write_unit, write_run, write_restrip = (
            csv.writer(file).writerow for file in (unit_file, run_file, restrip_file)
        )
        write_unit(["Unit", "Taken in"])
        write_run(["Date", "Unit", "Run", "Runs since restrip", "Strips"])
        write_restrip(["Date", "Unit", "After run", "Reason"])
        for name, (renewals, end) in engines().items():
            write_unit([name, FIRST_DAY.isoformat()])
            write_restrip([FIRST_DAY.isoformat(), name, "", "other"])
            counter = 0
            for day, number, burned in days(renewals, end):
                counter += 1
                when = (FIRST_DAY + timedelta(days=day)).isoformat()
                write_run([when, name, number, counter, "burned" if burned else "sound"])
                if burned:
                    write_restrip([when, name, number, "burned"])
                    counter = 0
    return [units, runs, restrips]


def gaps() -> tuple[list[float], list[float]]:
    """Return (lower, upper] of every life, counted in runs without this project."""
    lower: list[float] = []
    upper: list[float] = []
    for renewals, end in engines().values():
        counter = 0
        for _, _, burned in days(renewals, end):
            counter += 1
            if burned:
                lower.append(counter - 1)
                upper.append(counter)
                counter = 0
        lower.append(counter)
        upper.append(np.inf)
    return lower, upper


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("machines")


def call(*words: str | Path) -> int:
    with pytest.raises(SystemExit) as left:
        main([str(word) for word in words])
    assert isinstance(left.value.code, int)
    return left.value.code


def test_forty_one_machines_go_the_whole_road(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = folder / "machines.book"
    assert call("log", book, *write_sheets(folder), "--json") == 0
    files = {file["file"]: file for file in json.loads(capsys.readouterr().out)["files"]}
    rows = sum(len(list(days(*history))) for history in engines().values())
    assert files["runs.csv"]["rows_read"] == files["runs.csv"]["logged"] == rows
    assert files["restrips.csv"]["logged"] == 41 + 48

    assert call("lives", book, "--json") == 0
    lives = json.loads(capsys.readouterr().out)
    counts = lives["counts"]
    assert (counts["failed"], counts["unfinished"], counts["left_out"]) == (48, 41, 0)
    lower, upper = gaps()
    wanted = sorted(zip(lower, upper, strict=True))
    found = sorted(
        (life["lower"], np.inf if life["upper"] is None else life["upper"])
        for life in lives["lives"]
    )
    assert found == wanted

    assert call("life", book, "--json") == 0
    life = json.loads(capsys.readouterr().out)
    fitter = WeibullFitter().fit_interval_censoring(
        np.array(lower) + 1e-9, np.array(upper), initial_point=np.array([700.0, 1.0])
    )
    # lifelines stops at about 1e-5 relative and wants a lower end above nought.
    assert life["parameters"]["scale"]["estimate"] == pytest.approx(fitter.lambda_, rel=1e-3)
    assert life["parameters"]["shape"]["estimate"] == pytest.approx(fitter.rho_, rel=1e-3)

    assert call("plan", book, "--json") == 0
    plan = json.loads(capsys.readouterr().out)
    assert len(plan["units"]) == 41
    assert (plan["lives"], plan["failures"]) == (89, 48)

    assert call("season", book, "--out", folder / "report", "--json") == 0
    written = json.loads(capsys.readouterr().out)
    assert len(written["pages"]) == 41
    assert all(Path(page).stat().st_size > 0 for page in written["pages"].values())

"""Spoiled histories: each contradiction leaves out the builds it touches, and no others."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.lives import StripLives, lives_of
from wearstats.records.season import Season

MODES = ("burned", "pulled", "cut", "rubbed")
SOUND = ("sound", "hot")
SEEDS = st.integers(0, 2**32 - 1)
Row = dict[str, Any]


def season_of(runs: list[Row], restrips: list[Row], units: list[Row]) -> Season:
    return Season.from_frames(
        runs=pd.DataFrame(runs) if runs else None,
        restrips=pd.DataFrame(restrips) if restrips else None,
        units=pd.DataFrame(units),
    )


@dataclass
class Plain:
    """Four builds of one unit, told in full: every counter filled, restrips on days of rest."""

    runs: list[Row]
    restrips: list[Row]
    units: list[Row]

    def of(self, build: int) -> list[Row]:
        return [run for run in self.runs if run["_build"] == build]

    def begun(self, build: int) -> Row:
        return self.restrips[build - 2]

    def lives(self) -> StripLives:
        runs = [{k: v for k, v in run.items() if k != "_build"} for run in self.runs]
        return lives_of(season_of(runs, self.restrips, self.units))


def plain(seed: int) -> tuple[Plain, np.random.Generator]:
    rng = np.random.default_rng(seed)
    runs: list[Row] = []
    restrips: list[Row] = []
    today = date(2026, 4, 1)
    joined_with = int(rng.integers(0, 3))
    for build in range(1, 5):
        if build > 1:
            today += timedelta(days=2)
            reason = str(rng.choice(["planned", "burned"]))
            restrips.append({"date": today, "unit": "K1", "reason": reason})
        number = 0
        for at in range(int(rng.integers(3, 7))):
            number = 1 if at == 0 or rng.random() < 0.5 else number + 1
            today += timedelta(days=int(number == 1))
            counter = at + 1 + (joined_with if build == 1 else 0)
            runs.append(
                {
                    "_build": build,
                    "date": today,
                    "unit": "K1",
                    "run": number,
                    "runs_since_restrip": counter,
                    "strips": "sound" if at < 2 and rng.random() < 0.5 else None,
                }
            )
    return Plain(runs, restrips, [{"unit": "K1", "taken_in": None, "retired": None}]), rng


Spoil = Callable[[Plain, np.random.Generator, int], tuple[str, set[int]]]


def slip_of_the_pen(told: Plain, rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    rows = told.of(build)
    rows[int(rng.integers(1, len(rows)))]["runs_since_restrip"] += 7
    return "counter-disagrees", {build}


def fraction_in_the_counter(
    told: Plain, rng: np.random.Generator, build: int
) -> tuple[str, set[int]]:
    rows = told.of(build)
    rows[int(rng.integers(1, len(rows)))]["runs_since_restrip"] += 0.5
    return "counter-disagrees", {build}


def run_forgotten(told: Plain, rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    rows = told.of(build)
    told.runs.remove(rows[int(rng.integers(1, len(rows) - 1))])
    return "counter-disagrees", {build}


def restrip_forgotten(told: Plain, _rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    told.restrips.remove(told.begun(build))
    return "fall-without-restrip", {build - 1, build}


def restrip_twice(told: Plain, _rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    told.restrips.append(told.begun(build) | {"after_run": 0})
    return "two-restrips", {build - 1, build}


def restrip_somewhere_in_the_day(
    told: Plain, _rng: np.random.Generator, build: int
) -> tuple[str, set[int]]:
    told.begun(build)["date"] = told.of(build)[0]["date"]
    for run in told.of(build):
        run["runs_since_restrip"] = None
    return "restrip-order", {build - 1, build}


def restrip_after_no_such_run(
    told: Plain, _rng: np.random.Generator, build: int
) -> tuple[str, set[int]]:
    told.begun(build).update({"date": told.of(build - 1)[-1]["date"], "after_run": 20})
    return "restrip-order", {build - 1, build}


def taken_in_late(told: Plain, _rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    told.units[0]["taken_in"] = told.of(build)[0]["date"] + timedelta(days=1)
    return "before-taken-in", set(range(1, build + 1))


def retired_early(told: Plain, _rng: np.random.Generator, _build: int) -> tuple[str, set[int]]:
    told.units[0]["retired"] = told.runs[-1]["date"] - timedelta(days=1)
    return "after-retired", {4}


def retired_before_taken_in(
    told: Plain, _rng: np.random.Generator, _build: int
) -> tuple[str, set[int]]:
    told.units[0] |= {"taken_in": date(2026, 3, 1), "retired": date(2026, 2, 1)}
    return "retired-before-taken-in", {1, 2, 3, 4}


def sound_after_burned(told: Plain, rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    rows = told.of(build)
    at = int(rng.integers(0, len(rows) - 1))
    rows[at]["strips"], rows[-1]["strips"] = "burned", str(rng.choice(SOUND))
    return "sound-after-failed", {build}


def two_modes(told: Plain, rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    rows = told.of(build - 1)
    rows[-1]["strips"] = "pulled"
    told.begun(build)["reason"] = str(rng.choice(["burned", "cut", "rubbed"]))
    return "modes-disagree", {build - 1}


def burned_but_found_sound(
    told: Plain, rng: np.random.Generator, build: int
) -> tuple[str, set[int]]:
    told.begun(build).update({"reason": "burned", "found": str(rng.choice(SOUND))})
    return "modes-disagree", {build - 1}


def burned_on_the_bench(told: Plain, _rng: np.random.Generator, build: int) -> tuple[str, set[int]]:
    told.of(build - 1)[-1]["strips"] = "hot"
    told.begun(build).update({"reason": "burned", "found": None})
    return "ends-before-it-begins", {build - 1}


def first_counters_blank(
    told: Plain, _rng: np.random.Generator, _build: int
) -> tuple[str, set[int]]:
    for run in told.of(1):
        run["runs_since_restrip"] = None
    return "age-unknown", {1}


def strips_fewer_than_none(
    told: Plain, _rng: np.random.Generator, _build: int
) -> tuple[str, set[int]]:
    for at, run in enumerate(told.of(1)):
        run["runs_since_restrip"] = at
    return "counter-disagrees", {1}


SPOILS: tuple[Spoil, ...] = (
    slip_of_the_pen,
    fraction_in_the_counter,
    run_forgotten,
    restrip_forgotten,
    restrip_twice,
    restrip_somewhere_in_the_day,
    restrip_after_no_such_run,
    taken_in_late,
    retired_early,
    retired_before_taken_in,
    sound_after_burned,
    two_modes,
    burned_but_found_sound,
    burned_on_the_bench,
    first_counters_blank,
    strips_fewer_than_none,
)


def lives_by_runs(lives: StripLives) -> dict[frozenset[tuple[Any, ...]], tuple[Any, ...]]:
    """Return what is claimed of each build, by the runs in it; builds may be renumbered."""
    lives_by_key = {(row["unit"], row["build"]): row for row in lives.frame.to_dict("records")}
    claims: dict[frozenset[tuple[Any, ...]], tuple[Any, ...]] = {}
    for (unit, build), life in lives_by_key.items():
        rows = lives.runs[(lives.runs["unit"] == unit) & (lives.runs["build"] == build)]
        runs = frozenset(zip(rows["date"], rows["run"], strict=True))
        claims[runs] = tuple(life[name] for name in ("entry", "lower", "upper", "mode", "left_out"))
    return claims


@pytest.mark.parametrize("spoil", SPOILS)
@given(seed=SEEDS, build=st.integers(2, 4))
@settings(max_examples=5, deadline=None)
def test_each_contradiction_leaves_out_its_builds_and_no_others(
    spoil: Spoil, seed: int, build: int
) -> None:
    told, rng = plain(seed)
    clean = told.lives()
    assert clean.left_out == ()
    build_of = {(pd.Timestamp(run["date"]), run["run"]): run["_build"] for run in told.runs}
    code, touched = spoil(told, rng, build)
    lives = told.lives()
    assert code in {left.code for left in lives.left_out}
    assert all(left.message for left in lives.left_out)
    claims = lives_by_runs(clean)
    seen: set[int] = set()
    for runs, claim in lives_by_runs(lives).items():
        builds = {build_of[run] for run in runs}
        if claim[-1]:
            seen |= builds
        else:
            assert claim == claims[runs]
    assert seen == touched

"""Laws that hold for any records, true or not: nothing lost, nothing claimed twice."""

import functools
import math
from collections.abc import Hashable
from dataclasses import replace
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


def rows_of(lives: StripLives) -> dict[tuple[str, int], dict[Hashable, Any]]:
    return {(row["unit"], row["build"]): row for row in lives.frame.to_dict("records")}


def codes_of(lives: StripLives) -> dict[tuple[str, int], set[str]]:
    codes: dict[tuple[str, int], set[str]] = {}
    for left in lives.left_out:
        codes.setdefault((left.unit, left.build), set()).add(left.code)
    return codes


def anything(seed: int, rows: int = 60, *, repeats: bool = False) -> Season:
    """Write nonsense: any word and number the schema takes, in any order."""
    rng = np.random.default_rng(seed)

    def pick(*values: object) -> Any:
        return values[int(rng.integers(0, len(values)))]

    def day() -> date:
        return date(2026, 5, 1) + timedelta(days=int(rng.integers(0, 6)))

    runs: dict[tuple[object, ...], Row] = {}
    restrips: dict[tuple[object, ...], Row] = {}
    for at in range(rows):
        row = {
            "date": day(),
            "unit": pick("K1", "K2", "K3"),
            "run": int(rng.integers(1, 9)),
            "load": pick(None, 1.0, 0.5, 0.1, 0.0),
            "runs_since_restrip": pick(None, None, float(rng.integers(0, 6)), 1.5),
            "strips": pick(None, None, *SOUND, *MODES),
            "remark": f"row {at % 7}",
        }
        runs[row["date"], row["unit"], row["run"], at if repeats else 0] = row
    for at in range(int(rng.integers(0, 8))):
        row = {
            "date": day(),
            "unit": pick("K1", "K2", "K3"),
            "after_run": pick(None, None, 0, 1, 2, 5),
            "reason": pick(None, "planned", "sold", "crash", *MODES),
            "found": pick(None, *SOUND, *MODES),
            "runs_already_on_the_strips": pick(None, None, 2.0),
        }
        restrips[row["date"], row["unit"], row["after_run"], at if repeats else 0] = row
    units = [{"unit": "K1", "taken_in": day(), "retired": pick(None, day())}]
    # Past the season's own checks, so that rows entered twice get through as well.
    empty = no_season()
    return Season(
        runs=_like(empty.runs, list(runs.values())),
        restrips=_like(empty.restrips, list(restrips.values())),
        units=_like(empty.units, units),
        readings=empty.readings,
    )


@functools.cache
def no_season() -> Season:
    return Season.from_frames()


def _like(frame: pd.DataFrame, rows: list[Row]) -> pd.DataFrame:
    columns: dict[str, pd.Series] = {}
    for name in frame.columns:
        values = pd.Series([row.get(name) for row in rows], dtype=object)
        if frame[name].dtype.kind == "M":
            values = pd.to_datetime(values)
        columns[name] = values.astype(frame[name].dtype)
    return pd.DataFrame(columns)


@given(SEEDS, st.booleans())
@settings(max_examples=30, deadline=None)
def test_every_run_has_one_build_and_every_build_one_life(seed: int, repeats: bool) -> None:
    sheets = anything(seed, repeats=repeats)
    lives = lives_of(sheets)
    assert len(lives.runs) == len(sheets.runs)
    assert not lives.frame.duplicated(["unit", "build"]).any()
    joined = lives.runs.merge(lives.frame[["unit", "build", "runs"]], how="left", validate="m:1")
    assert joined["runs"].notna().all()
    assert lives.frame["runs"].sum() == len(sheets.runs)
    for unit, rows in sheets.runs.groupby("unit"):
        mine = lives.runs[lives.runs["unit"] == unit]
        assert mine["load"].sum() == pytest.approx(rows["load"].fillna(1.0).sum(), abs=1e-9)
    per_build = lives.runs.groupby(["unit", "build"])["load"].sum()
    for key, life in rows_of(lives).items():
        if not math.isnan(life["age"]):
            load = per_build.get(key, 0.0)
            assert life["age"] - life["entry"] == pytest.approx(load, abs=1e-9)


@given(SEEDS, st.booleans())
@settings(max_examples=30, deadline=None)
def test_a_usable_life_is_an_interval_and_a_left_out_one_makes_no_claim(
    seed: int, repeats: bool
) -> None:
    lives = lives_of(anything(seed, repeats=repeats))
    usable = lives.usable
    assert (usable["entry"] >= 0).all()
    assert (usable["lower"] >= usable["entry"]).all()
    assert (usable["upper"] > usable["lower"]).all()
    assert (usable["age"] >= usable["lower"]).all()
    assert ((usable["mode"] != "") == np.isfinite(usable["upper"])).all()
    left = lives.frame[lives.frame["left_out"]]
    assert left[["lower", "upper"]].isna().all(axis=None)
    assert (left["mode"] == "").all()
    assert {*zip(left["unit"], left["build"], strict=True)} == {*codes_of(lives)}
    for mode in MODES:
        observed = lives.observations(mode)
        assert observed.count == len(usable)
        assert observed.failures == (usable["mode"] == mode).sum()


def same(one: StripLives, other: StripLives) -> None:
    pd.testing.assert_frame_equal(one.frame, other.frame)
    pd.testing.assert_frame_equal(one.runs, other.runs)
    assert one.left_out == other.left_out
    assert one.notes == other.notes


@given(SEEDS, st.booleans())
@settings(max_examples=25, deadline=None)
def test_the_order_of_the_rows_does_not_matter(seed: int, repeats: bool) -> None:
    sheets = anything(seed, repeats=repeats)
    shuffled = replace(
        sheets,
        runs=sheets.runs.sample(frac=1, random_state=seed),
        restrips=sheets.restrips.sample(frac=1, random_state=seed),
        units=sheets.units.sample(frac=1, random_state=seed),
    )
    same(lives_of(sheets), lives_of(shuffled))


@given(SEEDS)
@settings(max_examples=25, deadline=None)
def test_units_do_not_touch_each_other(seed: int) -> None:
    sheets = anything(seed)
    whole = lives_of(sheets)
    for unit in sorted({*sheets.runs["unit"], *sheets.restrips["unit"]}):
        alone = lives_of(
            replace(
                sheets,
                runs=sheets.runs[sheets.runs["unit"] == unit],
                restrips=sheets.restrips[sheets.restrips["unit"] == unit],
            )
        )
        mine = whole.frame[whole.frame["unit"] == unit].reset_index(drop=True)
        pd.testing.assert_frame_equal(alone.frame, mine)
        runs = whole.runs[whole.runs["unit"] == unit].reset_index(drop=True)
        pd.testing.assert_frame_equal(alone.runs, runs)
        assert alone.left_out == tuple(left for left in whole.left_out if left.unit == unit)


@given(SEEDS)
@settings(max_examples=25, deadline=None)
def test_another_name_for_a_unit_changes_nothing_else(seed: int) -> None:
    sheets = anything(seed)
    new = {"K1": "zeta", "K2": "Blower 7", "K3": "alpha"}  # sorts otherwise, too
    renamed = lives_of(
        replace(
            sheets,
            runs=sheets.runs.assign(unit=sheets.runs["unit"].map(new)),
            restrips=sheets.restrips.assign(unit=sheets.restrips["unit"].map(new)),
            units=sheets.units.assign(unit=sheets.units["unit"].map(new)),
        )
    )
    expected = lives_of(sheets).frame
    expected["unit"] = expected["unit"].map(new)
    expected = expected.sort_values(["unit", "build"], ignore_index=True)
    pd.testing.assert_frame_equal(renamed.frame, expected, check_dtype=len(expected) > 0)

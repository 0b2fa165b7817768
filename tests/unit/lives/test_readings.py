"""Clearance and boost readings stand at the age the strips had."""

import math
from typing import Any

import pandas as pd
import pytest

from wearstats.errors import ObservationError
from wearstats.lives import boost_rows, clearance_readings, lives_of
from wearstats.records.season import Season

Row = dict[str, Any]


def season(
    runs: list[Row], restrips: list[Row] | None = None, readings: list[Row] | None = None
) -> Season:
    def frame(rows: list[Row] | None) -> pd.DataFrame | None:
        if not rows:
            return None
        return pd.DataFrame(
            [row | {"date": f"2026-05-{row['date']:02d}", "unit": "K1"} for row in rows]
        )

    return Season.from_frames(runs=frame(runs), restrips=frame(restrips), readings=frame(readings))


def read(
    runs: list[Row], restrips: list[Row] | None = None, readings: list[Row] | None = None
) -> pd.DataFrame:
    records = season(runs, restrips, readings)
    return clearance_readings(records, lives_of(records))


def rows(table: pd.DataFrame, *columns: str) -> list[tuple[Any, ...]]:
    return list(table[list(columns)].itertuples(index=False, name=None))


def test_readings_of_a_run_stand_at_the_age_after_it() -> None:
    table = read(
        [
            {"date": 2, "load": 0.5, "tip_low_thou": 3.0, "tip_high_thou": 4.0},
            {"date": 3, "strips": "hot", "end_low_thou": 8.0, "end_high_thou": math.nan},
            {"date": 4, "strip_height_thou": 25.0},
        ],
        [
            {
                "date": 1,
                "tip_low_thou": 2.0,
                "tip_high_thou": 3.0,
                "metal_low_thou": 30.0,
                "metal_high_thou": 30.0,
            }
        ],
    )
    assert rows(table, "age", "what", "low_thou", "source", "strips") == [
        (0, "metal", 30, "restrips", None),
        (0, "tip", 2, "restrips", None),
        (0.5, "tip", 3, "runs", None),
        (1.5, "end", 8, "runs", "hot"),
        (2.5, "strip height", 25, "runs", "hot"),
    ]
    assert table["high_thou"].tolist()[:3] == [30, 3, 4]
    assert math.isnan(table["high_thou"].iloc[3])
    assert table["high_thou"].iloc[4] == 25
    assert not table["left_out"].any()


def test_fresh_strips_are_read_at_the_entry_of_their_build() -> None:
    tip = {"tip_low_thou": 4.0, "tip_high_thou": 4.0}
    table = read(
        [{"date": 2}, {"date": 4, "strips": "sound"}],
        [{"date": 1} | tip, {"date": 3, "runs_already_on_the_strips": 5} | tip],
    )
    assert rows(table, "build", "age") == [(1, 0), (2, 5)]


def test_a_reading_was_taken_after_that_days_runs() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 5.0, "rotor": "drive"}
    table = read(
        [{"date": 2, "run": 1}, {"date": 2, "run": 2}, {"date": 5, "strips": "sound"}],
        [{"date": 1}],
        [{"date": 2} | tip, {"date": 3} | tip, {"date": 5} | tip],
    )
    assert rows(table, "build", "age", "strips", "rotor") == [
        (1, 2, None, "drive"),
        (1, 2, None, "drive"),
        (1, 3, "sound", "drive"),
    ]


def test_a_reading_between_restrip_and_first_run_is_of_fresh_strips() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 4.0}
    table = read([{"date": 2}, {"date": 6}], [{"date": 1}, {"date": 4}], [{"date": 5} | tip])
    assert rows(table, "build", "age", "left_out") == [(2, 0, False)]


def test_on_the_day_of_a_restrip_old_strips_and_new_cannot_be_told_apart() -> None:
    values = {"value_low_thou": 4.0, "value_high_thou": 4.0}
    table = read(
        [{"date": 2}, {"date": 6}],
        [{"date": 1}, {"date": 4}],
        [{"date": 4, "what": "tip"} | values, {"date": 4, "what": "metal"} | values],
    )
    assert rows(table, "what", "left_out") == [("metal", False), ("tip", True)]
    assert "restrip that day" in table["why"].iloc[1]


def test_between_builds_whose_restrip_is_not_on_record_it_cannot_be_told_either() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 4.0}
    runs = [(1, 1), (2, 2), (5, 1), (6, 2)]
    table = read(
        [{"date": day, "runs_since_restrip": counter} for day, counter in runs],
        None,
        [{"date": day} | tip for day in (1, 2, 3, 5, 9)],
    )
    assert table["left_out"].tolist() == [False, True, True, False, False]
    assert rows(table[~table["left_out"]], "build", "age") == [(1, 1), (2, 1), (2, 2)]


def test_a_unit_that_joined_with_strips_on_it_is_read_at_its_entry() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 4.0}
    table = read([{"date": 5, "runs_since_restrip": 4}], None, [{"date": 2} | tip])
    assert rows(table, "build", "age", "left_out") == [(1, 3, False)]


def test_no_strips_on_record_is_said() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 4.0}
    table = read([{"date": 6}], [{"date": 5}], [{"date": 2} | tip])
    assert rows(table, "build", "why") == [(0, "no strips on record that day")]


@pytest.mark.parametrize(
    ("blades", "interval", "why"),
    [
        ({"go_thou": 3.0, "no_go_thou": 4.0}, (3, 4), ""),
        ({"go_thou": 3.0}, (3, None), ""),
        (
            {"go_thou": 3.0, "no_go_thou": 4.0, "value_low_thou": 4.0, "value_high_thou": 4.0},
            (3, 4),
            "",
        ),
        (
            {"go_thou": 3.0, "no_go_thou": 4.0, "value_low_thou": 6.0, "value_high_thou": 6.0},
            (3, 4),
            "value outside of go and no-go",
        ),
        ({"go_thou": 5.0, "no_go_thou": 4.0}, (5, 4), "go above no-go"),
        ({}, (None, None), "no value"),
    ],
)
def test_go_and_no_go_are_the_reading(
    blades: Row, interval: tuple[float | None, float | None], why: str
) -> None:
    table = read([{"date": 2}], [{"date": 1}], [{"date": 2, "what": "tip"} | blades])
    low, high = (None if math.isnan(v) else v for v in table[["low_thou", "high_thou"]].iloc[0])
    assert (low, high) == interval
    assert table["why"].tolist() == [why]
    assert table["left_out"].tolist() == [why != ""]


def test_readings_of_a_build_that_is_left_out_are_marked() -> None:
    table = read(
        [{"date": 2, "runs_since_restrip": 9, "tip_low_thou": 4.0, "tip_high_thou": 5.0}],
        [{"date": 1, "metal_low_thou": 30.0, "metal_high_thou": 31.0}],
    )
    assert rows(table, "what", "left_out", "why") == [
        ("metal", False, ""),
        ("tip", True, "its build is left out"),
    ]


def test_no_reading_is_lost() -> None:
    gap = {"value_low_thou": 4.0, "value_high_thou": 4.0}
    records = season(
        [{"date": 2, "tip_low_thou": 1.0, "mesh_high_thou": 2.0, "strip_height_thou": 3.0}],
        [{"date": 1, "end_low_thou": 1.0}],
        [{"date": day, "what": "mesh"} | gap for day in range(1, 9)],
    )
    assert len(clearance_readings(records, lives_of(records))) == 3 + 1 + 8


def test_a_unit_with_readings_only_has_no_strips_on_record() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 4.0}
    table = read([], None, [{"date": 2} | tip])
    assert rows(table, "unit", "build", "left_out") == [("K1", 0, True)]


def test_a_unit_restripped_and_not_yet_run_is_read_at_its_entry() -> None:
    tip = {"what": "tip", "value_low_thou": 4.0, "value_high_thou": 4.0}
    table = read([], [{"date": 1, "runs_already_on_the_strips": 2}], [{"date": 2} | tip])
    assert rows(table, "build", "age", "left_out") == [(1, 2, False)]


def test_nothing_read_is_an_empty_table() -> None:
    table = read([{"date": 2}])
    assert len(table) == 0
    assert {"unit", "build", "age", "what", "low_thou", "high_thou"} <= {*table.columns}


def test_boost_rows_stand_at_the_age_after_the_run() -> None:
    records = season(
        [
            {"date": 2, "boost_psi": 30.0, "meet": "Lake One", "strips": "sound"},
            {"date": 3, "load": 0.5},
            {"date": 4, "boost_psi": 28.5},
            {"date": 6, "boost_psi": 31.0, "runs_since_restrip": 9},
        ],
        [{"date": 1}, {"date": 5}],
    )
    table = boost_rows(records, lives_of(records))
    assert rows(table, "unit", "build", "age", "boost_psi", "meet", "strips", "left_out") == [
        ("K1", 1, 1, 30, "Lake One", "sound", False),
        ("K1", 1, 2.5, 28.5, None, "sound", False),
        ("K1", 2, 1, 31, None, None, True),
    ]


def test_boost_rows_say_whether_the_strips_were_seen_sound_later() -> None:
    boost = {"boost_psi": 30.0}
    records = season(
        [
            {"date": 2, **boost},
            {"date": 3, **boost, "strips": "hot"},
            {"date": 4, **boost},
            {"date": 5, **boost, "strips": "burned"},
        ],
        [{"date": 1}],
    )
    table = boost_rows(records, lives_of(records))
    assert list(table["known_sound"]) == [True, True, False, False]


def test_lives_of_another_season_are_refused() -> None:
    records, other = season([{"date": 2, "boost_psi": 30.0}], [{"date": 1}]), season([{"date": 2}])
    with pytest.raises(ObservationError, match="not made from this season"):
        boost_rows(records, lives_of(other))
    with pytest.raises(ObservationError, match="not made from this season"):
        clearance_readings(records, lives_of(other))

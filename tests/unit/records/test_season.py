from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import RecordError
from wearstats.records.costs import Costs
from wearstats.records.schema import SHEETS
from wearstats.records.season import Season
from wearstats.records.taken import Taken, field_dtype


def runs(**columns: object) -> pd.DataFrame:
    return pd.DataFrame({"date": ["2026-05-04", "2026-05-03"], "unit": "K1", **columns})


def test_an_empty_season_has_every_field_with_its_type() -> None:
    season = Season.from_frames()
    for name, sheet in SHEETS.items():
        frame = getattr(season, name)
        assert list(frame.columns) == list(sheet.fields)
        assert len(frame) == 0
        assert {field: str(frame[field].dtype) for field in sheet.fields} == {
            field: field_dtype(sheet, field) for field in sheet.fields
        }
    assert season.costs is None
    assert not season.simulated


def test_frames_are_completed_sorted_and_not_changed() -> None:
    given = runs(boost_psi=[30, None], strips=[np.nan, "sound"])
    before = given.copy()
    season = Season.from_frames(runs=given, costs=Costs(planned=1, burn_through=2), simulated=True)
    pd.testing.assert_frame_equal(given, before)
    assert season.runs["date"].tolist() == [
        pd.Timestamp("2026-05-03"),
        pd.Timestamp("2026-05-04"),
    ]
    assert season.runs["boost_psi"].tolist() == pytest.approx([np.nan, 30.0], nan_ok=True)
    assert season.runs["strips"].tolist() == ["sound", None]
    assert season.runs["run"].tolist() == [1, 1]
    assert list(season.runs.index) == [0, 1]
    assert season.simulated


def test_runs_without_a_number_are_numbered_in_the_order_given() -> None:
    given = pd.DataFrame(
        {"date": [date(2026, 5, 3)] * 3, "unit": ["K1", "K2", "K1"], "remark": ["a", "b", "c"]},
        index=[7, 7, 7],
    )
    season = Season.from_frames(runs=given)
    assert season.runs[["unit", "run", "remark"]].to_numpy().tolist() == [
        ["K1", 1, "a"],
        ["K1", 2, "c"],
        ["K2", 1, "b"],
    ]


def test_taken_frames_make_a_season() -> None:
    frame = Taken.nothing("runs").frame.drop(columns=["_row", "_cells", "_aside"])
    assert len(Season.from_frames(runs=frame).runs) == 0


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"boots_psi": 30}, "'boots_psi' is no column"),
        ({"boost_psi": 900}, "outside 0 to 100"),
        ({"boost_psi": "thirty"}, "not numbers"),
        ({"boost_psi": np.inf}, "not numbers"),
        ({"boost_psi": True}, "not numbers"),
        ({"run": 1.5}, "outside 1 to 99"),
        ({"run": [1, None], "date": "2026-05-03"}, "give 'run' and others do not"),
        ({"run": 1, "date": "2026-05-03"}, "have the same date, unit, run"),
        ({"strips": "OK"}, "not one of sound, hot"),
        ({"date": "soon"}, "not dates"),
        ({"date": 46145}, "expected dates"),
        ({"date": None}, "date is missing in 2 rows"),
        ({"unit": ["K1", ""]}, "unit is missing in 1 rows"),
    ],
)
def test_a_frame_that_is_not_canonical_is_refused(columns: dict[str, Any], said: str) -> None:
    with pytest.raises(RecordError, match=said) as caught:
        Season.from_frames(runs=runs().assign(**columns))
    assert str(caught.value).startswith("runs: ")
    assert caught.value.findings


def test_a_missing_required_column_is_named() -> None:
    with pytest.raises(RecordError, match="'unit' must be there"):
        Season.from_frames(runs=pd.DataFrame({"date": ["2026-05-03"]}))


def test_a_column_twice_is_named() -> None:
    twice = pd.concat([runs(), runs()[["unit"]]], axis=1)
    with pytest.raises(RecordError, match="'unit' is there twice"):
        Season.from_frames(runs=twice)


def test_dates_with_a_zone_keep_their_day() -> None:
    stamps = pd.to_datetime(["2026-05-03 23:30", "2026-05-04 00:30"]).tz_localize("US/Pacific")
    season = Season.from_frames(runs=runs().assign(date=stamps))
    assert season.runs["date"].dt.day.tolist() == [3, 4]

"""Lives with what the records say each stretch of them was run at."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import NotIdentifiedError, ObservationError, UsageError
from wearstats.lives import columns_of, histories_with, lives_of
from wearstats.lives.histories import Indicator
from wearstats.lives.strip_lives import StripLives
from wearstats.records.season import Season


def season(**changed: list[object]) -> StripLives:
    """Two builds of K1 (the first burned at its third run), one of K2, looked at after run 2."""
    runs = pd.DataFrame(
        {
            "date": pd.to_datetime(["2026-05-01"] * 5 + ["2026-05-01"] * 3),
            "unit": ["K1"] * 5 + ["K2"] * 3,
            "run": [1, 2, 3, 4, 5, 1, 2, 3],
            "overdrive_pct": [30.0, 32, 34, 36, 38, 31, 33, 35],
            "load": [1.0, 0.3, 1, 1, 1, 1, 0.3, 1],
            "engine": ["Heron", "Heron", "Pike", "Pike", "Pike", "Heron", "Heron", "Heron"],
            "strips": ["", "sound", "burned", "", "sound", "", "sound", ""],
            **changed,
        }
    )
    restrips = pd.DataFrame(
        {
            "date": pd.to_datetime(["2026-04-30", "2026-05-01", "2026-04-30"]),
            "unit": ["K1", "K1", "K2"],
            "after_run": [None, 3, None],
            "reason": ["planned", "burned", "planned"],
        }
    )
    return lives_of(Season.from_frames(runs=runs, restrips=restrips))


def test_each_run_brings_its_own_and_a_life_ends_with_its_last_look() -> None:
    known = histories_with(season(), ["overdrive"])
    found = known.histories
    assert known.left_out == ()
    assert found.names == ("overdrive_pct",)
    assert found.units == ("K1", "K1", "K2")
    assert found.life.tolist() == [0, 0, 0, 1, 1, 2, 2]
    assert found.start == pytest.approx([0, 1, 1.3, 0, 1, 0, 1])
    assert found.stop == pytest.approx([1, 1.3, 2.3, 1, 2, 1, 1.3])
    # the last run of K2 was never looked at
    assert found.covariates[:, 0].tolist() == [30, 32, 34, 36, 38, 31, 33]


def test_words_become_indicators_against_the_most_frequent() -> None:
    found = histories_with(season(), ["engine"]).histories
    assert found.names == ("engine Pike against Heron",)
    assert found.indicators == (Indicator("engine", "Pike", "Heron"),)
    assert found.covariates[:, 0].tolist() == [0, 0, 1, 1, 1, 0, 0]


def test_a_blank_leaves_the_life_out_by_name_unless_it_lies_past_the_last_look() -> None:
    lives = season(overdrive_pct=[30.0, np.nan, 34, 36, 38, 31, 33, np.nan])
    known = histories_with(lives, ["overdrive_pct"])
    assert known.left_out == (("K1 build 1", "overdrive_pct is blank for the run to age 1.3"),)
    assert known.histories.observations.labels == ("K1 build 2", "K2 build 1")
    assert known.histories.life.tolist() == [0, 0, 1, 1]


def test_where_none_is_known_throughout_that_is_said() -> None:
    with pytest.raises(ObservationError, match="no life has overdrive_pct on record throughout"):
        histories_with(season(overdrive_pct=[np.nan] * 8), ["overdrive"])


def test_what_says_the_same_everywhere_is_refused() -> None:
    with pytest.raises(NotIdentifiedError, match="every life has the same engine"):
        histories_with(season(engine=["Heron"] * 8), ["engine"])


def test_columns_are_known_by_name_and_what_a_life_itself_is_made_of_is_none() -> None:
    known = columns_of(season())
    assert {"overdrive_pct", "engine", "strip_lot"} <= {*known}
    assert not {"strips", "runs_since_restrip", "lower", "upper", "age", "remark"} & {*known}
    with pytest.raises(UsageError, match="no column 'overdriv'") as refused:
        histories_with(season(), ["overdriv"])
    assert "overdrive_pct" in refused.value.hint
    with pytest.raises(UsageError, match="twice"):
        histories_with(season(), ["overdrive", "overdrive_pct"])
    with pytest.raises(UsageError, match="at least one"):
        histories_with(season(), [])


def test_every_life_is_there_or_left_out_whatever_is_blank() -> None:
    rng = np.random.default_rng(3)
    for _ in range(30):
        values = np.where(rng.random(8) < 0.3, np.nan, rng.uniform(30, 40, 8))
        lives = season(overdrive_pct=values.tolist())
        try:
            known = histories_with(lives, ["overdrive"])
        except ObservationError:
            continue
        names = {*known.histories.observations.labels, *(name for name, _ in known.left_out)}
        assert names == {*lives.observations().labels}


def test_lives_that_say_nothing_are_refused() -> None:
    lives = season(strips=[""] * 8)
    frame = lives.frame.assign(mode="", upper=np.inf)
    with pytest.raises(ObservationError, match="no life says anything"):
        histories_with(replace(lives, frame=frame), ["overdrive"])

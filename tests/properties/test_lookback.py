"""Laws of looking back: nothing that came later has a say in what was said."""

import functools
from itertools import islice

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wearstats.lives import lives_of
from wearstats.lookback import LookBack, MeetBoosts, MeetForecast
from wearstats.lookback.boosts import meet_boosts
from wearstats.lookback.calibration import count_forecast
from wearstats.lookback.meets import known_before, meets_of
from wearstats.lookback.scores import brier, log_score
from wearstats.lookback.strips import starts_of
from wearstats.records.costs import Costs
from wearstats.records.season import Season
from wearstats_synthetic import simulate

MEETS, UNITS = 5, 3
COSTS = Costs(planned=350.0, burn_through=900.0)
STATES = ("sound", "hot", "burned", "pulled", None)
REASONS = ("burned", "planned", "crash", "sold", None)


@functools.cache
def season() -> Season:
    return simulate(4, meets=MEETS, units=UNITS).records


def said(records: Season, meets: int, *, boost: bool = False) -> list[MeetForecast]:
    return list(islice(LookBack(costs=COSTS, boost=boost).forecasts(records), meets))


@functools.cache
def base(*, boost: bool = False) -> tuple[MeetForecast, ...]:
    return tuple(said(season(), MEETS, boost=boost))


def spoken(forecast: MeetForecast) -> tuple[object, ...]:
    """Everything a meet's forecast says, but for which rows it stands in."""
    return (
        forecast.meet.name,
        forecast.meet.first,
        forecast.forecasts,
        forecast.without,
        forecast.count,
        forecast.lives,
        forecast.failures,
        forecast.rule,
        forecast.plan_runs,
        forecast.boosts,
    )


def rewritten(frame: pd.DataFrame, rows: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """Change every column that is no key in the given rows, by drawing from other rows."""
    changed = frame.copy()
    kept = {"date", "unit", "run", "meet", "after_run"}
    for name in set(frame.columns) - kept:
        drawn = frame[name].to_numpy(dtype=object)[rng.integers(len(frame), size=rows.sum())]
        values = changed[name].to_numpy(dtype=object)
        values[rows] = drawn
        changed[name] = pd.Series(values, dtype=frame[name].dtype)
    return changed


def words(
    frame: pd.DataFrame,
    column: str,
    rows: np.ndarray,
    choices: tuple[str | None, ...],
    rng: np.random.Generator,
) -> pd.DataFrame:
    values = frame[column].to_numpy(dtype=object).copy()
    values[rows] = [choices[place] for place in rng.integers(len(choices), size=rows.sum())]
    return frame.assign(**{column: pd.Series(values, dtype=object)})


def after(frame: pd.DataFrame, day: pd.Timestamp) -> np.ndarray:
    return (frame["date"] > day).to_numpy(dtype=bool)


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(number=st.integers(1, MEETS - 1), seed=st.integers(0, 2**31), share=st.floats(0, 1))
def test_what_came_after_a_meet_has_no_say_in_it(number: int, seed: int, share: float) -> None:
    rewrite_what_came_after(number, seed, share)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(30))
def test_it_has_none_however_it_is_rewritten(seed: int) -> None:
    rewrite_what_came_after(1 + seed % (MEETS - 1), seed, (seed % 5) / 4, boost=True)


def rewrite_what_came_after(number: int, seed: int, share: float, *, boost: bool = False) -> None:
    """Change, thin and retire everything dated after a meet; no forecast to there may change."""
    rng, records = np.random.default_rng(seed), season()
    meet = meets_of(records.runs)[number]
    runs = rewritten(records.runs, after(records.runs, meet.last), rng)
    runs = words(runs, "strips", after(runs, meet.last), STATES, rng)
    restrips = rewritten(records.restrips, after(records.restrips, meet.last), rng)
    restrips = words(restrips, "reason", after(restrips, meet.last), REASONS, rng)
    runs = runs[~after(runs, meet.last) | (rng.random(len(runs)) > share)]
    restrips = restrips[~after(restrips, meet.last) | (rng.random(len(restrips)) > share)]
    readings = records.readings[~after(records.readings, meet.last)]
    gone = meet.last + pd.Timedelta(days=int(rng.integers(1, 60)))
    units = records.units.assign(retired=pd.Series([gone] * len(records.units)))
    changed = Season.from_frames(runs, restrips, units, readings)
    found = said(changed, number + 1, boost=boost)
    before = base(boost=boost)[: number + 1]
    assert [spoken(one) for one in found] == [spoken(one) for one in before]


@settings(max_examples=2, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(number=st.integers(1, MEETS - 1), seed=st.integers(0, 2**31))
def test_what_was_seen_at_a_meet_has_no_say_in_it(number: int, seed: int) -> None:
    rng, records = np.random.default_rng(seed), season()
    meet = meets_of(records.runs)[number]
    here = after(records.runs, meet.first - pd.Timedelta(days=1))
    runs = words(records.runs, "strips", here, STATES, rng)
    runs = runs.assign(boost_psi=np.where(here, 3.0, runs["boost_psi"]))
    mended = after(records.restrips, meet.first - pd.Timedelta(days=1))
    restrips = words(records.restrips, "found", mended, STATES, rng)
    changed = Season.from_frames(runs, restrips, records.units, records.readings)
    found = said(changed, number + 1)
    assert spoken(found[number]) == spoken(base()[number])


def boosts_at(records: Season, number: int) -> MeetBoosts:
    """Say the boost of one meet alone."""
    meet = meets_of(records.runs)[number]
    known = lives_of(known_before(records, meet.first))
    starts, _ = starts_of(records, meet, number, known)
    return meet_boosts(records, meet, known, starts, LookBack().level)


@functools.cache
def base_boosts(number: int) -> MeetBoosts:
    return boosts_at(season(), number)


@pytest.mark.parametrize("number", [3, 4])
def test_no_boost_of_a_meet_or_later_has_a_say_in_its_boost(number: int) -> None:
    records, rng = season(), np.random.default_rng(number)
    assert base_boosts(number).forecasts
    meet = meets_of(records.runs)[number]
    here = after(records.runs, meet.first - pd.Timedelta(days=1))
    runs = rewritten(records.runs, after(records.runs, meet.last), rng)
    boost = np.where(here, rng.uniform(5.0, 60.0, len(here)), runs["boost_psi"])
    runs = words(runs.assign(boost_psi=boost), "strips", here, STATES, rng)
    readings = records.readings[records.readings["date"] < meet.first]
    changed = Season.from_frames(runs, records.restrips, records.units, readings)
    assert boosts_at(changed, number) == base_boosts(number)


@pytest.mark.parametrize(
    ("column", "at_the_meet", "more"), [("overdrive_pct", True, 5.0), ("boost_psi", False, 1.0)]
)
def test_overdrive_of_the_meet_and_boost_before_it_do_have_a_say(
    column: str, at_the_meet: bool, more: float
) -> None:
    records = season()
    here = after(records.runs, meets_of(records.runs)[3].first - pd.Timedelta(days=1))
    values = records.runs[column]
    runs = records.runs.assign(**{column: values.mask(here == at_the_meet, values + more)})
    changed = Season.from_frames(runs, records.restrips, records.units, records.readings)
    pairs = zip(boosts_at(changed, 3).forecasts, base_boosts(3).forecasts, strict=True)
    for now, before in pairs:
        assert (now.psi.estimate or 0.0) > (before.psi.estimate or 0.0) + 0.3


def test_what_came_before_a_meet_does_have_a_say() -> None:
    # Else the laws above would hold of forecasts that look at nothing.
    assert sum(len(meet.forecasts) for meet in base()) >= UNITS
    records = season()
    first = records.runs["date"] <= meets_of(records.runs)[0].last
    runs = records.runs.assign(strips=records.runs["strips"].mask(first, None))
    changed = Season.from_frames(runs, records.restrips, records.units, records.readings)
    assert spoken(said(changed, 3)[2]) != spoken(base()[2])


chances = st.lists(st.floats(0.01, 0.99), min_size=1, max_size=6)


@given(chances)
def test_the_number_of_one_draw_is_the_sum_of_its_chances(each: list[float]) -> None:
    found = count_forecast(np.array([each]), np.ones(1), 0.9)
    assert found.count.estimate == pytest.approx(sum(each))
    assert 0.9 - 1e-9 <= found.inside <= 1.0


@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_no_chance_beats_the_true_one(true: float, said_instead: float) -> None:
    happened, not_happened = np.array([true]), np.array([1.0 - true])
    for score in (brier, log_score):
        own = score(np.array([true]), happened, not_happened)
        other = score(np.array([said_instead]), happened, not_happened)
        assert own[0] <= other[0] + 1e-12

"""Laws of recurrence, for any histories: units of time, order of systems, what bounds what."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wearstats.errors import FitError
from wearstats.recurrence import (
    History,
    PowerLaw,
    UnitHistories,
    fleet_trend,
    gap_order,
    handbook,
    laplace,
    mean_cumulative,
    recurrence_of,
    unit_trend,
)

FEW = settings(max_examples=60)


@st.composite
def fleets(draw: st.DrawFn, most: int = 5) -> list[History]:
    """Units of whole and half runs; ties, empty histories and failures at the end included."""
    made = []
    for at in range(draw(st.integers(1, most))):
        steps = draw(st.lists(st.integers(1, 12), max_size=6))
        found = tuple((np.cumsum(steps) / 2).tolist())
        more = draw(st.integers(0 if found else 1, 20)) / 2
        made.append(History(f"K{at + 1}", found, (found[-1] if found else 0.0) + more))
    assume(any(history.failures for history in made))
    return made


def scaled(histories: list[History], factor: float) -> list[History]:
    return [
        History(each.unit, tuple(factor * age for age in each.found), factor * each.end)
        for each in histories
    ]


@FEW
@given(fleets(), st.sampled_from([0.25, 4.0, 1024.0]))
def test_the_unit_of_time_changes_no_verdict(histories: list[History], factor: float) -> None:
    others = scaled(histories, factor)
    for each, other in zip(
        (*map(unit_trend, histories), fleet_trend(histories)),
        (*map(unit_trend, others), fleet_trend(others)),
        strict=True,
    ):
        assert each.told == other.told
        for test, same in zip(each.tests, other.tests, strict=True):
            assert same.p_value == pytest.approx(test.p_value, abs=1e-9)
            assert same.lean == test.lean


@FEW
@given(fleets(), st.sampled_from([0.25, 4.0, 1024.0]))
def test_the_power_law_scales_with_time(histories: list[History], factor: float) -> None:
    try:
        fit = PowerLaw().fit(histories)
    except FitError:
        assume(False)
    other = PowerLaw().fit(scaled(histories, factor))
    assert other.beta == pytest.approx(fit.beta, rel=1e-8)
    assert math.log(other.eta) == pytest.approx(math.log(fit.eta * factor), rel=1e-7, abs=1e-7)
    shift = fit.failures * math.log(factor)
    assert other.log_likelihood == pytest.approx(fit.log_likelihood - shift, rel=1e-8, abs=1e-8)
    for name in ("beta", "eta"):
        one, two = fit.parameters()[name], other.parameters()[name]
        times = factor if name == "eta" else 1.0
        for mine, its in ((one.low, two.low), (one.high, two.high)):
            assert (mine is None) == (its is None)
            if mine is not None and its is not None:
                assert its == pytest.approx(mine * times, rel=1e-6)


@FEW
@given(fleets(), st.randoms(use_true_random=False))
def test_the_order_of_the_units_changes_nothing(histories: list[History], random: object) -> None:
    other = list(reversed(histories))
    getattr(random, "shuffle")(other)  # noqa: B009 - hypothesis' stand-in has no type
    curve, same = mean_cumulative(histories), mean_cumulative(other)
    np.testing.assert_allclose(same.mean, curve.mean, rtol=1e-12)
    np.testing.assert_allclose(same.standard_error**2, curve.standard_error**2, atol=1e-12)
    assert fleet_trend(other).told == fleet_trend(histories).told


@FEW
@given(fleets())
def test_the_fitted_law_expects_what_was_seen(histories: list[History]) -> None:
    try:
        fit = PowerLaw().fit(histories)
    except FitError:
        assume(False)
    ends = np.array([history.end for history in histories])
    assert fit.expected(ends).sum() == pytest.approx(fit.failures, rel=1e-9)
    for estimate in (*fit.parameters().values(), fit.rate_at(), fit.runs_between_at()):
        assert estimate.estimate is not None
        assert estimate.low is None or estimate.low <= estimate.estimate
        assert estimate.high is None or estimate.high >= estimate.estimate


@FEW
@given(fleets())
def test_the_mean_rises_by_failures_over_units_at_risk(histories: list[History]) -> None:
    curve = mean_cumulative(histories)
    np.testing.assert_allclose(np.diff(curve.mean, prepend=0), curve.failed / curve.at_risk)
    assert curve.failed.sum() == sum(history.failures for history in histories)
    assert (np.diff(curve.at_risk) <= 0).all()
    known = ~np.isnan(curve.low)
    assert (curve.low[known] > 0).all()
    assert (curve.low[known] < curve.mean[known]).all()
    assert (curve.mean[known] < curve.high[known]).all()


@FEW
@given(st.lists(st.integers(1, 9), min_size=2, max_size=6))
def test_gaps_in_falling_order_lean_fastest(gaps: list[int]) -> None:
    falling = gap_order([sorted(gaps, reverse=True)])
    rising = gap_order([sorted(gaps)])
    here = gap_order([gaps])
    assert falling.statistic <= here.statistic <= rising.statistic
    assert falling.statistic == pytest.approx(-rising.statistic, abs=1e-9)
    assert falling.p_value == pytest.approx(rising.p_value)
    assert falling.p_value <= here.p_value + 1e-12
    assert {falling.lean, rising.lean} in ({1, -1}, {0})


@FEW
@given(fleets())
def test_every_answer_is_a_probability_and_every_verdict_a_word(histories: list[History]) -> None:
    answer = recurrence_of(UnitHistories("burned", tuple(histories)))
    for trend in (*answer.units, answer.fleet):
        assert trend.told in {"faster", "slower", "no faster", "cannot be told"}
        assert all(0 <= test.p_value <= 1 for test in trend.tests)
        assert all(math.isfinite(test.statistic) for test in trend.tests)


@FEW
@given(fleets(most=1))
def test_later_failures_make_both_even_rate_tests_lean_later(histories: list[History]) -> None:
    (history,) = histories
    assume(not history.ends_in_failure)
    later = History("K1", tuple((age + history.end) / 2 for age in history.found), history.end)
    assert laplace([later]).statistic > laplace([history]).statistic
    assert handbook([later]).statistic < handbook([history]).statistic

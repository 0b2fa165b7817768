"""What is told, in which words, and when nothing is."""

import json
import math

import numpy as np
import pytest

from wearstats.errors import NotIdentifiedError, TooFewError, UsageError
from wearstats.recurrence import (
    History,
    PowerLaw,
    UnitHistories,
    failures_needed,
    fleet_trend,
    gap_order,
    laplace,
    lewis_robinson,
    mean_cumulative,
    recurrence_of,
    reversals,
    unit_trend,
)


def with_gaps(unit: str, *gaps: float, more: float = 1.0) -> History:
    found = tuple(np.cumsum(gaps).tolist())
    return History(unit, found, found[-1] + more)


SHORTER = with_gaps("K3", 9.0, 7.0, 5.0, 4.0, 2.0)


@pytest.mark.parametrize(
    ("gaps", "p_value", "lean"),
    [
        # By hand: of 24 orders of four unlike gaps the falling one is the most extreme.
        ((9.0, 7.0, 5.0, 2.0), 2 / 24, 1),
        ((2.0, 5.0, 7.0, 9.0), 2 / 24, -1),
        # By hand: two gaps come in two orders.
        ((5.0, 3.0), 1.0, 1),
        # By hand: of the six orders of (1, 1, 4), two put 4 last.
        ((1.0, 1.0, 4.0), 4 / 6, -1),
        ((3.0, 3.0, 3.0), 1.0, 0),
    ],
)
def test_order_of_gaps_is_exact(gaps: tuple[float, ...], p_value: float, lean: int) -> None:
    test = gap_order([gaps])
    assert test.p_value == pytest.approx(p_value, abs=1e-12)
    assert test.lean == lean


def test_order_of_gaps_of_two_units_by_hand() -> None:
    # Orders: 2 x 2. Each unit's falling order is one of two; both fall in one of four.
    assert gap_order([(3.0, 1.0), (5.0, 2.0)]).p_value == pytest.approx(2 / 4)


def test_many_gaps_take_the_normal_law_close_to_the_listed_orders() -> None:
    gaps = [3.0, 5.0, 2.0, 7.0, 4.0, 1.0, 2.5, 1.5]
    listed = gap_order([gaps])
    assert listed.reference == "all 40320 orders"
    many = gap_order([[*gaps, 3.2]])
    assert many.reference.startswith("normal")
    assert many.p_value == pytest.approx(listed.p_value, abs=0.06)


def test_a_unit_whose_gaps_shorten_is_told() -> None:
    trend = unit_trend(SHORTER)
    assert trend.told == "faster"
    assert trend.sentence.startswith("K3 burns its strips faster than it did")
    assert "2 %" in trend.sentence  # 2 of 120 orders
    assert trend.p_value == pytest.approx(2 / 120)


def test_a_unit_whose_gaps_lengthen_is_told() -> None:
    trend = unit_trend(with_gaps("K3", 2.0, 4.0, 5.0, 7.0, 9.0), "pulled")
    assert trend.told == "slower"
    assert trend.sentence.startswith("K3 pulls its strips out slower than it did")


def test_a_unit_without_trend_is_told_no_faster() -> None:
    trend = unit_trend(with_gaps("K3", 5.0, 7.0, 4.0, 6.0, 5.5))
    assert trend.told == "no faster"
    assert trend.sentence.startswith("K3 burns its strips no faster than it did")


def test_below_the_stated_number_nothing_is_told() -> None:
    assert failures_needed(0.9) == 4
    trend = unit_trend(with_gaps("K3", 9.0, 5.0, 1.0))
    assert trend.told == "cannot be told"
    assert trend.too_few
    assert "it takes 4" in trend.sentence
    # At a higher level four gaps are too few as well: 2 of 24 orders are 8 %.
    assert unit_trend(with_gaps("K3", 9.0, 7.0, 5.0, 2.0), level=0.95).too_few


def test_nothing_is_told_where_it_turns_on_when_between_looks_they_failed() -> None:
    found = (9.0, 16.0, 21.0, 25.0, 27.0)
    # Seen rarely: the early ages make the gaps grow.
    early = (1.0, 9.0, 16.0, 21.0, 25.0)
    trend = unit_trend(History("K3", found, 28.0, earliest=early))
    assert trend.told == "cannot be told"
    assert not trend.too_few
    assert "between two looks" in trend.sentence


def test_units_with_too_few_each_can_tell_together() -> None:
    units = [with_gaps(name, 9.0, 6.0, 3.0) for name in ("K1", "K2", "K3")]
    assert {unit_trend(each).told for each in units} == {"cannot be told"}
    fleet = fleet_trend(units)
    assert fleet.told == "faster"
    assert fleet.sentence.startswith("The fleet")
    assert fleet.p_value == pytest.approx(2 / 6**3)  # all three fall, or all rise


def test_a_long_silence_since_the_last_failure_is_mentioned() -> None:
    silent = with_gaps("K3", 5.0, 4.0, 6.0, 5.0, 5.5, more=80.0)
    answer = recurrence_of(UnitHistories("burned", (silent,)))
    assert answer.units[0].told == "no faster"
    assert any("slower later on" in warning for warning in answer.warnings)


def test_no_failure_says_so() -> None:
    with pytest.raises(TooFewError, match="no strips found burned in 12 runs of 1 units"):
        recurrence_of(UnitHistories("burned", (History("K1", (), 12.0),)))
    with pytest.raises(TooFewError):
        mean_cumulative([History("K1", (), 12.0)])


def test_one_unit_has_a_count_but_no_interval() -> None:
    curve = mean_cumulative([SHORTER])
    assert curve.mean.tolist() == [1, 2, 3, 4, 5]
    assert np.isnan(curve.low).all()
    assert curve.at(10.0).low is None
    assert "too few units" in curve.at(10.0).note


def test_before_the_first_failure_the_mean_is_nought() -> None:
    curve = mean_cumulative([SHORTER, with_gaps("K1", 12.0)])
    early = curve.at(3.0)
    assert (early.estimate, early.high) == (0.0, None)


def test_power_law_says_when_there_is_none() -> None:
    with pytest.raises(TooFewError, match="2 failures; there are 1"):
        PowerLaw().fit([with_gaps("K1", 4.0)])
    with pytest.raises(NotIdentifiedError, match="very end"):
        PowerLaw().fit([History("K1", (4.0,), 4.0), History("K2", (4.0,), 4.0)])


def test_power_law_bounds_beta_where_histories_differ_in_length() -> None:
    fit = PowerLaw().fit([SHORTER, with_gaps("K1", 4.0, 3.0, 6.0)])
    assert fit.beta_corrected is None
    for name, estimate in fit.parameters(0.9).items():
        assert estimate.estimate is not None, name
        assert estimate.low is not None, name
        assert estimate.high is not None, name
        assert estimate.low < estimate.estimate < estimate.high
    expected = fit.expected(np.array([SHORTER.end, 14.0]))
    assert expected.sum() == pytest.approx(8)  # at the maximum, expected equals seen


def test_no_such_parameter() -> None:
    with pytest.raises(UsageError, match="gamma"):
        PowerLaw().fit([SHORTER]).estimate("gamma")


def test_rates_are_told_at_ages_above_nought() -> None:
    with pytest.raises(UsageError, match="above 0"):
        PowerLaw().fit([SHORTER]).rate_at(0.0)


def test_numbers_of_numpy_do_as_well() -> None:
    found = np.cumsum([9.0, 7.0, 5.0, 4.0, 2.0])
    assert History("K3", tuple(found), found[-1] + 1.0) == SHORTER


def test_gaps_all_alike_lean_nowhere() -> None:
    even = with_gaps("K1", 4.0, 4.0, 4.0, 4.0)
    assert lewis_robinson(even).statistic == 0
    assert reversals(even).p_value == 1
    assert unit_trend(even).told == "no faster"


def test_tests_say_how_many_they_need() -> None:
    alone = History("K1", (4.0,), 4.0)
    with pytest.raises(TooFewError):
        laplace([alone])
    with pytest.raises(TooFewError):
        lewis_robinson(alone)
    with pytest.raises(TooFewError):
        reversals(alone)


@pytest.mark.parametrize("level", [0.0, 1.0, math.nan])
def test_what_is_no_level_is_refused(level: float) -> None:
    with pytest.raises(UsageError, match="level"):
        unit_trend(SHORTER, level=level)
    with pytest.raises(UsageError, match="level"):
        mean_cumulative([SHORTER], level)


def test_the_answer_is_strict_json_and_its_steps_draw() -> None:
    answer = recurrence_of(UnitHistories("burned", (SHORTER, with_gaps("K1", 12.0))))
    body = json.loads(json.dumps(answer.as_dict(), allow_nan=False))
    assert body["mean_cumulative"][-1]["mean"]["estimate"] == pytest.approx(answer.curve.mean[-1])
    steps = answer.steps
    assert steps["found"].sum() == 6
    assert steps.groupby("unit")["failures"].max().to_dict() == {"K3": 5, "K1": 1}

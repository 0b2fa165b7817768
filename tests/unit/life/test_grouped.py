"""The hazard period by period: our own law written otherwise, and what it refuses."""

import numpy as np
import pytest

from wearstats.errors import NotIdentifiedError, ObservationError, TooFewError, UsageError
from wearstats.life import StripLife
from wearstats.life.checks import complementary_log_log
from wearstats.life.checks.periods import person_periods
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations


def lives(
    lower: list[float],
    upper: list[float],
    covariate: list[float],
    entry: list[float] | None = None,
) -> Histories:
    """One stretch a life; an upper end of nought is none."""
    low, high = np.array(lower, dtype=float), np.array(upper, dtype=float)
    begin = np.zeros(low.size) if entry is None else np.array(entry, dtype=float)
    labels = tuple(f"K{place} build 1" for place in range(low.size))
    seen = Observations(begin, low, np.where(high > 0, high, np.inf), np.ones(low.size), labels)
    end = np.where(high > 0, high, low)
    some = end > begin
    x = np.array(covariate, dtype=float)[:, None]
    return Histories(seen, labels, ("load",), np.flatnonzero(some), begin[some], end[some], x[some])


def test_with_our_law_s_shape_held_it_is_our_law() -> None:
    """Looks after every run: its likelihood is the interval likelihood, written otherwise."""
    rng = np.random.default_rng(4)
    life = np.ceil(9 * rng.weibull(2.2, 60))
    sound = life > 9
    low, high = np.where(sound, 9, life - 1), np.where(sound, 0, life)
    group = rng.integers(0, 2, 60).astype(float)
    whole = lives(low.tolist(), high.tolist(), group.tolist())
    law = StripLife().fit(whole.observations)
    assert law.mu is not None
    fit = complementary_log_log(whole, course="weibull", shape=1 / law.sigma)
    # With the two groups alike but by chance, the free ratio can only raise the likelihood.
    assert fit.log_likelihood >= law.log_likelihood - 1e-9
    ratio = fit.log_ratios[0]
    assert abs(ratio) < 3 * np.sqrt(fit.covariance[0][0])
    # The law of each group alone, at the same shape, has scales that differ by that ratio.
    shape = 1 / law.sigma
    mus = []
    for its in (group == 0, group == 1):
        seen = whole.observations
        part = Observations(
            seen.entry[its],
            seen.lower[its],
            seen.upper[its],
            seen.weight[its],
            tuple("x" * its.sum()),
        )
        alone = StripLife(shape=shape).fit(part)
        assert alone.mu is not None
        mus.append(alone.mu)
    assert ratio == pytest.approx(-shape * (mus[1] - mus[0]), rel=1e-6)
    assert fit.intercepts["intercept"] == pytest.approx(-shape * mus[0], rel=1e-6)


def test_a_slope_in_log_age_follows_the_shape() -> None:
    rng = np.random.default_rng(6)
    life = np.ceil(9 * rng.weibull(2.2, 400))
    fit = complementary_log_log(
        lives((life - 1).tolist(), life.tolist(), rng.normal(size=400).tolist()), course="log age"
    )
    assert fit.intercepts["log age"] == pytest.approx(1.2, abs=0.25)


def test_late_entry_and_a_covariate_that_changes() -> None:
    seen = Observations(
        np.array([1.0, 0, 0]),
        np.array([2.0, 1, 2]),
        np.array([3.0, 2, np.inf]),
        np.ones(3),
        ("a", "b", "c"),
    )
    whole = Histories(
        seen, ("a", "b", "c"), ("load",), np.array([0, 0, 1, 2]),
        np.array([1.0, 2, 0, 0]), np.array([2.0, 3, 2, 2]), np.array([[5.0], [6], [7], [8]]),
    )  # fmt: skip
    rows = person_periods(whole)
    assert rows.begin.tolist() == [1, 2, 0, 1, 0, 1]
    assert rows.fails.tolist() == [False, True, False, True, False, False]
    assert rows.covariates[:, 0].tolist() == [5, 6, 7, 7, 8, 8]


def test_a_covariate_that_changes_within_a_period_is_refused() -> None:
    seen = Observations(
        np.zeros(1), np.array([2.0]), np.array([np.inf]), np.ones(1), ("K1 build 2",)
    )
    whole = Histories(
        seen, ("K1",), ("load",), np.array([0, 0]),
        np.array([0.0, 1]), np.array([1.0, 2]), np.array([[1.0], [2]]),
    )  # fmt: skip
    assert person_periods(whole).begin.tolist() == [0, 1]
    with pytest.raises(ObservationError, match="K1 build 2: its covariates change"):
        person_periods(whole, [0.0, 2.0])


def test_a_failure_known_to_two_periods_is_refused_by_name() -> None:
    wide = lives([1, 2, 0], [3, 3, 1], [1, 2, 3])
    with pytest.raises(ObservationError, match="K0 build 1: failed somewhere in more than one"):
        person_periods(wide)
    assert person_periods(wide, [0.0, 1.0, 3.0]).fails.sum() == 3


def test_an_entry_within_a_period_is_refused_by_name() -> None:
    with pytest.raises(ObservationError, match="K1 build 1: enters within a period"):
        person_periods(lives([1, 2], [2, 3], [1, 2], entry=[0, 0.5]))


def test_what_was_seen_of_a_period_without_its_end_is_left_and_said() -> None:
    rows = person_periods(lives([2.5, 1], [0, 2], [1, 2]))
    assert rows.end.tolist() == [1, 2, 1, 2]
    assert rows.notes == ("1 life counts up to the end of the last whole period",)


def test_an_exact_failure_counts_in_its_period() -> None:
    rows = person_periods(lives([1.5, 2], [1.5, 2], [1, 2]))
    assert rows.end.tolist() == [1, 2, 1, 2]
    assert rows.fails.tolist() == [False, True, False, True]


@pytest.mark.parametrize("edges", [[0.0], [0.0, 2, 1], [1.0, 2, 3], [0.0, 1], [0.0, np.nan]])
def test_edges_that_hold_no_lives_are_refused(edges: list[float]) -> None:
    with pytest.raises(UsageError, match=r"edges|periods"):
        person_periods(lives([0, 1], [1, 2], [1, 2]), edges)


def test_separation_is_refused() -> None:
    parted = lives([0, 0, 1, 1, 2, 2], [1, 1, 2, 0, 0, 0], [9, 9, 7, 1, 2, 3])
    for course in ("free", "log age"):
        with pytest.raises(NotIdentifiedError, match="ratio of load grows without bound"):
            complementary_log_log(parted, course=course)


def test_too_few_and_no_mixed_period_are_refused() -> None:
    with pytest.raises(TooFewError):
        complementary_log_log(lives([0, 1, 2], [1, 2, 0], [1, 2, 3]))
    with pytest.raises(ObservationError, match="in no period did some fail and some not"):
        complementary_log_log(lives([0, 0, 0], [1, 1, 1], [1, 2, 3]))


def test_a_course_that_does_not_exist_is_refused() -> None:
    whole = lives([0, 0, 1, 1], [1, 1, 2, 2], [1, 2, 1, 2])
    for wrong in ({"course": "cubic"}, {"course": "weibull"}, {"shape": 2.0}):
        with pytest.raises(UsageError):
            complementary_log_log(whole, **wrong)
    with pytest.raises(UsageError, match="above 0"):
        complementary_log_log(whole, course="weibull", shape=-1.0)


def test_the_answer_is_plain_data_with_intervals() -> None:
    whole = lives([0, 0, 1, 1, 2, 2, 2], [1, 1, 2, 2, 3, 0, 0], [1, 4, 2, 5, 3, 1, 2])
    fit = complementary_log_log(whole, 0.8)
    told = fit.as_dict()
    assert told["factors"] == {"load": {"hazard_ratio": fit.hazard_ratios()["load"].as_dict()}}
    ratio = fit.hazard_ratios()["load"]
    assert fit.frame["low"].tolist() == [ratio.low]
    assert fit.frame["high"].tolist() == [ratio.high]

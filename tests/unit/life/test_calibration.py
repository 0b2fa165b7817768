"""Likelihood intervals are calibrated unless asked not to be, and say so."""

import json
import math

import numpy as np
import pytest

from wearstats.estimates import Estimate
from wearstats.life import LifeAnswer, StripLife, StripLifeFit, fit_life
from wearstats.life.calibration import Calibration
from wearstats.life.results import critical_value
from wearstats.lives.observations import Observations


def lives(*rows: tuple[float, float]) -> Observations:
    lower, upper = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    labels = tuple(f"K{place + 1} build 1" for place in range(len(rows)))
    return Observations(np.zeros(len(rows)), lower, upper, np.ones(len(rows)), labels)


def asked(fit: LifeAnswer | StripLifeFit) -> tuple[Estimate, ...]:
    return fit.life_at(0.1), fit.parameters()["shape"], fit.survival(6), fit.chance(6, 4)


INF = math.inf
TWELVE = lives(
    *[(2, 4), (3, 6), (5, 8), (6, 9), (7, 9), (8, 10), (9, 13)],
    *[(4, INF), (5, INF), (8, INF), (10, INF), (12, INF)],
)


def test_calibrated_is_the_default_and_wider() -> None:
    answer, plain = fit_life(TWELVE), fit_life(TWELVE, calibrated=False)
    alone = StripLife().fit(TWELVE)
    for ours, theirs, other in zip(asked(answer), asked(plain), asked(alone), strict=True):
        assert theirs.as_dict() == other.as_dict()
        assert ours.estimate == theirs.estimate
        assert ours.low is not None
        assert theirs.low is not None
        assert ours.high is not None
        assert theirs.high is not None
        assert ours.low < theirs.low
        assert ours.high > theirs.high


def test_intervals_end_where_the_likelihood_has_fallen_by_the_calibrated_value() -> None:
    answer = fit_life(TWELVE)
    note = answer.as_dict()["calibration"]
    assert note is not None
    alone = StripLife().fit(TWELVE).life_at(0.1, critical=note["critical_value"])
    assert answer.life_at(0.1).as_dict() == pytest.approx(alone.as_dict())


def test_says_how_many_sets_and_what_they_changed() -> None:
    answer = fit_life(TWELVE)
    note = answer.as_dict()["calibration"]
    assert note is not None
    assert note["resamples"] == 999
    assert note["critical_value"] > critical_value(0.9)
    # half the distance of two order statistics about the 900th of 999: 0.15 by chi-square
    assert 0.03 < note["standard_error"] < 0.5
    assert answer.calibration_note.startswith("90 % intervals are calibrated by 999 simulated")
    assert f"critical value {note['critical_value']:.3g} for the life" in answer.calibration_note
    assert answer.calibration_note.endswith("where chi-square says 2.71")
    json.dumps(answer.as_dict(runs=(1, 2)))
    plain = fit_life(TWELVE, calibrated=False)
    assert plain.as_dict()["calibration"] is None
    assert plain.calibration_note == "90 % intervals take the critical value of chi-square"


def test_the_seed_decides() -> None:
    ends = [fit_life(TWELVE, seed=seed).life_at(0.1).low for seed in (0, 0, 1)]
    assert ends[0] == ends[1]
    assert ends[0] != ends[2]


def test_nothing_to_calibrate_for_bayes_or_a_bound() -> None:
    sound = lives((3, INF), (5, INF), (6, INF))
    assert fit_life(sound).calibration_note == ""
    assert fit_life(sound).as_dict()["calibration"] is None
    bound = fit_life(sound, method="likelihood", shape=2.0)
    assert bound.calibration_note == ""
    assert bound.life_at(0.1).low == StripLife(shape=2.0).fit(sound).life_at(0.1).low
    assert fit_life(TWELVE, method="bayes").calibration_note == ""


def test_a_held_shape_is_calibrated_too() -> None:
    answer = fit_life(TWELVE, baseline="exponential")
    plain = fit_life(TWELVE, baseline="exponential", calibrated=False)
    ours, theirs = answer.life_at(0.1), plain.life_at(0.1)
    assert ours.low is not None
    assert theirs.low is not None
    assert ours.low <= theirs.low
    assert ours.estimate == theirs.estimate


def test_with_two_hundred_failures_chi_square_is_taken() -> None:
    rng = np.random.default_rng(0)
    many = lives(*[(age, age) for age in 12 * rng.weibull(2.0, 200)])
    answer = fit_life(many)
    assert answer.calibration_note == "90 % intervals take the critical value of chi-square"
    assert answer.life_at(0.1).as_dict() == StripLife().fit(many).life_at(0.1).as_dict()


def test_above_a_thousand_lives_chi_square_is_taken() -> None:
    few = Observations(
        np.zeros(3), np.array([3.0, 5.0, 6.0]), np.array([4.0, 7.0, INF]),
        np.array([1.0, 1.0, 999.0]), ("a", "b", "c"),
    )  # fmt: skip
    assert "chi-square" in fit_life(few).calibration_note
    assert fit_life(few).as_dict()["calibration"] is None


def test_one_failure_has_finite_intervals_and_a_note() -> None:
    # 5+, 7+, 8+, 10, 12+, 20+: has a finite maximum, simulated sets of it often have none
    answer = fit_life(lives((5, INF), (7, INF), (8, INF), (10, 10), (12, INF), (20, INF)))
    assert answer.method == "likelihood"
    note = answer.as_dict()["calibration"]
    assert note is None or note["without_maximum"] > 100
    assert "999 simulated sets" in answer.calibration_note
    for value in (answer.life_at(0.1), answer.survival(6), answer.chance(6, 4)):
        ends = [end for end in (value.low, value.high) if end is not None]
        assert all(math.isfinite(end) for end in ends)


def test_critical_values_between_steps_are_near_those_worked_out_there() -> None:
    from wearstats.life.axes import AgeAxis, SurvivalAxis
    from wearstats.life.calibration import falls, quantile

    fit = StripLife().fit(TWELVE)
    calibration = Calibration(fit, TWELVE)
    refits = calibration.refits
    kept = np.flatnonzero(np.isfinite(refits.top))
    for z in (-2.75, -1.25, 0.25):
        age = np.exp((z - fit.theta[0]) / np.exp(fit.theta[1])) * fit.sample.typical_age
        axis = SurvivalAxis(fit.sample.log_age(np.array([age])))
        read_off = calibration.values(axis, 0.9)[0]
        sets, top, laws = refits.sets.take(kept), refits.top[kept], calibration.laws[kept]
        counts = np.where(refits.finite[kept], 1.0, 0.5)
        found = falls(fit.law, sets, top, AgeAxis(np.array([z])), laws)
        direct = quantile(found, 0.9, counts)[0]
        # a fraction of the quantile's own standard error, 0.15
        assert read_off == pytest.approx(direct, abs=0.1)


def test_a_set_that_counts_half_is_half_a_set() -> None:
    from wearstats.life.calibration import quantile

    falls = np.array([1.0, 2.0, 3.0, 4.0])
    # each of the last two twice at half the weight: the same sets
    twice, half = np.array([1.0, 2.0, 3.0, 3.0, 4.0, 4.0]), np.array([1.0, 1, 0.5, 0.5, 0.5, 0.5])
    for level in (0.2, 0.4, 0.6, 0.8):
        assert quantile(twice, level, half) == quantile(falls, level)

"""Cox's regression: what it refuses, what it says, and its proportionality test by brute force."""

import warnings

import numpy as np
import pytest
from scipy import special

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import FitError, NotIdentifiedError, ObservationError, TooFewError
from wearstats.life.checks import cox
from wearstats.life.checks.partial import Stretches, partial
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations


def histories(
    end: FloatArray,
    failed: FloatArray | BoolArray,
    covariates: FloatArray,
    *,
    names: tuple[str, ...] = ("load",),
    width: float = 0.0,
    weight: FloatArray | None = None,
) -> Histories:
    """Lives from 0, each one stretch; failures found `width` after they were last seen sound."""
    dead = failed.astype(bool)
    labels = tuple(f"K{place} build 1" for place in range(end.size))
    seen = Observations(
        0 * end,
        np.where(dead, end - width, end),
        np.where(dead, end, np.inf),
        np.ones(end.size) if weight is None else weight,
        labels,
    )
    x = covariates.reshape(end.size, -1)
    return Histories(seen, labels, names, np.arange(end.size), 0 * end, end, x)


SIX = np.arange(1.0, 7.0)
MIXED = np.array([1.0, 3.0, 2.0, 2.0, 1.0, 3.0])


def test_fewer_than_three_failures_are_refused() -> None:
    with pytest.raises(TooFewError, match="2 failures are too few") as caught:
        cox(histories(SIX, np.array([1, 1, 0, 0, 0, 0]), MIXED))
    assert (caught.value.have, caught.value.need) == (2, 3)


def test_a_constant_covariate_is_refused_by_name() -> None:
    with pytest.raises(ObservationError, match="load is 2 throughout"):
        cox(histories(SIX, np.ones(6), np.full(6, 2.0)))


def test_no_covariate_is_refused() -> None:
    with pytest.raises(ObservationError, match="no covariate"):
        cox(histories(SIX, np.ones(6), np.zeros((6, 0)), names=()))


@pytest.mark.parametrize(("sign", "word"), [(1.0, "grows"), (-1.0, "falls")])
def test_a_covariate_that_parts_failed_from_sound_is_refused(sign: float, word: str) -> None:
    parted = sign * np.array([1.0, 1, 1, 0, 0, 0])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(NotIdentifiedError, match=f"ratio of load {word} without bound"):
            cox(histories(SIX, np.array([1, 1, 1, 0, 0, 0]), parted))


def test_a_pair_that_parts_only_together_is_refused() -> None:
    # Neither alone: the failed have the higher sum, and either one may be low.
    x = np.array([[3.0, 0], [0, 3], [2.9, 0.05], [0.5, 1], [1, 0.5], [1.2, 0]])
    with pytest.raises(NotIdentifiedError, match="without bound"):
        cox(histories(SIX, np.array([1, 1, 1, 0, 0, 0]), x, names=("load", "boost")))
    for column, name in ((0, "load"), (1, "boost")):
        alone = histories(SIX, np.array([1, 1, 1, 0, 0, 0]), x[:, column], names=(name,))
        assert np.isfinite(cox(alone).log_ratios).all()


def test_two_names_for_one_thing_are_refused() -> None:
    both = np.column_stack([MIXED, 2 * MIXED])
    with pytest.raises(NotIdentifiedError, match="load and boost cannot be told apart"):
        cox(histories(SIX, np.ones(6), both, names=("load", "boost")))


def test_half_a_life_is_refused() -> None:
    with pytest.raises(ObservationError, match=r"weight 0\.5 is no whole"):
        cox(histories(SIX, np.ones(6), MIXED, weight=np.array([0.5, 1, 1, 1, 1, 1])))


def test_a_weight_stands_for_as_many_lives() -> None:
    times = np.array([1, 3, 1, 2, 1, 1])
    heavy = cox(histories(SIX, np.ones(6), MIXED, weight=times.astype(float)))
    copies = cox(histories(np.repeat(SIX, times), np.ones(9), np.repeat(MIXED, times)))
    assert heavy.log_ratios == pytest.approx(copies.log_ratios, rel=1e-9)
    assert heavy.covariance == pytest.approx(np.array(copies.covariance), rel=1e-9)
    assert heavy.lives == copies.lives == 9


def test_a_failure_counts_when_it_was_found_and_that_is_said() -> None:
    exact = cox(histories(SIX, np.ones(6), MIXED))
    found = cox(histories(SIX, np.ones(6), MIXED, width=0.5))
    assert found.log_ratios == exact.log_ratios
    assert not any("upper end" in note for note in exact.notes)
    assert any("counts at the upper end" in note and "0.5 runs" in note for note in found.notes)


def test_few_units_get_plain_errors_and_many_robust_ones() -> None:
    rng = np.random.default_rng(5)
    lives = histories(rng.exponential(size=24), np.ones(24), rng.normal(size=24))
    assert cox(lives).robust
    shared = Histories(
        lives.observations, tuple("abcdefgh" * 3), *(getattr(lives, n) for n in FIELDS)
    )
    fit = cox(shared)
    assert not fit.robust
    assert any("8 units are too few" in note for note in fit.notes)
    assert cox(shared, robust=True).covariance != fit.covariance


FIELDS = ("names", "life", "start", "stop", "covariates")


def brute(stretches: Stretches, beta: FloatArray) -> float:
    """Efron's log partial likelihood, written out with loops."""
    total = 0.0
    risk = np.exp(stretches.covariates @ beta)
    for age in sorted(
        {stop for stop, dead in zip(stretches.stop, stretches.fails, strict=True) if dead}
    ):
        tied = [i for i in range(risk.size) if stretches.fails[i] and stretches.stop[i] == age]
        there = [i for i in range(risk.size) if stretches.start[i] < age <= stretches.stop[i]]
        for gone, i in enumerate(tied):
            share = gone / len(tied)
            left = sum(risk[j] * (1 - share if j in tied else 1) for j in there)
            total += float(np.log(risk[i] / left))
    return total


def some(seed: int = 11) -> Stretches:
    rng = np.random.default_rng(seed)
    start = rng.integers(0, 3, 25).astype(float)
    stop = start + rng.integers(1, 7, 25).astype(float)
    return Stretches(start, stop, rng.random(25) < 0.6, rng.normal(size=(25, 2)))


def test_the_partial_likelihood_and_its_slopes() -> None:
    stretches, beta, step = some(), np.array([0.4, -0.7]), 1e-5
    there = partial(stretches, beta)
    assert there.value == pytest.approx(brute(stretches, beta), abs=1e-12)
    assert there.residuals.sum(axis=0) == pytest.approx(there.score, abs=1e-12)
    for at in range(2):
        up, down = beta.copy(), beta.copy()
        up[at] += step
        down[at] -= step
        slope = (brute(stretches, up) - brute(stretches, down)) / (2 * step)
        bend = (partial(stretches, up).score - partial(stretches, down).score) / (2 * step)
        assert there.score[at] == pytest.approx(slope, abs=1e-8)
        assert -there.information[at] == pytest.approx(bend, abs=1e-7)


def test_the_proportionality_test_is_the_score_test_of_a_drift_with_log_age() -> None:
    """Cut at every failing age, with covariate times log age beside the covariate: no shortcut."""
    rng = np.random.default_rng(3)
    end = np.round(rng.exponential(6, 40)) + 1
    failed = rng.random(40) < 0.8
    x = rng.normal(size=40)
    fit = cox(histories(end, failed, x))
    ages = np.unique(end[failed])
    cut = [(i, age) for i in range(40) for age in ages if age <= end[i]]
    whose = np.array([i for i, _ in cut])
    stop = np.array([age for _, age in cut])
    before = np.concatenate([[0.0], ages[:-1]])
    start = before[np.searchsorted(ages, stop)]
    fails = failed[whose] & (stop == end[whose])
    both = np.column_stack([x[whose], x[whose] * np.log(stop)])
    there = partial(Stretches(start, stop, fails, both), np.array([fit.log_ratios[0], 0.0]))
    statistic = float(there.score @ np.linalg.solve(there.information, there.score))
    (drift,) = fit.proportionality.drifts
    assert drift.statistic == pytest.approx(statistic, rel=1e-7)
    assert drift.p_value == pytest.approx(float(special.chdtrc(1, statistic)), rel=1e-6)
    assert fit.proportionality.statistic == pytest.approx(statistic, rel=1e-7)


def test_a_drift_is_told_in_words_and_an_even_ratio_is_not() -> None:
    rng = np.random.default_rng(9)
    group = np.repeat([0.0, 1.0], 300)
    # Hazards of shapes 2 and 2.8: their ratio grows as age to the power 0.8.
    drifting = 10 * rng.weibull(2.0 + 0.8 * group)
    even = 10 * rng.weibull(2.0, 600) * (1 - 0.3 * group)
    told = cox(histories(drifting, np.ones(600), group)).proportionality
    assert "The hazard ratio of load grows with age" in told.sentence
    assert told.drifts[0].slope == pytest.approx(0.8, abs=0.4)
    calm = cox(histories(even, np.ones(600), group)).proportionality
    assert calm.sentence.startswith("Nothing shows that hazard ratios change with age")


def test_failures_all_at_one_age_cannot_show_a_drift() -> None:
    fit = cox(histories(np.full(6, 3.0), np.array([1, 1, 1, 0, 0, 0]), MIXED))
    assert fit.proportionality.drifts == ()
    assert "too few ages" in fit.proportionality.sentence


def test_the_answer_is_plain_data_with_intervals() -> None:
    fit = cox(histories(SIX, np.ones(6), MIXED), 0.8)
    told = fit.as_dict()
    ratio = fit.hazard_ratios()["load"]
    assert told["factors"] == {"load": {"hazard_ratio": ratio.as_dict()}}
    assert ratio.level == 0.8
    assert ratio.low is not None
    assert ratio.high is not None
    wide = fit.hazard_ratios(0.95)["load"]
    assert wide.low is not None
    assert wide.low < ratio.low
    assert fit.frame.columns.tolist() == ["name", "estimate", "low", "high"]


def test_random_small_records_are_answered_or_refused() -> None:
    rng = np.random.default_rng(2)
    answered = 0
    for _ in range(25):
        lives = int(rng.integers(3, 12))
        x = rng.integers(0, 3, (lives, 2)).astype(float)
        end = rng.integers(1, 6, lives).astype(float)
        try:
            fit = cox(
                histories(end, rng.random(lives) < 0.6, x, names=("load", "boost")), robust=False
            )
        except (FitError, ObservationError):
            continue
        answered += 1
        ends = [e for one in fit.hazard_ratios().values() for e in (one.low, one.high)]
        assert all(end is not None for end in ends)
    assert 3 < answered < 25

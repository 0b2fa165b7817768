"""A bad fit is said to be one, a good one is not, and laws alike are called alike."""

import numpy as np
import pytest

from wearstats.errors import FitError, UsageError
from wearstats.life import StripLife
from wearstats.life.goodness import compare_laws, goodness_of_fit
from wearstats.lives.observations import Observations


def known(ages: np.ndarray) -> Observations:
    labels = tuple(f"K{place} build 1" for place in range(len(ages)))
    return Observations(np.zeros(len(ages)), ages, ages, np.ones(len(ages)), labels)


def looked(ages: np.ndarray, every: float = 2.0) -> Observations:
    lower = np.floor(ages / every) * every
    labels = tuple(f"K{place} build 1" for place in range(len(ages)))
    return Observations(np.zeros(len(ages)), lower, lower + every, np.ones(len(ages)), labels)


def two_kinds(count: int, seed: int) -> np.ndarray:
    """Half the strips burn about run 3, the others about run 20: no single law's shape."""
    rng = np.random.default_rng(seed)
    middles = np.where(np.arange(count) % 2 == 0, 3.0, 20.0)
    return middles * np.exp(0.1 * rng.standard_normal(count))


@pytest.mark.parametrize("lives", [known(two_kinds(40, 1)), looked(two_kinds(40, 1))])
def test_two_kinds_of_strip_are_no_weibull_law(lives: Observations) -> None:
    test = goodness_of_fit(StripLife().fit(lives), lives, resamples=199)
    assert test.p_value == pytest.approx(1 / (test.resamples + 1))
    assert test.words.startswith("The records speak against a Weibull law (p = 0.005")
    assert test.as_dict()["words"] == test.words


@pytest.mark.parametrize("seed", [1, 2])
def test_the_right_law_is_not_spoken_against(seed: int) -> None:
    lives = looked(12 * np.random.default_rng(seed).weibull(2.5, 30))
    test = goodness_of_fit(StripLife().fit(lives), lives, resamples=199)
    assert test.p_value > 0.05
    assert "do not speak against a Weibull law" in test.words
    spread = (test.p_value * (1 - test.p_value) / test.resamples) ** 0.5
    assert test.p_value_error == pytest.approx(spread)
    again = goodness_of_fit(StripLife().fit(lives), lives, resamples=199)
    assert again == test
    assert goodness_of_fit(StripLife().fit(lives), lives, resamples=199, seed=1) != test


@pytest.mark.slow
def test_under_the_law_every_p_value_is_as_likely() -> None:
    """Mean of 100 uniform values: 0.5 with standard error 0.029; a tenth below 0.1."""
    found = []
    for seed in range(100):
        lives = looked(12 * np.random.default_rng(seed).weibull(2.5, 30))
        found.append(goodness_of_fit(StripLife().fit(lives), lives, resamples=99).p_value)
    assert np.mean(found) == pytest.approx(0.5, abs=0.09)
    assert np.mean(np.array(found) <= 0.1) == pytest.approx(0.1, abs=0.09)


def test_says_why_there_is_no_test() -> None:
    sound = Observations(
        np.zeros(2), np.array([3.0, 5]), np.full(2, np.inf), np.ones(2), ("a", "b")
    )
    with pytest.raises(UsageError, match="no estimate"):
        goodness_of_fit(StripLife(shape=2.0).fit(sound), sound)
    lives = looked(12 * np.random.default_rng(1).weibull(2.5, 30))
    with pytest.raises(FitError, match="of 20 simulated sets"):
        goodness_of_fit(StripLife().fit(lives), lives, resamples=20)


def test_few_lives_leave_laws_out_by_name() -> None:
    found = compare_laws(looked(np.array([3.0, 5.0, 9.0])))
    assert found.baselines == ("exponential",)
    assert found.words == "Only the exponential law can be fitted."
    assert [name for name, _ in found.left_out] == ["weibull", "lognormal", "loglogistic"]


def test_a_clear_winner_is_named() -> None:
    rng = np.random.default_rng(3)
    found = compare_laws(known(12 * rng.weibull(2.5, 400)))
    assert found.baselines[0] == "weibull"
    assert found.tied == ("weibull",)
    assert found.words.startswith("The records favour the Weibull law (next ")
    assert found.frame["behind"].tolist()[0] == 0

"""How far an answer moves with its prior."""

import numpy as np
import pytest

from wearstats.life import Prior, posterior
from wearstats.life.sensitivity import prior_sensitivity
from wearstats.lives.observations import Observations


def sound(count: int) -> Observations:
    ages = np.arange(4.0, 4.0 + count)
    labels = tuple(f"K{place} build 1" for place in range(count))
    return Observations(np.zeros(count), ages, np.full(count, np.inf), np.ones(count), labels)


def test_each_answer_is_that_of_a_fit_with_that_prior() -> None:
    moved = prior_sensitivity(sound(3), age=4, more=3)
    for under, width in zip(moved.under, (0.5, 1.0, 2.0), strict=True):
        alone = posterior(
            sound(3), prior=Prior(log_shape_sd=0.6 * width, log_median_sd=1.0 * width)
        )
        assert under.width == width
        assert under.life_at.as_dict() == alone.life_at(0.1).as_dict()
        assert under.chance.as_dict() == alone.chance(4, 3).as_dict()
        assert under.as_dict()["width"] == width
    lives = [each.life_at.low or 0.0 for each in moved.under]
    assert moved.words.startswith(
        "Under half to twice the prior's width, the least life at 10 % failed goes from "
        f"{min(lives):.3g} to {max(lives):.3g} runs, the least chance of 3 more runs at age 4 from "
    )


def test_many_lives_outweigh_the_prior() -> None:
    ages = 12 * np.random.default_rng(1).weibull(2.5, 200)
    labels = tuple(f"K{place} build 1" for place in range(200))
    lives = Observations(np.zeros(200), ages, ages, np.ones(200), labels)

    def spread(observations: Observations) -> float:
        found = prior_sensitivity(observations).under
        values = [each.life_at.estimate or each.life_at.low or 0.0 for each in found]
        return max(values) / min(values) - 1

    assert spread(lives) < 0.01
    assert spread(sound(3)) > 0.1
    assert prior_sensitivity(lives).under[1].life_at.estimate == pytest.approx(
        posterior(lives).life_at(0.1).estimate
    )

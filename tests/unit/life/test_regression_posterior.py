"""The Bayesian regression: its density, its points, and where the likelihood has no maximum."""

import numpy as np
import pytest

from wearstats.errors import NotIdentifiedError, TooFewError, UsageError
from wearstats.life import HazardRegression, posterior, regression_posterior
from wearstats.life.distributions import law_named
from wearstats.life.exposures import expose
from wearstats.life.prior import Prior
from wearstats.life.regression_posterior import _Target
from wearstats.lives import Histories
from wearstats.lives.observations import Observations


def histories(
    lives: int = 30, *, effect: float = 0.0, covariates: int = 1, apart: bool = False
) -> Histories:
    """Lives looked at after every second run, a covariate fixed over each."""
    rng = np.random.default_rng(5)
    x = rng.standard_normal((lives, covariates))
    scale = 10 * np.exp(-effect * x[:, :1].sum(axis=1) / 2.5)
    ages = np.minimum(scale * rng.weibull(2.5, lives), 14.0)
    lower = np.floor(ages / 2) * 2
    upper = np.where(ages < 14, lower + 2, np.inf)
    if apart:
        x[:, 0] = np.where(np.isfinite(upper), 1.0, 0.0)
    seen = Observations(
        np.zeros(lives), lower, upper, np.ones(lives), tuple(f"L{n}" for n in range(lives))
    )
    end = np.where(np.isfinite(upper), upper, lower)
    names = tuple(f"x{n}" for n in range(covariates))
    return Histories(
        seen, seen.labels, names, np.arange(lives), np.zeros(lives), end, x[:, :covariates]
    )


@pytest.mark.parametrize("baseline", ["weibull", "exponential"])
def test_derivatives_are_those_of_the_density(baseline: str) -> None:
    known = histories(covariates=2, effect=0.5)
    target = _Target(law_named(baseline), expose(known, centred=True), Prior())
    at = target.start() + 0.3
    value, gradient, hessian = target.jet(at)
    assert float(value) == pytest.approx(target.value(at), rel=1e-12)
    for place in range(at.size):
        step = np.zeros(at.size)
        step[place] = 1e-5
        up, down = at + step, at - step
        assert gradient[place] == pytest.approx(
            (target.value(up) - target.value(down)) / 2e-5, rel=1e-6, abs=1e-6
        )
        assert hessian[place] == pytest.approx(
            (target.jet(up)[1] - target.jet(down)[1]) / 2e-5, rel=1e-5, abs=1e-5
        )


def test_without_covariates_it_is_the_posterior_of_the_plain_law() -> None:
    known = histories(covariates=0)
    found, plain = regression_posterior(known), posterior(known.observations)
    ours, theirs = found.chance(4, 4), plain.chance(4, 4)
    for mine, other in zip(ours.as_dict().values(), theirs.as_dict().values(), strict=True):
        # Monte Carlo: 1,000 points and more, of an interval some 0.25 wide
        assert mine == pytest.approx(other, abs=0.015)


def test_with_many_lives_it_is_near_the_likelihood() -> None:
    known = histories(600, effect=0.7)
    bayes = regression_posterior(known).factors()["x0"].hazard_ratio
    alone = HazardRegression().fit(known).factors()["x0"].hazard_ratio
    for mine, other in zip(bayes.as_dict().values(), alone.as_dict().values(), strict=True):
        assert mine == pytest.approx(other, rel=0.02)


def test_it_answers_where_failures_are_told_apart_without_exception() -> None:
    known = histories(apart=True)
    with pytest.raises(NotIdentifiedError):
        HazardRegression().fit(known)
    ratio = regression_posterior(known).factors()["x0"].per_sd
    assert ratio.low is not None
    assert ratio.high is not None
    assert 1 < ratio.low < ratio.high < np.exp(5 * 0.7)


def test_the_same_seed_gives_the_same_answer() -> None:
    first, second = (regression_posterior(histories(), seed=4) for _ in range(2))
    assert first.life_at(0.1) == second.life_at(0.1)
    other = regression_posterior(histories(), seed=5).life_at(0.1)
    assert other != first.life_at(0.1)
    assert other.estimate == pytest.approx(first.life_at(0.1).estimate, rel=0.03)


def test_what_no_prior_mends_is_refused() -> None:
    with pytest.raises(UsageError, match="not lognormal"):
        regression_posterior(histories(), "lognormal")
    with pytest.raises(TooFewError):
        regression_posterior(histories(3, covariates=2))

"""The life likelihood against independent writings of it: scipy, mpmath, lifelines, differences."""

import warnings
from collections.abc import Callable

import mpmath  # type: ignore[import-untyped]  # no stubs in the registries
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from wearstats.arrays import FloatArray
from wearstats.errors import NotIdentifiedError, TooFewError
from wearstats.life import StripLife, kaplan_meier
from wearstats.life.distributions import BASELINES, law_named
from wearstats.life.likelihood import (
    derivatives,
    gather,
    log_likelihood,
    log_likelihood_by_life,
)
from wearstats.lives.observations import Observations

QUICK = settings(derandomize=True, deadline=None, max_examples=20)


def drawn(seed: int, size: int = 14, *, late: bool = True) -> Observations:
    """Lives of every kind, from a Weibull law: exact, between looks, early, sound, entered late."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(size) < 0.3 * late, rng.uniform(0.5, 4.0, size), 0.0)
    hazard = (entry / 12) ** 2 - np.log(rng.random(size))
    life = 12 * np.sqrt(hazard)
    lower = np.where(life - entry > 2, entry + np.floor((life - entry) / 2) * 2, entry)
    kind = rng.integers(0, 3, size)
    upper = np.where(kind == 0, life, lower + 2)
    lower = np.where(kind == 0, life, lower)
    sound = (kind == 2) & (lower > entry)
    upper = np.where(sound, np.inf, upper)
    weight = rng.integers(1, 4, size).astype(float)
    return Observations(entry, lower, upper, weight, tuple(f"life {i}" for i in range(size)))


def by_hand(observations: Observations, mu: float, sigma: float, baseline: str) -> float:
    """Log likelihood from scipy.stats' distributions, life by life."""
    law = {
        "weibull": stats.weibull_min(1 / sigma, scale=np.exp(mu)),
        "exponential": stats.expon(scale=np.exp(mu)),
        "lognormal": stats.lognorm(sigma, scale=np.exp(mu)),
        "loglogistic": stats.fisk(1 / sigma, scale=np.exp(mu)),
    }[baseline]
    entry, lower, upper = observations.entry, observations.lower, observations.upper
    exact, sound = upper == lower, np.isinf(upper)
    between = ~exact & ~sound
    one = np.zeros(lower.shape)
    one[exact] = law.logpdf(upper[exact])
    one[sound] = law.logsf(lower[sound])
    one[between] = np.log(law.sf(lower[between]) - law.sf(upper[between]))
    return float(observations.weight @ (one - law.logsf(entry)))


@QUICK
@given(
    st.integers(0, 10_000),
    st.sampled_from(BASELINES),
    st.floats(1.5, 3.0),
    st.floats(0.25, 1.2),
)
def test_likelihood_is_that_of_scipy(seed: int, baseline: str, mu: float, sigma: float) -> None:
    known = drawn(seed)
    if baseline == "exponential":
        sigma = 1.0
    sample = gather(known)
    law = law_named(baseline)
    expected = by_hand(known, mu, sigma, baseline)
    theta = np.array([-(mu - np.log(sample.typical_age)) / sigma, -np.log(sigma)])
    assert log_likelihood(law, sample, theta) == pytest.approx(expected, rel=1e-9)
    by_life = log_likelihood_by_life(law, known, -mu / sigma, 1 / sigma)
    assert by_life @ known.weight == pytest.approx(expected, rel=1e-9)


@QUICK
@given(
    st.integers(0, 10_000), st.sampled_from(BASELINES), st.floats(-1.0, 1.0), st.floats(-0.7, 1.5)
)
def test_gradient_and_hessian_are_the_differences(
    seed: int, baseline: str, intercept: float, log_slope: float
) -> None:
    law, sample = law_named(baseline), gather(drawn(seed))
    theta = np.array([intercept, log_slope])
    _, gradient, hessian = derivatives(law, sample, theta)
    step = 1e-5
    for place in range(2):
        move = np.zeros(2)
        move[place] = step
        above, below = (
            derivatives(law, sample, theta + move),
            derivatives(law, sample, theta - move),
        )
        # central differences: the error is of order step^2 times a third derivative
        scale = 1e-6 * (1 + np.abs(hessian).max() * 10)
        assert gradient[place] == pytest.approx((above[0] - below[0]) / 2 / step, abs=scale)
        assert hessian[place] == pytest.approx((above[1] - below[1]) / 2 / step, abs=scale)


@QUICK
@given(st.integers(0, 10_000), st.sampled_from(BASELINES))
def test_a_batch_is_its_members(seed: int, baseline: str) -> None:
    law, sample = law_named(baseline), gather(drawn(seed))
    thetas = np.random.default_rng(seed).normal(0, 0.6, (3, 4, 2))
    batch = derivatives(law, sample, thetas)
    for place in np.ndindex(3, 4):
        alone = derivatives(law, sample, thetas[place])
        for part in range(3):
            assert batch[part][place] == pytest.approx(alone[part], rel=1e-12, abs=1e-12)


@QUICK
@given(st.sampled_from(BASELINES), st.floats(-4, 4), st.floats(0.2, 8.0), st.floats(0.0, 5.0))
def test_probabilities_over_a_partition_sum_to_one(
    baseline: str, intercept: float, slope: float, entry: float
) -> None:
    if baseline == "exponential":
        slope = 1.0
    cuts = entry + np.array([0.0, 0.5, 1, 2, 4, 7, 11, 20])
    lower, upper = cuts, np.append(cuts[1:], np.inf)
    size = lower.size
    known = Observations(
        np.full(size, entry), lower, upper, np.ones(size), tuple(str(i) for i in range(size))
    )
    logs = log_likelihood_by_life(law_named(baseline), known, intercept, slope)
    assert np.exp(logs).sum() == pytest.approx(1.0, rel=1e-12)


def exact_hazard(baseline: str, z: mpmath.mpf) -> mpmath.mpf:
    """Cumulative hazard to 60 digits."""
    if baseline == "lognormal":
        return -mpmath.log1p(-mpmath.erfc(-z / mpmath.sqrt(2)) / 2)
    return mpmath.exp(z) if baseline == "weibull" else mpmath.log1p(mpmath.exp(z))


@pytest.mark.parametrize("baseline", ["weibull", "lognormal", "loglogistic"])
@pytest.mark.parametrize(
    ("low", "high"),
    [(-40.0, -39.0), (-300.0, -299.5), (-30.0, 3.0), (-2.0, -1.9999), (5.0, 5.2), (-12.0, -11.9)],
)
def test_tails_are_those_of_sixty_digits(baseline: str, low: float, high: float) -> None:
    # one life between ages exp(low) and exp(high) with z = log age: chances down to exp(-45000)
    ages = np.exp([low, high])
    known = Observations(np.zeros(1), ages[:1], ages[1:], np.ones(1), ("life",))
    found = float(log_likelihood_by_life(law_named(baseline), known, 0.0, 1.0)[0])
    with mpmath.workdps(60):
        before, after = (exact_hazard(baseline, mpmath.log(mpmath.mpf(float(a)))) for a in ages)
        expected = float(-before + mpmath.log(-mpmath.expm1(-(after - before))))
    assert found == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("baseline", ["weibull", "lognormal", "loglogistic"])
def test_each_law_states_true_derivatives(baseline: str) -> None:
    law = law_named(baseline)
    parts: list[Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]] = [
        law.hazard,
        law.log_hazard,
        law.log_rate,
    ]
    z = np.array([-20.0, -9.0, -7.5, -3, -1, 0, 0.5, 2, 5])
    step = 1e-5
    for part in parts:
        value, first, second = part(z)
        above, below = part(z + step), part(z - step)
        scale = 1e-6 * (1 + np.abs(value).max())
        assert first == pytest.approx((above[0] - below[0]) / 2 / step, abs=scale)
        assert second == pytest.approx((above[1] - below[1]) / 2 / step, abs=scale)
    grown = (law.hazard(z + step)[0] - law.hazard(z - step)[0]) / 2 / step
    assert np.exp(law.log_rate(z)[0]) == pytest.approx(grown, rel=1e-7, abs=1e-12)


@settings(QUICK, max_examples=8)
@given(st.integers(0, 10_000), st.sampled_from(["weibull", "lognormal", "loglogistic"]))
def test_maximum_is_the_one_scipy_finds(seed: int, baseline: str) -> None:
    known = drawn(seed)
    try:
        fit = StripLife(baseline).fit(known)
    except (NotIdentifiedError, TooFewError):
        return
    assert fit.mu is not None

    def cost(point: FloatArray) -> float:
        return -by_hand(known, float(point[0]), float(np.exp(point[1])), baseline)

    start = np.array([fit.mu + 0.1, np.log(fit.sigma) - 0.1])

    found = optimize.minimize(
        cost, start, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-11}
    )
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-8)
    assert fit.mu == pytest.approx(found.x[0], abs=1e-5)
    assert np.log(fit.sigma) == pytest.approx(found.x[1], abs=1e-5)


@settings(QUICK, max_examples=6)
@given(st.integers(0, 10_000), st.sampled_from(["weibull", "lognormal", "loglogistic"]))
def test_profile_ends_are_those_of_a_constrained_search(seed: int, baseline: str) -> None:
    """At an end of the interval the best fit that keeps the value has lost half the critical."""
    known = drawn(seed, late=False)
    fit = StripLife(baseline).fit(known)
    law = law_named(baseline)
    drop = 2.705543454095404 / 2  # chi-square(1), 90 %

    def best_with(end: float, value: Callable[[float, float], float]) -> float:
        """Highest log likelihood over sigma, mu solved so that the quantity equals `end`."""

        def cost(log_sigma: float) -> float:
            sigma = float(np.exp(log_sigma))
            mu = optimize.brentq(lambda m: value(m, sigma) - end, -20, 30, xtol=1e-13)
            return -by_hand(known, float(mu), sigma, baseline)

        middle = np.log(fit.sigma)
        found = optimize.minimize_scalar(cost, bounds=(middle - 2, middle + 2), method="bounded")
        return -float(found.fun)

    def log_life(mu: float, sigma: float) -> float:
        return mu + sigma * law.quantile(0.1)

    def log_hazard_between(mu: float, sigma: float) -> float:
        z = (np.log(np.array([6.0, 9.0])) - mu) / sigma
        low, high = law.log_hazard(z)[0]
        return float(high + np.log(-np.expm1(low - high)))

    life, chance = fit.life_at(0.1), fit.chance(6, 3)
    assert None not in (life.low, life.high, chance.low, chance.high)
    for end in (life.low, life.high):
        lost = fit.log_likelihood - best_with(float(np.log(end or 1)), log_life)
        assert lost == pytest.approx(drop, abs=1e-5)
    for end in (chance.low, chance.high):
        held = float(np.log(-np.log(end or 1)))
        assert fit.log_likelihood - best_with(held, log_hazard_between) == pytest.approx(
            drop, abs=1e-5
        )


@settings(QUICK, max_examples=8)
@given(st.integers(0, 10_000), st.booleans())
def test_weibull_is_that_of_lifelines(seed: int, late: bool) -> None:
    from lifelines import WeibullFitter

    known = drawn(seed, 40, late=late)
    fit = StripLife().fit(known)
    model = WeibullFitter()
    with warnings.catch_warnings():
        # its optimiser passes through logs of zero on its way
        warnings.simplefilter("ignore")
        model.fit_interval_censoring(
            known.lower, known.upper, entry=known.entry, weights=known.weight
        )
    parameters = fit.parameters()
    # lifelines stops at about 1e-5 relative
    assert parameters["shape"].estimate == pytest.approx(model.rho_, rel=1e-4)
    assert parameters["scale"].estimate == pytest.approx(model.lambda_, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(model.log_likelihood_, abs=1e-4)


@settings(QUICK, max_examples=8)
@given(st.integers(0, 10_000))
def test_right_censored_weibull_is_that_of_lifelines(seed: int) -> None:
    from lifelines import WeibullFitter

    rng = np.random.default_rng(seed)
    life, end = 12 * rng.weibull(2.0, 30), rng.uniform(4, 20, 30)
    failed, age = life <= end, np.minimum(life, end)
    upper = np.where(failed, age, np.inf)
    known = Observations(0 * age, age, upper, np.ones(30), tuple(str(i) for i in range(30)))
    model = WeibullFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # as above
        model.fit_right_censoring(age, failed)
    parameters = StripLife().fit(known).parameters()
    assert parameters["shape"].estimate == pytest.approx(model.rho_, rel=1e-4)
    assert parameters["scale"].estimate == pytest.approx(model.lambda_, rel=1e-4)


@settings(QUICK, max_examples=10)
@given(st.integers(0, 10_000), st.booleans())
def test_product_limit_is_that_of_statsmodels_and_lifelines(
    seed: int,
    late: bool,
) -> None:
    from lifelines import KaplanMeierFitter
    from statsmodels.duration.survfunc import SurvfuncRight

    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 4, 40).astype(float) * late
    age = entry + rng.integers(1, 12, 40).astype(float)
    failed = rng.random(40) < 0.6
    upper = np.where(failed, age, np.inf)
    known = Observations(entry, age, upper, np.ones(40), tuple(str(i) for i in range(40)))
    curve = kaplan_meier(known, 0.95, given_age=0.0)
    theirs = SurvfuncRight(age, failed.astype(float), entry=entry)
    real = theirs.surv_prob > 1e-12
    assert curve.survival == pytest.approx(np.where(real, theirs.surv_prob, 0.0), abs=1e-12)
    assert curve.at_risk == pytest.approx(theirs.n_risk)
    if late:
        return  # lifelines stops where the risk set empties early; its interval is compared below
    model = KaplanMeierFitter(alpha=0.05)
    model.fit(age, failed)
    bounds = model.confidence_interval_.loc[curve.age]
    inside = (curve.survival > 0) & (curve.survival < 1)
    assert curve.low[inside] == pytest.approx(bounds.iloc[:, 0].to_numpy()[inside], abs=1e-10)
    assert curve.high[inside] == pytest.approx(bounds.iloc[:, 1].to_numpy()[inside], abs=1e-10)

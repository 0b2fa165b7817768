"""A thousand refits at once are the fits one would make one at a time."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError, TooFewError, UsageError
from wearstats.life import StripLife, StripLifeFit, many
from wearstats.life.axes import AgeAxis, ChanceAxis, ShapeAxis, SurvivalAxis
from wearstats.life.bootstrap import Refits, bootstrap, refit
from wearstats.life.calibration import Calibration, falls, mirrored, quantile
from wearstats.life.distributions import law_named
from wearstats.life.existence import Limit, finite_maximum
from wearstats.life.fitting import Ascent
from wearstats.life.likelihood import derivatives, gather
from wearstats.life.profile import profile_at
from wearstats.life.resampling import drawn_again, position, simulate, watch_of
from wearstats.lives.observations import Observations

SETTINGS = settings(derandomize=True, deadline=None, max_examples=60)
LAWS = ("weibull", "lognormal", "loglogistic")


@st.composite
def few_lives(draw: st.DrawFn) -> Observations:
    """Two to seven lives of any kind, some of which entered late."""
    rows = []
    for _ in range(draw(st.integers(2, 7))):
        entry = draw(st.sampled_from([0.0, 0.0, 0.0, 2.0, 5.0]))
        lower = entry + draw(st.integers(0, 8))
        kinds = ["between", "sound", "exact"] if lower > entry else ["between", "sound"]
        kind = draw(st.sampled_from(kinds))
        width = draw(st.integers(1, 5))
        upper = {"between": lower + width, "sound": math.inf, "exact": lower}[kind]
        rows.append((entry, lower, upper, float(draw(st.integers(1, 3)))))
    return observed(*(np.array(column, dtype=float) for column in zip(*rows, strict=True)))


def observed(
    entry: FloatArray, lower: FloatArray, upper: FloatArray, weight: FloatArray | None = None
) -> Observations:
    each = np.ones(len(entry)) if weight is None else weight
    return Observations(entry, lower, upper, each, tuple(f"K{i} build 1" for i in range(len(each))))


def looked_at(count: int, seed: int, shape: float = 2.5, *, late: bool = False) -> Observations:
    """Lives of a Weibull law, looked at every one to four runs, about 40 % unfinished."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(count) < 0.3, 2.0, 0.0) if late else np.zeros(count)
    fails = 12.0 * ((entry / 12.0) ** shape - np.log(rng.random(count))) ** (1 / shape)
    ends = entry + rng.uniform(4, 21, count)
    lower, upper = entry.copy(), np.full(count, np.inf)
    for place in range(count):
        while (ahead := lower[place] + rng.integers(1, 5)) <= ends[place]:
            if ahead >= fails[place]:
                upper[place] = ahead
                break
            lower[place] = ahead
    return observed(entry, lower, upper)


def one_set(observations: Observations, typical_age: float) -> many.Many:
    parts = observations.entry, observations.lower, observations.upper
    return many.arrange(*parts, observations.weight[None, :], typical_age)


def line_of(fit: StripLifeFit) -> tuple[float, float]:
    assert fit.mu is not None
    return -fit.mu / fit.sigma, 1 / fit.sigma


@SETTINGS
@given(few_lives(), st.sampled_from(LAWS), st.floats(-1.5, 1.5), st.floats(-1.0, 1.5))
def test_one_likelihood(
    observations: Observations, baseline: str, intercept: float, log_slope: float
) -> None:
    try:
        sample = gather(observations)
    except TooFewError:
        return
    law, theta = law_named(baseline), np.array([intercept, log_slope])
    ours = many.derivatives(law, one_set(observations, sample.typical_age), theta[None, :])
    for mine, other in zip(ours, derivatives(law, sample, theta), strict=True):
        np.testing.assert_allclose(mine[0], other, rtol=1e-9, atol=1e-9)


@SETTINGS
@given(few_lives(), st.sampled_from((*LAWS, "exponential")))
def test_the_same_maximum_or_limit_as_alone(observations: Observations, baseline: str) -> None:
    law = law_named(baseline)
    try:
        sample = gather(observations)
        outcome = finite_maximum(law, observations, sample)[0]
    except (TooFewError, NotConvergedError):
        return
    parts = observations.entry, observations.lower, observations.upper
    start = np.array([0.0, math.log(law.fixed_slope or 1.0)])
    found = refit(
        law,
        *parts,
        observations.weight[None, :],
        typical_age=sample.typical_age,
        start=start,
    )
    assert bool(found.finite[0]) == isinstance(outcome, Ascent)
    if isinstance(outcome, Limit):
        assert found.top[0] == pytest.approx(outcome.log_likelihood, abs=1e-6)
        assert found.without_maximum == 1
        assert found.shape.size == found.mu.size == 0
    else:
        assert found.top[0] == pytest.approx(float(outcome.value), abs=1e-8)
        np.testing.assert_allclose(found.theta[0], outcome.theta, rtol=1e-4, atol=1e-4)


@pytest.mark.parametrize("baseline", LAWS)
def test_lives_drawn_again_are_fitted_as_one_would_alone(baseline: str) -> None:
    observations = looked_at(25, 3, late=True)
    fit = StripLife(baseline).fit(observations)
    refits = bootstrap(fit, observations, kind="cases", resamples=12, seed=5)
    entry, lower, upper, weight = drawn_again(observations, 12, np.random.default_rng(5))
    assert refits.without_maximum == 0
    assert weight.sum(axis=1) == pytest.approx(25)
    for place in range(12):
        drawn = weight[place] > 0
        alone = observed(entry[drawn], lower[drawn], upper[drawn], weight[place][drawn])
        one = StripLife(baseline).fit(alone)
        assert refits.shape[place] == pytest.approx(1 / one.sigma, rel=1e-6)
        assert refits.mu[place] == pytest.approx(one.mu, rel=1e-6)
        assert refits.top[place] == pytest.approx(one.log_likelihood, abs=1e-8)


def test_simulated_lives_are_fitted_as_one_would_alone() -> None:
    observations = looked_at(15, 4, late=True)
    fit = StripLife().fit(observations)
    refits = bootstrap(fit, observations, resamples=12, seed=5)
    watch = watch_of(observations)
    line = line_of(fit)
    lower, upper = simulate(fit.law, watch, line, sets=12, rng=np.random.default_rng(5))
    for place in range(12):
        alone = observed(watch.entry, lower[place], upper[place])
        one = StripLife().fit(alone)
        assert np.exp(refits.theta[place, 1]) == pytest.approx(1 / one.sigma, rel=1e-6)
        assert refits.top[place] == pytest.approx(one.log_likelihood, abs=1e-8)


def test_a_quantity_is_held_as_one_would_alone() -> None:
    observations = looked_at(15, 6)
    fit = StripLife().fit(observations)
    sets = bootstrap(fit, observations, resamples=5, seed=5)
    ages = fit.sample.log_age(np.array([6.0, 10.0]))
    watch = watch_of(observations)
    line = line_of(fit)
    lower, upper = simulate(fit.law, watch, line, sets=5, rng=np.random.default_rng(5))
    axes = (
        ShapeAxis(),
        AgeAxis(np.array([fit.law.quantile(0.1)])),
        ChanceAxis(fit.law, ages[:1], ages[1:]),
    )
    # laws of their own, about the fit
    laws = fit.theta + 0.1 * np.random.default_rng(11).standard_normal((5, 2))
    for axis in axes:
        found = falls(fit.law, sets.sets, sets.top, axis, laws)
        for place in range(5):
            alone = observed(watch.entry, lower[place], upper[place])
            one = StripLife().fit(alone)
            # the same truth, in the other sample's scale of age
            shift = math.log(one.sample.typical_age / fit.sample.typical_age)
            law = laws[place]
            truth = np.array([law[0] + np.exp(law[1]) * shift, law[1]])
            other = axis
            if isinstance(axis, ChanceAxis):
                other = ChanceAxis(fit.law, axis.first - shift, axis.second - shift)
            c, free = other.coordinates(truth)
            top = profile_at(fit.law, one.sample, other, c, free).value[0]
            fall = 2 * (one.log_likelihood - top)
            assert found[place] == pytest.approx(fall, abs=1e-6)


def test_laws_simulated_from_mirror_the_refits() -> None:
    """As far from the fit as each refit, to the other side, in log shape and log median life."""
    observations = looked_at(20, 9)
    fit = StripLife().fit(observations)
    refits = bootstrap(fit, observations, resamples=200, seed=3)
    laws = mirrored(fit, refits)

    def log_median(theta: FloatArray) -> FloatArray:
        return (math.log(math.log(2)) - theta[..., 0]) / np.exp(theta[..., 1])

    assert refits.finite.all()
    middle = log_median(laws) + log_median(refits.theta)
    np.testing.assert_allclose(middle, 2 * log_median(fit.theta), rtol=1e-9)
    np.testing.assert_allclose(laws[:, 1] + refits.theta[:, 1], 2 * fit.theta[1], rtol=1e-9)


def test_how_lives_are_watched_stays() -> None:
    """Entries, ends of unfinished watches and the kind of knowledge are those on record."""
    rng = np.random.default_rng(7)
    observations = looked_at(40, 8, late=True)
    watch = watch_of(observations)
    lower, upper = simulate(law_named("weibull"), watch, (-6.0, 2.5), sets=200, rng=rng)
    assert ((lower >= watch.entry) & (upper > lower)).all()
    unfinished = np.isinf(watch.upper)
    assert (lower[:, unfinished] <= watch.lower[unfinished]).all()
    oldest = max(watch.lower.max(), watch.upper[~unfinished].max())
    assert upper[np.isfinite(upper)].max() <= oldest
    gaps = (upper - lower)[np.isfinite(upper)]
    # a last gap is cut off where a stretch ends, none is longer than those on record
    assert gaps.max() <= watch.gaps.max()
    sound = np.isinf(upper) & unfinished
    assert (lower[sound] == np.broadcast_to(watch.lower, lower.shape)[sound]).all()


def test_exact_failures_stay_exact_and_complete_lives_complete() -> None:
    ages = np.array([3.0, 5.0, 8.0, 13.0, 21.0])
    watch = watch_of(observed(np.zeros(5), ages, ages))
    rng = np.random.default_rng(1)
    lower, upper = simulate(law_named("weibull"), watch, (-4.0, 2.0), sets=50, rng=rng)
    assert (lower == upper).all()


def test_simulated_lives_follow_the_law() -> None:
    """Mean cumulative hazard lived past entry is 1 by definition of the law."""
    entry = np.array([0.0, 2.0, 6.0, 9.0])
    watch = watch_of(observed(entry, entry + 5, entry + 5))
    for baseline in LAWS:
        law = law_named(baseline)
        rng = np.random.default_rng(2)
        age = simulate(law, watch, (-4.0, 2.0), sets=20_000, rng=rng)[0]
        start = np.where(entry > 0, law.hazard(-4.0 + 2.0 * np.log(np.maximum(entry, 1)))[0], 0)
        lived = law.hazard(-4.0 + 2.0 * np.log(age))[0] - start
        # standard error of the mean of 20,000 unit exponentials: 0.007
        np.testing.assert_allclose(lived.mean(axis=0), 1.0, atol=0.03)
        hazard = np.array([1e-12, 1e-3, 0.5, 3.0, 40.0])
        np.testing.assert_allclose(law.hazard(position(law, hazard))[0], hazard, rtol=1e-9)


def test_the_same_seed_the_same_sets() -> None:
    observations = looked_at(20, 9)
    fit = StripLife().fit(observations)

    def shapes(seed: int) -> Refits:
        return bootstrap(fit, observations, resamples=50, seed=seed)

    np.testing.assert_array_equal(shapes(3).theta, shapes(3).theta)
    assert (shapes(3).theta != shapes(4).theta).any()


def test_critical_values_do_not_depend_on_what_was_asked_before() -> None:
    observations = looked_at(20, 9)
    fit = StripLife().fit(observations)
    axis = SurvivalAxis(fit.sample.log_age(np.array([3.0, 7.0, 11.0])))
    first, second = (Calibration(fit, observations, seed=1) for _ in range(2))
    second.values(ShapeAxis(), 0.9)
    second.values(SurvivalAxis(fit.sample.log_age(np.array([7.5]))), 0.8)
    np.testing.assert_array_equal(first.values(axis, 0.9), second.values(axis, 0.9))
    assert first.values(ShapeAxis(), 0.95) > first.values(ShapeAxis(), 0.9)


def test_with_many_lives_the_critical_value_is_that_of_chi_square() -> None:
    """Chi-square(1): mean 1 with standard deviation 1.414, 90 % point 2.7055."""
    rng = np.random.default_rng(10)
    ages = 12.0 * rng.weibull(2.0, 600)
    observations = observed(np.zeros(600), ages, ages)
    fit = StripLife().fit(observations)
    refits = bootstrap(fit, observations, seed=2)
    laws = np.broadcast_to(fit.theta, (refits.count, 2))
    for axis in (ShapeAxis(), AgeAxis(np.array([fit.law.quantile(0.1)]))):
        found = falls(fit.law, refits.sets, refits.top, axis, laws)
        assert found.mean() == pytest.approx(1.0, abs=4 * 1.414 / 999**0.5)
        value, error = quantile(found, 0.9)
        assert error == pytest.approx(0.15, abs=0.1)
        assert value == pytest.approx(2.7055, abs=3 * 0.151)


def test_quantile_is_the_ordered_value() -> None:
    """999 values 1 to 999: the 900th, as in Davison & Hinkley 1997, section 2.2 (from memory)."""
    value, error = quantile(np.arange(999, 0, -1).astype(float), 0.9)
    assert value == 900.0
    assert error == pytest.approx(math.sqrt(999 * 0.09), abs=0.6)


def test_refuses_what_it_cannot_resample() -> None:
    sound = observed(np.zeros(3), np.array([4.0, 6, 9]), np.full(3, np.inf))
    bound = StripLife(shape=2.0).fit(sound)
    with pytest.raises(UsageError, match="no estimate"):
        bootstrap(bound, sound)
    known = looked_at(12, 11)
    with pytest.raises(UsageError, match="parametric, cases"):
        bootstrap(StripLife().fit(known), known, kind="other")  # type: ignore[arg-type]

"""The regression likelihood: its derivatives, its quadrature, its limits, what it refuses."""

from dataclasses import replace
from itertools import pairwise

import mpmath  # type: ignore[import-untyped]  # no stubs in the registries
import numpy as np
import pytest

from wearstats.errors import NotIdentifiedError, TooFewError
from wearstats.life import hazard_likelihood
from wearstats.life.distributions import BASELINES, law_named
from wearstats.life.exposures import expose
from wearstats.life.frailties import FRAILTIES, frailty_named
from wearstats.life.likelihood import derivatives as plain_derivatives
from wearstats.life.likelihood import gather
from wearstats.life.quantities import Acceleration, LogHazard, LogLife, Quantity, steady
from wearstats.life.regression import HazardRegression
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations


def drawn(seed: int, covariates: int = 2, *, exact: bool = False) -> Histories:
    """30 lives of 6 units, late entries, every kind of end, covariates new each run."""
    rng = np.random.default_rng(seed)
    size = 30
    entry = np.where(rng.random(size) < 0.3, rng.integers(1, 4, size), 0).astype(float)
    lower, upper, rows = entry.copy(), np.full(size, np.inf), []
    for life in range(size):
        failing = entry[life] + rng.weibull(2.0) * 10 + 0.5
        looked = entry[life] + np.floor((failing - entry[life]) / 3) * 3
        kind = 0 if exact else rng.integers(3)
        if kind == 0:
            lower[life] = upper[life] = failing
        else:
            lower[life] = looked
            upper[life] = looked + 3 if kind == 1 or looked == entry[life] else np.inf
        end = upper[life] if np.isfinite(upper[life]) else lower[life]
        cuts = np.unique([entry[life], *np.arange(np.floor(entry[life]) + 1, end), end])
        rows += [(life, a, b, *rng.normal(size=covariates)) for a, b in pairwise(cuts)]
    weight = rng.integers(1, 4, size).astype(float)
    seen = Observations(entry, lower, upper, weight, tuple(f"life {i}" for i in range(size)))
    table = np.array(rows)
    units = tuple(f"K{unit}" for unit in rng.integers(0, 6, size))
    names = tuple(f"x{place}" for place in range(covariates))
    of_life = table[:, 0].astype(np.intp)
    return Histories(seen, units, names, of_life, table[:, 1], table[:, 2], table[:, 3:])


def somewhere(baseline: str, frailty: str) -> np.ndarray:
    slope = 0.0 if baseline == "exponential" else 0.5
    return np.array([-0.3, slope, 0.3, -0.2] + ([] if frailty == "none" else [-1.0]))


@pytest.mark.parametrize("baseline", BASELINES)
@pytest.mark.parametrize("frailty", FRAILTIES)
def test_derivatives_are_those_of_differences(baseline: str, frailty: str) -> None:
    law, effects, lives = (
        law_named(baseline),
        frailty_named(frailty),
        expose(drawn(1), centred=True),
    )
    x = np.array([0.3, 0.4])
    past = steady(np.array([-np.inf]), np.array([-0.5]), x)
    rows = np.array([[0.3, 0.4], [1.0, -1.0]])
    ahead = steady(np.array([-0.5, -0.1]), np.array([-0.1, 0.3]), rows)
    quantities: list[Quantity] = [
        Acceleration(2),
        LogHazard(law, effects, past, ahead),
        LogLife(law, effects, x, 0.1),
    ]
    theta = somewhere(baseline, frailty)
    points = [quantity.point for quantity in quantities]
    points.append(lambda theta: hazard_likelihood.derivatives(law, effects, lives, theta))
    for point in points:
        _, gradient, hessian = point(theta)
        for place in range(theta.size):
            step = np.zeros(theta.size)
            step[place] = 1e-5
            above, below = point(theta + step), point(theta - step)
            assert gradient[place] == pytest.approx((above[0] - below[0]) / 2e-5, abs=2e-7)
            assert hessian[place] == pytest.approx((above[1] - below[1]) / 2e-5, abs=2e-6)


@pytest.mark.parametrize("baseline", BASELINES)
def test_without_covariates_it_is_the_plain_likelihood(baseline: str) -> None:
    known = drawn(1, covariates=0)
    law, theta = law_named(baseline), somewhere(baseline, "none")[:2]
    ours = hazard_likelihood.derivatives(law, None, expose(known, centred=True), theta)
    plain = plain_derivatives(law, gather(known.observations), theta)
    for one, other in zip(ours, plain, strict=True):
        assert one == pytest.approx(other, rel=1e-12, abs=1e-11)


@pytest.mark.parametrize("variance", [1e-6, 1e-3, 0.1, 1.0, 10.0])
def test_gamma_frailty_has_its_closed_form_where_failures_are_exact(variance: float) -> None:
    # For a unit with D failures, hazard S since entry and E before it:
    # a^a Gamma(a + D)/Gamma(a) / (a + S + E)^(a + D) over (a/(a + E))^a, a = 1/variance.
    known, law = drawn(2, exact=True), law_named("weibull")
    lives = expose(known, centred=True)
    theta = np.array([-0.3, 0.5, 0.3, -0.2, np.log(variance)])
    found = hazard_likelihood.log_likelihood(law, frailty_named("gamma"), lives, theta)
    slope = np.exp(theta[1])

    def hazard(part: object, unit: int) -> float:
        start, stop, x, group, weight = (
            getattr(part, name) for name in ("start", "stop", "covariates", "group", "weight")
        )
        rise = np.exp(slope * stop) - np.exp(slope * start)
        mine = group == unit
        return float(weight[mine] @ (rise * np.exp(theta[0] + x @ theta[2:4]))[mine])

    exact = lives.exact
    rate = theta[0] + theta[1] + (slope - 1) * exact.stop - np.log(lives.typical_age)
    expected = mpmath.mpf(float(exact.weight @ (rate + exact.covariates @ theta[2:4])))
    with mpmath.workdps(40):
        a = 1 / mpmath.mpf(variance)
        for unit in range(len(lives.units)):
            failures = float(exact.weight[exact.group == unit].sum())
            before = hazard(lives.entered, unit)
            all_of_it = a + before + hazard(lives.sure, unit)
            expected += mpmath.loggamma(a + failures) - mpmath.loggamma(a)
            expected += a * mpmath.log(a + before) - (a + failures) * mpmath.log(all_of_it)
    assert found == pytest.approx(float(expected), abs=1e-9)


def test_splitting_a_stretch_changes_nothing() -> None:
    known = drawn(3)
    middle = (known.start + known.stop) / 2
    start = np.column_stack([known.start, middle]).ravel()
    stop = np.column_stack([middle, known.stop]).ravel()
    split = Histories(
        known.observations,
        known.units,
        known.names,
        np.repeat(known.life, 2),
        start,
        stop,
        np.repeat(known.covariates, 2, axis=0),
    )
    for frailty in ("none", "gamma"):
        one, other = (HazardRegression("weibull", frailty).fit(part) for part in (known, split))
        assert other.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-9)
        assert list(other.estimates.values()) == pytest.approx(
            list(one.estimates.values()), rel=1e-6, abs=1e-7
        )


def test_scaling_and_shifting_a_covariate_scales_its_effect() -> None:
    known = drawn(4)
    moved = replace(known, covariates=known.covariates * 50.0 + 1000.0)
    one, other = HazardRegression().fit(known), HazardRegression().fit(moved)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-9)
    assert other.estimates["x0"] * 50 == pytest.approx(one.estimates["x0"], rel=1e-7)
    here, there = one.factors()["x0"], other.factors()["x0"]
    assert there.per_sd.low == pytest.approx(here.per_sd.low, rel=1e-6)
    at, moved_at = {"x0": 0.5, "x1": 0.0}, {"x0": 1025.0, "x1": 1000.0}
    assert other.life_at(0.1, moved_at).low == pytest.approx(one.life_at(0.1, at).low, rel=1e-6)


def fixed(lower: list[float], upper: list[float], x: list[float]) -> Histories:
    size = len(lower)
    low, high = np.array(lower), np.array(upper)
    labels = tuple(f"K{i} build 1" for i in range(size))
    seen = Observations(np.zeros(size), low, high, np.ones(size), labels)
    end = np.where(np.isfinite(high), high, low)
    units = tuple(f"K{i}" for i in range(size))
    column = np.array(x)[:, None]
    return Histories(seen, units, ("lot",), np.arange(size), np.zeros(size), end, column)


LOOKS = [3.0, 5.0, 6.0, 8.0, 9.0, 4.0, 7.0, 10.0]


def test_refuses_fewer_than_three_failures() -> None:
    known = fixed(LOOKS, [5.0, 7.0] + [np.inf] * 6, [0.0, 1.0] * 4)
    with pytest.raises(TooFewError, match="no regression is offered below three failures"):
        HazardRegression().fit(known)


def test_refuses_a_constant_covariate() -> None:
    known = fixed(LOOKS, [look + 2 for look in LOOKS], [33.0] * 8)
    with pytest.raises(NotIdentifiedError, match="lot is 33 in every run watched"):
        HazardRegression().fit(known)


def test_refuses_collinear_covariates() -> None:
    known = drawn(5)
    tied = replace(known, covariates=known.covariates[:, :1] * np.array([[1.0, -3.0]]) + 7.0)
    with pytest.raises(NotIdentifiedError, match="x0 and x1 follow from one another"):
        HazardRegression().fit(tied)


def test_refuses_one_unit_with_a_frailty() -> None:
    known = replace(drawn(6), units=("K1",) * 30)
    with pytest.raises(TooFewError, match="all lives are of one unit"):
        HazardRegression(frailty="gamma").fit(known)


@pytest.mark.parametrize("baseline", BASELINES)
def test_refuses_separation_and_says_where_it_rises(baseline: str) -> None:
    # No strip of lot 1 failed.
    upper = [look + 2 for look in LOOKS[:4]] + [np.inf] * 4
    known = fixed(LOOKS, upper, [0.0] * 4 + [1.0] * 4)
    with pytest.raises(NotIdentifiedError, match="without exception") as refused:
        HazardRegression(baseline).fit(known)
    assert refused.value.direction == "the hazard ratio of lot falls without bound"


def test_a_ridge_that_bends_is_no_maximum() -> None:
    # Five failed by their first run, one was sound after it: any shape from some tens up fits as
    # well, and the ridge is not straight. A climb comes to rest anywhere on it.
    upper = [1.0, np.inf, 1.0, 1.0, 1.0, 1.0]
    lower = [0.0, 1.0, 0.0, 0.0, 0.0, 0.0]
    known = fixed(lower, upper, [64.0, 70.0, 93.0, 92.0, -20.0, 83.0])
    with pytest.raises(NotIdentifiedError, match=r"settle no law|without exception"):
        HazardRegression().fit(known)


def test_a_variance_of_nought_is_an_answer_with_an_upper_end() -> None:
    # Units dealt out by turns: lives of one unit are no more alike than others.
    looked = [float(life % 7 + 2) for life in range(28)]
    known = fixed(looked, [look + 2 for look in looked], [float(life % 2) for life in range(28)])
    known = replace(known, units=tuple(f"K{life // 7}" for life in range(28)))
    fit = HazardRegression("weibull", "gamma").fit(known)
    found = fit.frailty_variance()
    assert fit.edge
    assert (found.estimate, found.low) == (0.0, 0.0)
    assert found.high is not None
    assert found.high > 0.01
    assert fit.log_likelihood == HazardRegression("weibull").fit(known).log_likelihood


def test_refuses_unit_effects_that_grow_without_bound() -> None:
    # Each unit's lives, some of weight 2 or 3, all failed at one exact age.
    known = replace(drawn(1), units=tuple(f"K{place}" for place in range(30)))
    with pytest.raises(NotIdentifiedError, match="grows without bound"):
        HazardRegression("weibull", "gamma").fit(known)

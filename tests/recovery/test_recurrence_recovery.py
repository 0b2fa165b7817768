"""Known processes asked back: sizes of the tests, coverage of the intervals.

Each share is held within four binomial standard deviations of its nominal value (a false alarm
in 16 000; seeds are fixed besides), except where the direction of a bias is stated and known.
"""

import math

import numpy as np
import pytest

from wearstats.recurrence import (
    History,
    PowerLaw,
    gap_order,
    handbook,
    laplace,
    lewis_robinson,
    mean_cumulative,
    reversals,
    unit_trend,
)

LEVEL = 0.9
MANY = 600


def within(share: float, nominal: float, count: int) -> bool:
    return abs(share - nominal) <= 4 * math.sqrt(nominal * (1 - nominal) / count)


def power_law(
    random: np.random.Generator, beta: float, expected: float, end: float, unit: str = "K1"
) -> History:
    """Draw a power-law process with `expected` failures on average by `end`."""
    count = random.poisson(expected)
    ages = np.sort(end * random.random(count) ** (1 / beta))
    return History(unit, tuple(ages.tolist()), end)


def renewals(random: np.random.Generator, shape: float, end: float) -> History:
    """Draw failures with Weibull gaps of mean 10, to `end`."""
    gaps = 10 / math.gamma(1 + 1 / shape) * random.weibull(shape, 200)
    ages = np.cumsum(gaps)
    return History("K1", tuple(ages[ages < end].tolist()), end)


@pytest.mark.parametrize("name", ["Laplace", "handbook"])
def test_even_rate_tests_keep_their_size_pooled(name: str) -> None:
    random = np.random.default_rng(20260503)
    test = {"Laplace": laplace, "handbook": handbook}[name]
    rejected = []
    for _ in range(2 * MANY):
        # Units are watched for unlike lengths and have rates of their own.
        units = [power_law(random, 1.0, mean, end) for mean, end in ((3, 20), (6, 50), (2, 35))]
        if any(history.failures for history in units):
            rejected.append(test(units).p_value <= 1 - LEVEL)
    assert within(float(np.mean(rejected)), 1 - LEVEL, len(rejected))


def test_order_of_gaps_keeps_its_size_where_strips_wear() -> None:
    # Weibull gaps, shape 2.5: no trend, far from an even rate. The exact test keeps its size
    # (up to the steps of its p-values, which only make it smaller); Laplace's falls far short.
    random = np.random.default_rng(7)
    histories = [renewals(random, 2.5, 65.0) for _ in range(2 * MANY)]
    exact = [gap_order([each.gaps]).p_value <= 1 - LEVEL for each in histories]
    assert within(float(np.mean(exact)), 1 - LEVEL, len(exact))
    even = [laplace([each]).p_value <= 1 - LEVEL for each in histories]
    assert np.mean(even) < (1 - LEVEL) / 2


def test_verdicts_of_untrending_units_are_seldom_wrong() -> None:
    random = np.random.default_rng(11)
    told = [unit_trend(renewals(random, 2.0, 55.0), level=LEVEL).told for _ in range(MANY)]
    wrong = np.mean([word in {"faster", "slower"} for word in told])
    assert wrong <= 1 - LEVEL + 4 * np.sqrt(0.09 / MANY)
    assert "no faster" in told


def test_reversals_and_lewis_robinson_keep_their_size_with_many_gaps() -> None:
    random = np.random.default_rng(13)
    histories = [renewals(random, 2.0, 300.0) for _ in range(MANY)]
    for test in (reversals, lewis_robinson):
        rejected = [test(each).p_value <= 1 - LEVEL for each in histories]
        assert within(float(np.mean(rejected)), 1 - LEVEL, MANY), test.__name__


def test_a_unit_that_wears_strips_out_faster_is_found() -> None:
    # Gaps 12, 10.2, 8.7, ... (15 % shorter each time), give or take a fifth.
    random = np.random.default_rng(17)
    told = []
    for _ in range(200):
        gaps = 12 * 0.85 ** np.arange(7) * random.uniform(0.8, 1.2, 7)
        found = np.cumsum(gaps)
        told.append(unit_trend(History("K3", tuple(found.tolist()), found[-1] + 1.0)).told)
    assert np.mean([word == "faster" for word in told]) > 0.9
    assert "slower" not in told


@pytest.mark.parametrize("beta", [0.7, 1.0, 1.6])
def test_beta_is_covered_and_unbiased_once_corrected(beta: float) -> None:
    random = np.random.default_rng(19)
    inside, corrected = [], []
    for _ in range(MANY):
        units = [power_law(random, beta, 4.0, 40.0) for _ in range(3)]
        if sum(history.failures for history in units) < 2:
            continue
        fit = PowerLaw().fit(units)
        interval = fit.estimate("beta", LEVEL)
        assert interval.low is not None
        assert interval.high is not None
        inside.append(interval.low <= beta <= interval.high)
        corrected.append(fit.beta_corrected)
    assert within(float(np.mean(inside)), LEVEL, len(inside))
    spread = np.std(np.array(corrected, dtype=float)) / np.sqrt(len(corrected))
    assert abs(np.mean(np.array(corrected, dtype=float)) - beta) <= 4 * spread


def test_beta_is_covered_exactly_where_the_watch_ends_in_a_failure() -> None:
    random = np.random.default_rng(23)
    beta, inside = 1.4, []
    for _ in range(MANY):
        # Powers of a Poisson process' ages: stopped at the sixth failure.
        ages = tuple((np.cumsum(random.exponential(size=6)) ** (1 / beta)).tolist())
        interval = PowerLaw().fit([History("K1", ages, ages[-1])]).estimate("beta", LEVEL)
        assert interval.low is not None
        assert interval.high is not None
        inside.append(interval.low <= beta <= interval.high)
    assert within(float(np.mean(inside)), LEVEL, MANY)


@pytest.mark.slow
def test_likelihood_intervals_cover_about_as_they_say_with_unlike_ends() -> None:
    # Profile likelihood with the chi-square critical value is no exact method: with some 14
    # failures it is held to within 3.5 points of 90 %.
    random = np.random.default_rng(29)
    beta, eta, at = 1.3, 12.0, 30.0
    true = {"beta": beta, "eta": eta, "lambda": eta**-beta}
    inside: dict[str, list[bool]] = {name: [] for name in (*true, "rate")}
    for _ in range(800):
        units = [power_law(random, beta, (end / eta) ** beta, end) for end in (22, 34, 40, 47, 28)]
        fit = PowerLaw().fit(units)
        estimates = {**fit.parameters(LEVEL), "rate": fit.rate_at(at, LEVEL)}
        rate = beta / eta * (at / eta) ** (beta - 1)
        for name, value in {**true, "rate": rate}.items():
            low, high = estimates[name].low, estimates[name].high
            inside[name].append((low is None or low <= value) and (high is None or value <= high))
    for name, each in inside.items():
        assert abs(np.mean(each) - LEVEL) < 0.035, (name, np.mean(each))


def test_the_mean_is_covered_where_units_differ() -> None:
    # Forty units, each an even-rate process with a rate of its own (gamma): counts of one unit
    # are not Poisson, which Nelson's variance allows for and the Poisson one does not.
    random = np.random.default_rng(31)
    inside, poisson = [], []
    for _ in range(300):
        units = [
            power_law(random, 1.0, rate * end, end)
            for rate, end in zip(
                random.gamma(2.0, 0.05, 40), random.uniform(25.0, 60.0, 40), strict=True
            )
        ]
        curve = mean_cumulative(units, LEVEL)
        here = curve.at(25.0)
        assert here.low is not None
        assert here.high is not None
        inside.append(here.low <= 2.5 <= here.high)
        seen = curve.age <= 25.0
        error = np.sqrt(np.sum(curve.failed[seen] / curve.at_risk[seen] ** 2))
        poisson.append(abs((here.estimate or 0.0) - 2.5) <= 1.645 * error)
    assert within(float(np.mean(inside)), LEVEL, 300)
    assert np.mean(poisson) < 0.8

"""Recurrence against other libraries and against sums written out by hand."""

import itertools
import math

import numpy as np
import pytest
from lifelines import NelsonAalenFitter
from scipy import optimize, stats

from wearstats.recurrence import (
    History,
    PowerLaw,
    gap_order,
    laplace,
    mean_cumulative,
    reversals,
)

UNITS = [
    History("K1", (4.0, 11.0, 15.0, 21.0), 30.0),
    History("K2", (7.0, 12.0), 25.0),
    History("K3", (3.0, 8.0, 19.0, 22.0, 28.0), 28.0),
    History("K4", (), 18.0),
    History("K5", (9.0,), 34.0),
]
EQUAL = [History(each.unit, each.found, 34.0) for each in UNITS]


def test_mean_agrees_with_nelson_and_aalens_curve() -> None:
    # Each failure ends a stretch of its unit, and the next stretch enters there: lifelines'
    # cumulative hazard is then the mean cumulative function (no two failures of a unit at once).
    rows = [
        (start, stop, stop in unit.found)
        for unit in UNITS
        for start, stop in itertools.pairwise((0.0, *unit.found, unit.end))
        if stop > start
    ]
    entry, stop, failed = zip(*rows, strict=True)
    fitted = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(stop, failed, entry=entry)
    curve = mean_cumulative(UNITS)
    theirs = fitted.cumulative_hazard_["NA_estimate"].loc[curve.age.tolist()]
    np.testing.assert_allclose(curve.mean, theirs.to_numpy(), rtol=1e-12)


def test_nelsons_variance_against_the_double_sum_of_covariances() -> None:
    # Nelson 1995 written out: sum over pairs of ages of the sample covariance of the two counts
    # over the units at risk at the later, over the number at risk at the earlier.
    curve = mean_cumulative(UNITS)
    ages, ends = curve.age, np.array([unit.end for unit in UNITS])
    counts = np.array([[unit.found.count(age) for age in ages.tolist()] for unit in UNITS])
    for last in range(ages.size):
        total = 0.0
        for one, other in itertools.product(range(last + 1), repeat=2):
            early, late = min(one, other), max(one, other)
            own = ends >= ages[late]
            covariance = np.cov(counts[own, early], counts[own, late], ddof=1)[0, 1]
            total += float(covariance / (ends >= ages[early]).sum())
        if total > 0:
            assert curve.standard_error[last] == pytest.approx(math.sqrt(total), rel=1e-9)
        else:
            assert np.isnan(curve.standard_error[last])


@pytest.mark.parametrize("histories", [UNITS, EQUAL], ids=["unlike ends", "one end"])
def test_power_law_against_a_plain_search(histories: list[History]) -> None:
    ages = np.array([age for unit in histories for age in unit.found])
    ends = np.array([unit.end for unit in histories])

    def loss(theta: np.ndarray) -> float:
        eta, beta = np.exp(theta)
        rate = np.log(beta / eta) + (beta - 1) * np.log(ages / eta)
        return float(((ends / eta) ** beta).sum() - rate.sum())

    best = optimize.minimize(loss, [2.0, 0.0], method="Nelder-Mead", options={
        "xatol": 1e-10, "fatol": 1e-13, "maxiter": 4000})  # fmt: skip
    fit = PowerLaw().fit(histories)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-9)
    assert [fit.eta, fit.beta] == pytest.approx(np.exp(best.x), rel=1e-5)


def test_likelihood_interval_ends_lie_on_the_chi_square_limit() -> None:
    # At each end of the interval of eta, the likelihood maximised over beta alone lies half of
    # 3.841459 below the top.
    fit = PowerLaw().fit(UNITS)
    ages = np.array([age for unit in UNITS for age in unit.found])
    ends = np.array([unit.end for unit in UNITS])
    interval = fit.estimate("eta", 0.95)
    for eta in (interval.low, interval.high):
        assert eta is not None

        def loss(beta: float, eta: float = eta) -> float:
            rate = np.log(beta / eta) + (beta - 1) * np.log(ages / eta)
            return float(((ends / eta) ** beta).sum() - rate.sum())

        best = optimize.minimize_scalar(loss, bounds=(0.01, 20.0), method="bounded",
                                        options={"xatol": 1e-11})  # fmt: skip
        assert 2 * (fit.log_likelihood + best.fun) == pytest.approx(3.841459, abs=1e-5)


def test_order_of_gaps_against_scipys_permutations() -> None:
    gaps = [6.0, 9.0, 4.0, 5.0, 3.0, 3.5]

    def statistic(drawn: np.ndarray, axis: int = -1) -> np.ndarray:
        return np.asarray((drawn * np.arange(6)).sum(axis=axis))

    theirs = stats.permutation_test(
        (gaps,), statistic, permutation_type="pairings", n_resamples=10_000
    )
    assert gap_order([gaps]).p_value == pytest.approx(theirs.pvalue, abs=1e-12)


def test_laplace_pooled_over_like_units_is_that_of_one() -> None:
    # Cox & Lewis: (mean(t) / T - 1/2) sqrt(12 n), whatever unit each failure belongs to.
    ages = np.array([age for unit in EQUAL for age in unit.found])
    by_hand = (ages.mean() / 34.0 - 0.5) * math.sqrt(12 * ages.size)
    assert laplace(EQUAL).statistic == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("least", [32, 33, 36, 45])
def test_reversals_of_ten_against_a_count_of_all_orders(least: int) -> None:
    # Orders of ten gaps by their number of reversals: the product of (1 + x + ... + x^k).
    ways = np.ones(1)
    for size in range(1, 11):
        ways = np.convolve(ways, np.ones(size))
    exact = ways[least:].sum() / ways.sum()
    order = _order_with(least)
    found = tuple(np.cumsum(order).tolist())
    test = reversals(History("K1", found, found[-1] + 1.0))
    assert test.statistic == least
    assert test.p_value == pytest.approx(2 * exact, rel=1e-9)


def test_reversals_with_gaps_alike_against_a_count_of_their_orders() -> None:
    gaps = (6.0, 5.0, 5.0, 4.0, 3.0, 4.0)

    def lead(order: tuple[float, ...]) -> int:
        pairs = list(itertools.combinations(order, 2))
        return abs(sum(late > early for early, late in pairs)
                   - sum(late < early for early, late in pairs))  # fmt: skip

    every = [lead(order) >= lead(gaps) for order in itertools.permutations(gaps)]
    found = tuple(np.cumsum(gaps).tolist())
    test = reversals(History("K1", found, found[-1] + 1.0))
    assert test.p_value == pytest.approx(np.mean(every), rel=1e-12)


def test_reversals_of_ten_with_two_alike_lie_between_those_without() -> None:
    # 33 pairs rise and 11 fall, a lead of 22; unlike gaps lead by 21 (33 of 45) or 23 (34 of 45).
    gaps = [5.0, 35.0, 3.0, 132.0, 214.0, 323.0, 35.0, 48.0, 504.0, 179.0]
    found = tuple(np.cumsum(gaps).tolist())
    ways = np.ones(1)
    for size in range(1, 11):
        ways = np.convolve(ways, np.ones(size))
    less, more = (2 * ways[least:].sum() / ways.sum() for least in (34, 33))
    assert less < reversals(History("K1", found, found[-1] + 1.0)).p_value < more


def _order_with(count: int) -> list[int]:
    """Return ten unlike gaps with so many reversals: a falling order, the larger moved back."""
    left, order = count, []
    pool = list(range(10, 0, -1))
    for place in range(10):
        reach = min(left, 9 - place)
        order.append(pool.pop(reach))
        left -= reach
    return order

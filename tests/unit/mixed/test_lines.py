"""Interval readings of nested lines against plain integrals, and against the dense equations."""

import itertools

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from wearstats.arrays import FloatArray
from wearstats.errors import NotIdentifiedError
from wearstats.mixed import Component, NestedFit, fit_components, fit_lines
from wearstats.mixed.equations import solve_equations
from wearstats.mixed.nested import NestedDesign, solve_nested
from wearstats.mixed.propagation import Rows, first_sites, settle

UNITS, BUILDS, LOOKS = 4, 3, 4
SPREADS = np.array([0.08, 0.05, 0.001, 0.25, 0.002])
"""Residual; unit start and rate; build start and rate."""


def shop(
    seed: int, units: int = UNITS
) -> tuple[FloatArray, list[str], list[tuple[str, int]], FloatArray]:
    """Age, unit and build of each look, and the latent reading."""
    rng = np.random.default_rng(seed)
    unit = [f"K{u}" for u in range(units) for _ in range(BUILDS * LOOKS)]
    build = [
        (u, b) for u, b in zip(unit, itertools.cycle(np.repeat(range(BUILDS), LOOKS)), strict=False)
    ]
    age = np.tile(np.arange(LOOKS) * 3.0, units * BUILDS)
    residual, us, ur, bs, br = np.sqrt(SPREADS)
    of_unit = {u: (us * rng.normal(), ur * rng.normal()) for u in sorted(set(unit))}
    of_build = {b: (bs * rng.normal(), br * rng.normal()) for b in sorted(set(build))}
    latent = np.array(
        [
            4.0 + of_unit[u][0] + of_build[b][0] + (0.2 + of_unit[u][1] + of_build[b][1]) * a
            for u, b, a in zip(unit, build, age, strict=True)
        ]
    )
    return age, unit, build, latent + residual * rng.normal(size=len(age))


def nested(age: FloatArray, unit: list[str], build: list[tuple[str, int]]) -> NestedDesign:
    line = np.column_stack([np.ones(len(age)), age])
    return NestedDesign.of((line, line, line), unit, build)


def fitted(
    age: FloatArray,
    unit: list[str],
    build: list[tuple[str, int]],
    low: FloatArray,
    high: FloatArray,
    *,
    penalties: tuple[float, float, float] = (1.0, 0.25, 1.0),
) -> NestedFit:
    ones = np.ones(len(age))
    return fit_lines(
        low,
        high,
        np.column_stack([ones, age]),
        ("start", "rate"),
        units=unit,
        builds=build,
        unit_columns={"unit start": ones, "unit rate": age},
        build_columns={"build start": ones, "build rate": age},
        penalties=penalties,
    )


def test_blocks_solve_the_dense_equations() -> None:
    age, unit, build, latent = shop(1)
    design = nested(age, unit, build)
    rows = Rows(latent[design.order], latent[design.order])
    found = settle(design, rows, SPREADS, first_sites(rows, SPREADS[0]))
    ones = np.ones(len(age))
    components = [
        Component("us", tuple(unit), ones),
        Component("ur", tuple(unit), age),
        Component("bs", tuple(build), ones),
        Component("br", tuple(build), age),
    ]
    dense = solve_equations(
        latent,
        np.column_stack([ones, age]),
        ("start", "rate"),
        components,
        joint_names=(),
        joint_covariance=np.zeros((0, 0)),
        separate_variances=SPREADS[1:],
        residual=SPREADS[0],
    )
    assert found.evidence == pytest.approx(dense.log_likelihood, rel=1e-10)
    assert found.posterior.fixed == pytest.approx(dense.coefficients, rel=1e-10)
    assert found.posterior.fixed_covariance == pytest.approx(dense.covariance, rel=1e-9)
    mean, variance = found.posterior.at_rows(design)
    one = slice(5, 6)
    expected = dense.predicted(
        np.column_stack([ones, age])[one],
        {c.name: (list(c.labels)[one], c.column[one]) for c in components},
    )
    back = int(np.flatnonzero(design.order == 5)[0])
    assert mean[back] == pytest.approx(expected[0][0], rel=1e-9)
    assert variance[back] == pytest.approx(expected[1][0], rel=1e-9)


def covariance_of(age: FloatArray, unit: list[str], build: list[tuple[str, int]]) -> FloatArray:
    same_unit = np.array([[a == b for b in unit] for a in unit])
    same_build = np.array([[a == b for b in build] for a in build])
    products = np.outer(age, age)
    residual, us, ur, bs, br = SPREADS
    return np.asarray(
        residual * np.eye(len(age))
        + same_unit * (us + ur * products)
        + same_build * (bs + br * products)
    )


def test_chance_of_intervals_against_the_normal_integral() -> None:
    # The chance that every latent reading lies in its interval, the two fixed effects integrated
    # over the plane on a grid of nodes, by scipy's multivariate normal (Genz's method, seeded).
    age, unit, build, latent = shop(2, units=1)
    keep = np.array([0, 1, 3, 4, 7, 8])
    age, latent = age[keep], latent[keep]
    unit, build = [unit[k] for k in keep], [build[k] for k in keep]
    low = np.floor(latent)
    high = low + 1.0
    low[0], high[4] = -np.inf, np.inf  # no blade entered; the thickest did
    design = nested(age, unit, build)
    rows = Rows((low - 4.0)[design.order], (high - 4.0)[design.order])
    found = settle(design, rows, SPREADS, first_sites(rows, SPREADS[0]))
    covariance = covariance_of(age, unit, build)
    nodes, weights = np.polynomial.legendre.leggauss(16)
    centre, spread = found.posterior.fixed, np.sqrt(np.diag(found.posterior.fixed_covariance))
    total = 0.0
    reach = 6.0
    for node, weight in zip(nodes, weights, strict=True):
        for other, also in zip(nodes, weights, strict=True):
            start, rate = centre + reach * spread * np.array([node, other])
            mean = start + rate * age
            chance = multivariate_normal(mean, covariance, seed=1).cdf(
                high - 4.0, lower_limit=low - 4.0
            )
            total += weight * also * float(chance)
    expected = np.log(total * reach**2 * spread[0] * spread[1])
    # Expectation propagation is not exact; here it is 0.0024 off, grid and Genz's method included.
    assert found.evidence == pytest.approx(expected, abs=0.005)


def test_one_reading_and_its_line_are_exact() -> None:
    # One reading of one build at age 0 under a proper start: the truncated normal, by hand.
    # Flat fixed effects need more rows, so the prior is that of a held, wide unit start.
    wide, residual = 1.7, 0.09
    ones = np.ones((1, 1))
    design = NestedDesign.of((np.zeros((1, 0)), np.zeros((1, 0)), ones), ["K1"], ["b"])
    rows = Rows(np.array([0.3]), np.array([1.3]))
    found = settle(design, rows, np.array([residual, wide]), first_sites(rows, residual))
    total = np.sqrt(wide + residual)
    low, high = 0.3 / total, 1.3 / total
    chance = norm.cdf(high) - norm.cdf(low)
    assert found.evidence == pytest.approx(np.log(chance), rel=1e-9)
    mean = -(norm.pdf(high) - norm.pdf(low)) / chance * wide / total
    bend = (high * norm.pdf(high) - low * norm.pdf(low)) / chance
    ratio = (norm.pdf(high) - norm.pdf(low)) / chance
    variance = wide - wide**2 / total**2 * (bend + ratio**2)
    assert found.posterior.build[0, 0] == pytest.approx(mean, rel=1e-8)
    assert found.posterior.build_covariance[0, 0, 0] == pytest.approx(variance, rel=1e-8)


def test_slope_in_the_residual_by_finite_differences() -> None:
    age, unit, build, latent = shop(3)
    design = nested(age, unit, build)
    low = np.floor(latent)[design.order] - 4.0
    high = low + 1.0
    high[3], low[7], high[11] = np.inf, -np.inf, low[11]
    rows = Rows(low, high)

    def at(log: float) -> float:
        spreads = np.array([np.exp(log), *SPREADS[1:]])
        return settle(design, rows, spreads, first_sites(rows, SPREADS[0])).evidence

    log = float(np.log(SPREADS[0]))
    slope = settle(design, rows, SPREADS, first_sites(rows, SPREADS[0])).residual_slope
    assert slope == pytest.approx((at(log + 1e-4) - at(log - 1e-4)) / 2e-4, rel=1e-5)


def test_numbers_give_the_restricted_likelihood_of_components() -> None:
    age, unit, build, latent = shop(4)
    ours = fitted(age, unit, build, latent, latent, penalties=(0.0, 1.0, 1.0))
    ones = np.ones(len(age))
    theirs = fit_components(
        latent,
        np.column_stack([ones, age]),
        ("start", "rate"),
        [
            Component("unit start", tuple(unit), ones),
            Component("unit rate", tuple(unit), age),
            Component("build start", tuple(build), ones),
            Component("build rate", tuple(build), age),
        ],
    )
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood, abs=1e-5)
    assert ours.coefficients == pytest.approx(theirs.coefficients, rel=1e-4)
    assert ours.residual_variance == pytest.approx(theirs.residual_variance, rel=2e-3)


def test_fine_intervals_are_numbers() -> None:
    # Intervals of a twentieth of the scatter say what their middles say.
    age, unit, build, latent = shop(5)
    fine = 0.02
    low = np.floor(latent / fine) * fine
    of_intervals = fitted(age, unit, build, low, low + fine, penalties=(0.0, 0.25, 1.0))
    of_numbers = fitted(age, unit, build, low + fine / 2, low + fine / 2)
    assert of_intervals.coefficients == pytest.approx(of_numbers.coefficients, rel=1e-3)
    assert of_intervals.covariance == pytest.approx(of_numbers.covariance, rel=0.02)


def test_balanced_builds_have_the_freedom_of_their_number() -> None:
    # One unit's worth of spread between builds only: the mean of twelve builds' lines has eleven
    # degrees of freedom (Satterthwaite 1946 gives the classical number where there is one).
    age, unit, build, latent = shop(6)
    ones = np.ones(len(age))
    fit = fit_lines(
        latent,
        latent,
        ones[:, None],
        ("start",),
        units=unit,
        builds=build,
        unit_columns={},
        build_columns={"build start": 3.0 * ones},
        penalties=(0.0, 0.0, 0.0),
    )
    assert fit.contrast(np.ones((1, 1))).freedom[0] == pytest.approx(11.0, rel=0.02)


def test_order_of_rows_does_not_matter() -> None:
    age, unit, build, latent = shop(7)
    low = np.floor(latent)
    mixed = np.random.default_rng(0).permutation(len(age))
    fit = fitted(age, unit, build, low, low + 1.0)
    again = fitted(
        age[mixed],
        [unit[m] for m in mixed],
        [build[m] for m in mixed],
        low[mixed],
        low[mixed] + 1.0,
    )
    assert again.coefficients == pytest.approx(fit.coefficients, rel=1e-4)
    assert again.residual_variance == pytest.approx(fit.residual_variance, rel=1e-3)


def test_a_wider_interval_never_says_more() -> None:
    age, unit, build, latent = shop(8)
    design = nested(age, unit, build)
    low = np.floor(latent)[design.order] - 4.0
    errors = []
    for more in (0.0, 0.5, 2.0, np.inf):
        rows = Rows(low, np.where(np.arange(len(low)) == 5, low + 1.0 + more, low + 1.0))
        found = settle(design, rows, SPREADS, first_sites(rows, SPREADS[0]))
        errors.append(found.posterior.fixed_covariance[1, 1])
    assert errors == sorted(errors)
    assert errors[-1] > errors[0]


def test_a_column_of_noughts_is_refused() -> None:
    age, unit, build, latent = shop(9)
    ones = np.ones(len(age))
    with pytest.raises(NotIdentifiedError, match="nought on every row"):
        fit_lines(
            latent,
            latent,
            ones[:, None],
            ("start",),
            units=unit,
            builds=build,
            unit_columns={"offset": 0.0 * ones},
            build_columns={},
        )


def test_weights_of_nought_leave_the_prior() -> None:
    age, unit, build, _ = shop(10)
    design = nested(age, unit, build)
    weights = np.where(design.build_of == 0, 0.0, 1.0)
    found = solve_nested(design, weights, weights * 0.0, 1.0 / SPREADS[1:])
    own = found.build_covariance[0, 4:, 4:]
    assert own == pytest.approx(np.diag(SPREADS[3:]), abs=1e-12)

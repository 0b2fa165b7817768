import numpy as np
import pytest

from wearstats.arrays import FloatArray
from wearstats.errors import NotIdentifiedError, TooFewError
from wearstats.mixed import Component, fit_components, fit_mixed, least_squares, restricted_slope
from wearstats.mixed.equations import solve_equations

UNITS = tuple(f"K{number}" for number in range(6) for _ in range(12))
BUILDS = tuple((unit, row // 4) for row, unit in enumerate(UNITS))
AGES = np.tile(np.arange(4.0), 18)
ONES = np.ones(72)
FIXED = np.column_stack([ONES, AGES])
NAMES = ("start", "rate")
COMPONENTS = (
    Component("build start", BUILDS, ONES),
    Component("build rate", BUILDS, AGES),
    Component("unit rate", UNITS, AGES),
)


def response(seed: int = 2, spread: float = 1.0) -> FloatArray:
    rng = np.random.default_rng(seed)
    units = np.repeat(np.arange(6), 12)
    builds = np.repeat(np.arange(18), 4)
    start = 4.0 + spread * rng.normal(size=18)[builds]
    rate = 0.5 + spread * (0.3 * rng.normal(size=18)[builds] + 0.4 * rng.normal(size=6)[units])
    return np.asarray(start + rate * AGES + 0.5 * rng.normal(size=72))


def dense_likelihood(y: FloatArray, variances: dict[str, float], residual: float) -> float:
    """The restricted log likelihood from its definition, with the n x n covariance."""
    covariance = residual * np.eye(len(y))
    for component in COMPONENTS:
        same = np.array([[a == b for a in component.labels] for b in component.labels])
        outer = np.outer(component.column, component.column)
        covariance += variances[component.name] * same * outer
    precision = np.linalg.inv(covariance)
    information = FIXED.T @ precision @ FIXED
    beta = np.linalg.solve(information, FIXED.T @ precision @ y)
    miss = y - FIXED @ beta
    logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1]
    return float(-0.5 * (70.0 * np.log(2.0 * np.pi) + logs + miss @ precision @ miss))


def test_likelihood_and_errors_are_those_of_the_dense_definition() -> None:
    y = response()
    fit = fit_components(y, FIXED, NAMES, COMPONENTS)
    expected = dense_likelihood(y, dict(fit.variances), fit.residual_variance)
    assert fit.log_likelihood == pytest.approx(expected, rel=1e-10)


def test_slope_by_finite_differences() -> None:
    y = response()
    at = np.log([0.3, 0.5, 0.1, 0.2])

    def solved(logs: FloatArray) -> float:
        return dense_likelihood(
            y,
            dict(zip(("build start", "build rate", "unit rate"), np.exp(logs[1:]), strict=True)),
            float(np.exp(logs[0])),
        )

    step = 1e-5 * np.eye(4)
    differences = [(solved(at + d) - solved(at - d)) / 2e-5 for d in step]
    fit = solve_equations(
        y,
        FIXED,
        NAMES,
        COMPONENTS,
        joint_names=(),
        joint_covariance=np.zeros((0, 0)),
        separate_variances=np.exp(at[1:]),
        residual=float(np.exp(at[0])),
    )
    assert restricted_slope(fit) == pytest.approx(differences, rel=1e-5, abs=1e-6)


def test_without_the_penalty_it_is_statsmodels_fit() -> None:
    y = response()
    ours = fit_components(y, FIXED, NAMES, COMPONENTS, penalty=0.0)
    theirs = fit_mixed(y, FIXED, NAMES, groups=UNITS, separate=COMPONENTS)
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood, abs=1e-7)
    assert ours.coefficients == pytest.approx(theirs.coefficients, rel=1e-5)
    assert ours.residual_variance == pytest.approx(theirs.residual_variance, rel=1e-3)
    for name, variance in theirs.variances.items():
        assert ours.variances[name] == pytest.approx(variance, rel=1e-3)


def test_the_penalty_never_takes_a_spread_for_nought_and_hardly_moves_a_seen_one() -> None:
    plain = fit_components(response(), FIXED, NAMES, COMPONENTS, penalty=0.0)
    kept = fit_components(response(), FIXED, NAMES, COMPONENTS)
    ratio = kept.variances["build start"] / plain.variances["build start"]
    assert 1.0 < ratio < 1.15  # 18 builds: about 1 + 1 / 17
    flat = fit_components(response(spread=0.0), FIXED, NAMES, COMPONENTS)
    assert all(variance > 1e-4 for variance in flat.variances.values())


def test_crossed_effects_are_found() -> None:
    rng = np.random.default_rng(4)
    unit, meet = rng.integers(0, 12, 600), rng.integers(0, 10, 600)
    y = (
        2.0 * rng.normal(size=12)[unit]
        + 1.0 * rng.normal(size=10)[meet]
        + 0.5 * rng.normal(size=600)
    )
    ones = np.ones(600)
    fit = fit_components(
        np.asarray(y),
        ones[:, None],
        ("level",),
        [Component("unit", tuple(unit), ones), Component("meet", tuple(meet), ones)],
    )
    # Within the 1 % to 99 % range of a variance from 12 and 10 effects (chi-square 11 and 9).
    assert 4.0 * 3.05 / 11.0 < fit.variances["unit"] < 4.0 * 24.7 / 11.0
    assert 1.0 * 2.09 / 9.0 < fit.variances["meet"] < 1.0 * 21.7 / 9.0
    assert fit.residual_variance == pytest.approx(0.25, rel=0.15)  # 2.6 standard errors


def test_predictions_have_the_closed_form_of_one_way_layouts() -> None:
    # One level a unit, k readings each: the effect is (mean - level) * s2 / (s2 + r2 / k), its
    # prediction variance s2 r2 / (k s2 + r2) about a known level (Searle et al. 1992, chapter 7).
    y = response()
    fit = fit_components(y, ONES[:, None], ("level",), [Component("unit", UNITS, ONES)])
    between, within = fit.variances["unit"], fit.residual_variance
    means = y.reshape(6, 12).mean(axis=1)
    shrink = between / (between + within / 12.0)
    assert fit.coefficients[0] == pytest.approx(means.mean())
    assert fit.effects == pytest.approx((means - means.mean()) * shrink)
    mean, variance = fit.predicted(np.ones((2, 1)), {"unit": (["K3", "new"], np.ones(2))})
    level = float(fit.covariance[0, 0])
    assert level == pytest.approx((between + within / 12.0) / 6.0)
    assert mean == pytest.approx([means.mean() + fit.effects[3], means.mean()])
    known = shrink * within / 12.0 + (1.0 - shrink) ** 2 * level
    assert variance == pytest.approx([known, between + level])


def test_without_components_it_is_least_squares() -> None:
    y = response()
    fit = fit_components(y, FIXED, NAMES, ())
    again = least_squares(y, FIXED, NAMES)
    slope, start = np.polyfit(AGES, y, 1)
    assert fit.coefficients == pytest.approx([start, slope])
    assert fit.covariance == pytest.approx(again.covariance)
    _, covariance = np.polyfit(AGES, y, 1, cov=True)
    assert fit.covariance == pytest.approx(covariance[::-1, ::-1])


def test_too_few_rows() -> None:
    with pytest.raises(TooFewError) as caught:
        fit_components(np.ones(2), FIXED[:2], NAMES, ())
    assert caught.value.need == 3


@pytest.mark.parametrize(
    "fixed",
    [np.column_stack([ONES, 2.0 * ONES]), np.column_stack([ONES, 0.0 * ONES])],
)
def test_columns_that_say_the_same_are_refused(fixed: FloatArray) -> None:
    with pytest.raises(NotIdentifiedError, match="the same thing twice"):
        fit_components(response(), fixed, NAMES, COMPONENTS)


def test_a_component_on_nothing_is_refused() -> None:
    with pytest.raises(NotIdentifiedError, match="nought on every row"):
        fit_components(response(), FIXED, NAMES, [Component("unit", UNITS, 0.0 * ONES)])


def test_an_exact_line_needs_a_floor() -> None:
    with pytest.raises(NotIdentifiedError, match="exactly on a line"):
        fit_components(4.0 + AGES, FIXED, NAMES, COMPONENTS)
    fit = fit_components(4.0 + AGES, FIXED, NAMES, COMPONENTS, residual_floor=0.1)
    assert fit.residual_variance == pytest.approx(0.1)


def test_nothing_to_predict_is_no_fault() -> None:
    fit = fit_components(response(), FIXED, NAMES, COMPONENTS)
    none: dict[str, tuple[tuple[str, ...], FloatArray]] = {"unit rate": ((), np.zeros(0))}
    mean, variance = fit.predicted(np.zeros((0, 2)), none)
    assert (len(mean), len(variance)) == (0, 0)

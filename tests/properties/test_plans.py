"""Laws every plan keeps, whatever the curve and the prices."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wearstats.arrays import FloatArray
from wearstats.plans import KnownSurvival, RestripPlan, StripsNow, chances, sets_needed
from wearstats.records.costs import Costs

SHAPES = st.floats(0.6, 6.0)
SCALES = st.floats(2.0, 60.0)
RATIOS = st.floats(0.1, 30.0)


@dataclass(frozen=True)
class WeibullDraws:
    """Weighted draws of shape and scale."""

    shapes: tuple[float, ...]
    scales: tuple[float, ...]
    weights: tuple[float, ...]

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        shape = np.array(self.shapes)[:, None]
        scale = np.array(self.scales)[:, None]
        return np.exp(-((ages[None, :] / scale) ** shape)), np.array(self.weights)


@st.composite
def weibull_draws(draw: st.DrawFn) -> WeibullDraws:
    count = draw(st.integers(1, 5))

    def several(values: st.SearchStrategy[float]) -> tuple[float, ...]:
        return tuple(draw(st.lists(values, min_size=count, max_size=count)))

    return WeibullDraws(several(SHAPES), several(SCALES), several(st.floats(0.1, 3.0)))


def weibull(shape: float, scale: float) -> KnownSurvival:
    def survival(ages: FloatArray) -> FloatArray:
        return np.exp(-((ages / scale) ** shape))

    return KnownSurvival(survival)


def plainly(draws: WeibullDraws, prices: Costs, runs: int) -> float:
    """Expected cost per run by the formula, a loop and no grid."""
    ages = np.arange(runs + 1, dtype=np.float64)
    survival, weights = draws.survival_matrix(ages)
    total = 0.0
    for curve, weight in zip(survival, weights, strict=True):
        failed = 1 - curve[runs]
        cycle = prices.planned + failed * prices.burn_through
        total += weight * cycle / sum(curve[k] for k in range(runs))
    return float(total / weights.sum())


@given(mean=st.floats(1.0, 80.0), ratio=RATIOS)
def test_strips_that_do_not_age_are_never_restripped_early(mean: float, ratio: float) -> None:
    found = RestripPlan(Costs(planned=1.0, burn_through=ratio)).best(weibull(1.0, mean))
    assert found.best is None
    assert found.runs.estimate is None
    assert "Run to failure costs no more" in found.remarks[0]


@given(shape=st.floats(0.5, 0.99), scale=SCALES, ratio=RATIOS)
def test_strips_that_get_better_with_age_are_never_restripped_early(
    shape: float, scale: float, ratio: float
) -> None:
    assert (
        RestripPlan(Costs(planned=1.0, burn_through=ratio)).best(weibull(shape, scale)).best is None
    )


@given(draws=weibull_draws(), ratio=RATIOS)
def test_best_costs_no_more_than_any_number_of_runs_near_it(
    draws: WeibullDraws, ratio: float
) -> None:
    prices = Costs(planned=1.0, burn_through=ratio)
    found = RestripPlan(prices).best(draws)
    if found.best is None or found.best > 200:
        return
    least = plainly(draws, prices, found.best)
    assert found.cost_per_run is not None
    assert found.cost_per_run.estimate == pytest.approx(least, rel=1e-9)
    for runs in range(1, found.best + 20):
        assert least <= plainly(draws, prices, runs) * (1 + 1e-9)


@given(draws=weibull_draws(), ratio=RATIOS, factor=st.floats(0.01, 5000.0))
def test_scaling_all_costs_scales_the_cost_and_not_the_plan(
    draws: WeibullDraws, ratio: float, factor: float
) -> None:
    one = RestripPlan(Costs(planned=1.0, burn_through=ratio, lost_psi_per_run=0.1)).best(
        draws, lambda runs: 0.2 * runs
    )
    many = RestripPlan(
        Costs(planned=factor, burn_through=factor * ratio, lost_psi_per_run=0.1 * factor)
    ).best(draws, lambda runs: 0.2 * runs)
    assert one.best == many.best
    assert one.near_best == many.near_best
    assert one.cost_per_run is not None
    assert one.cost_per_run.estimate is not None
    assert many.cost_per_run is not None
    assert many.cost_per_run.estimate == pytest.approx(factor * one.cost_per_run.estimate)


@given(draws=weibull_draws(), ratio=RATIOS)
def test_near_best_is_exactly_what_costs_within_the_tolerance(
    draws: WeibullDraws, ratio: float
) -> None:
    found = RestripPlan(Costs(planned=1.0, burn_through=ratio)).best(draws)
    assert found.cost_per_run is not None
    assert found.cost_per_run.estimate is not None
    limit = found.cost_per_run.estimate * 1.02
    costs = found.curve["cost_per_run"].to_numpy()
    clear = np.abs(costs / limit - 1) > 1e-9
    assert np.array_equal((costs <= limit)[clear], found.curve["near_best"].to_numpy()[clear])
    if found.best is not None:
        assert any(
            low <= found.best and (high is None or found.best <= high)
            for low, high in found.near_best
        )


@given(draws=weibull_draws(), ratio=RATIOS, limit=st.integers(1, 40))
def test_no_plan_passes_the_service_limit(draws: WeibullDraws, ratio: float, limit: int) -> None:
    for costs in (None, Costs(planned=1.0, burn_through=ratio)):
        free = RestripPlan(costs).best(draws)
        held = RestripPlan(costs, service_limit_runs=limit).best(draws)
        assert held.best is not None
        assert held.best <= limit
        assert all(high is not None and high <= limit for _, high in held.near_best)
        assert held.runs.high is not None
        assert held.runs.high <= limit
        assert held.capped == (free.best is None or free.best > limit)
        if not held.capped:
            assert held.best == free.best
        assert held.capped == any("service limit" in remark for remark in held.remarks)


@given(draws=weibull_draws(), bound=st.floats(0.5, 0.99))
def test_without_costs_the_chance_is_kept_and_one_more_run_breaks_it(
    draws: WeibullDraws, bound: float
) -> None:
    found = RestripPlan(None, bound=bound).best(draws)
    assert found.best is not None
    survival, weights = draws.survival_matrix(np.array([found.best, found.best + 1.0]))
    at, after = weights / weights.sum() @ survival
    assert at >= bound - 1e-9
    assert after < bound + 1e-9


@given(
    draws=weibull_draws(),
    look=st.floats(0.0, 10.0),
    since=st.floats(0.0, 10.0),
    ahead=st.integers(1, 10),
)
def test_chance_as_known_is_sound_now_times_chance_if_found_sound(
    draws: WeibullDraws, look: float, since: float, ahead: int
) -> None:
    age = look + since
    # A curve that has come to nought by now rules these strips out, which `chances` refuses.
    assume(bool(np.all(draws.survival_matrix(np.array([age]))[0] > 0)))
    found = chances(draws, age=age, last_look=look, runs_ahead=ahead, level=0.9)
    assert found.sound_now.estimate is not None
    assert found.ahead.estimate is not None
    assert found.ahead_if_sound.estimate is not None
    product = found.sound_now.estimate * found.ahead_if_sound.estimate
    assert found.ahead.estimate == pytest.approx(product, rel=1e-9, abs=1e-12)
    assert found.ahead.estimate <= found.ahead_if_sound.estimate + 1e-12
    if since == 0:
        assert found.sound_now.estimate == pytest.approx(1.0)


@given(draws=weibull_draws(), age=st.floats(0.0, 8.0), ahead=st.integers(1, 6))
def test_sets_needed_is_a_distribution_and_follows_from_the_seed(
    draws: WeibullDraws, age: float, ahead: int
) -> None:
    strips = [StripsNow("K1", age, age), StripsNow("K2", age, age / 2)]

    def again() -> object:
        return sets_needed(draws, strips, runs_ahead=ahead, seed=3, simulations=400)

    found = sets_needed(draws, strips, runs_ahead=ahead, seed=3, simulations=400)
    assert found == again()
    assert sum(found.probability) == pytest.approx(1.0)
    assert len(found.probability) <= 2 * ahead + 1
    assert found.enough(0.9) <= found.enough(0.95) <= found.enough(0.99)

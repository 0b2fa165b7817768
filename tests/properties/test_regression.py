"""Laws of the run-by-run regression: order of lives, weights, unit of age."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.arrays import FloatArray, IntArray
from wearstats.life import HazardRegression
from wearstats.life.regression_results import HazardRegressionFit
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations

FEW = settings(max_examples=6, derandomize=True, deadline=None)
SEEDS = st.integers(0, 10_000)
KINDS = st.sampled_from(
    [("weibull", "none"), ("loglogistic", "none"), ("lognormal", "none"), ("weibull", "gamma")]
)


def known(seed: int) -> Histories:
    """Forty lives of eight units, looked at every two runs, with a load that changes each run."""
    random = np.random.default_rng(seed)
    effects = np.repeat(random.gamma(2.0, 0.5, 8), 5)
    cut: list[FloatArray] = []
    lower, upper = np.zeros(40), np.full(40, np.inf)
    for place, effect in enumerate(effects):
        loads = random.normal(size=2 * int(random.integers(4, 9)))
        hazard = effect * np.diff((np.arange(loads.size + 1) / 10) ** 2) * np.exp(0.5 * loads)
        fails = int(np.searchsorted(np.cumsum(hazard), random.exponential()))
        failed = fails < loads.size
        lower[place] = 2 * (fails // 2) if failed else loads.size
        upper[place] = lower[place] + 2 if failed else np.inf
        cut.append(loads[: int(lower[place]) + 2 * failed])
    start = np.concatenate([np.arange(loads.size, dtype=np.float64) for loads in cut])
    labels = tuple(f"life {place}" for place in range(40))
    return Histories(
        observations(lower, upper, labels),
        tuple(f"K{place // 5}" for place in range(40)),
        ("load",),
        np.repeat(np.arange(40), [loads.size for loads in cut]),
        start,
        start + 1,
        np.concatenate(cut)[:, None],
    )


def observations(lower: FloatArray, upper: FloatArray, labels: tuple[str, ...]) -> Observations:
    return Observations(np.zeros(lower.size), lower, upper, np.ones(lower.size), labels)


def picked(histories: Histories, order: IntArray) -> Histories:
    """The lives at these places, in this order; a place may come twice."""
    seen = histories.observations
    rows = [np.flatnonzero(histories.life == place) for place in order]
    stretches = np.concatenate(rows)
    return Histories(
        Observations(
            seen.entry[order],
            seen.lower[order],
            seen.upper[order],
            seen.weight[order],
            tuple(f"life {place}" for place in range(order.size)),
        ),
        tuple(histories.units[place] for place in order),
        histories.names,
        np.repeat(np.arange(order.size), [each.size for each in rows]),
        histories.start[stretches],
        histories.stop[stretches],
        histories.covariates[stretches],
    )


def same(one: HazardRegressionFit, other: HazardRegressionFit) -> None:
    assert one.edge == other.edge
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-7)
    assert one.estimates == pytest.approx(other.estimates, abs=1e-5)
    assert one.failures == other.failures


@FEW
@given(SEEDS, KINDS)
def test_the_order_of_lives_does_not_matter(seed: int, kind: tuple[str, str]) -> None:
    lives = known(seed)
    order = np.random.default_rng(seed).permutation(40)
    same(HazardRegression(*kind).fit(lives), HazardRegression(*kind).fit(picked(lives, order)))


@FEW
@given(SEEDS, KINDS)
def test_a_weight_is_a_repetition(seed: int, kind: tuple[str, str]) -> None:
    lives = known(seed)
    times = np.random.default_rng(seed).integers(1, 4, 40)
    weighed = replace(
        lives, observations=replace(lives.observations, weight=times.astype(np.float64))
    )
    repeated = picked(lives, np.repeat(np.arange(40), times))
    same(HazardRegression(*kind).fit(weighed), HazardRegression(*kind).fit(repeated))


@FEW
@given(SEEDS, KINDS, st.sampled_from([0.01, 7.0, 400.0]))
def test_the_unit_of_age_changes_ages_only(seed: int, kind: tuple[str, str], unit: float) -> None:
    lives = known(seed)
    seen = lives.observations
    turned = replace(
        lives,
        observations=replace(seen, lower=seen.lower * unit, upper=seen.upper * unit),
        start=lives.start * unit,
        stop=lives.stop * unit,
    )
    one, other = HazardRegression(*kind).fit(lives), HazardRegression(*kind).fit(turned)
    # Looks are intervals, so no density carries the unit.
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-7)
    for name in set(one.estimates) - {"intercept"}:
        assert one.estimates[name] == pytest.approx(other.estimates[name], abs=1e-5)
    # z = intercept + shape * log(age): the intercept takes up the unit.
    moved = one.estimates["intercept"] - np.exp(one.estimates["log_shape"]) * np.log(unit)
    assert other.estimates["intercept"] == pytest.approx(moved, abs=1e-4)

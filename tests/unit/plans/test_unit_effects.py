import numpy as np
import pytest
from scipy import integrate, stats

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError
from wearstats.life import LifePosterior, posterior
from wearstats.lives import StripLives
from wearstats.lives.observations import Observations
from wearstats.plans import unit_effects
from wearstats.plans.unit_effects import SPREAD_SCALE, effects_of

SHAPE, SCALE = 2.5, 12.0


def simulated(
    factors: FloatArray, each: int, seed: int
) -> tuple[Observations, list[str], LifePosterior]:
    """Lives of units with these factors, looked at after every run, pulled after 9."""
    rng = np.random.default_rng(seed)
    lower, upper, units = [], [], []
    for unit, factor in enumerate(factors.tolist()):
        for life in SCALE * (rng.exponential(size=each) / factor) ** (1 / SHAPE):
            last = float(np.ceil(life))
            lower.append(min(last - 1, 9.0))
            upper.append(last if last <= 9 else np.inf)
            units.append(f"K{unit}")
    entry, weight = np.zeros(len(units)), np.ones(len(units))
    seen = Observations(entry, np.array(lower), np.array(upper), weight, tuple(units))
    return seen, units, posterior(seen)


def test_a_unit_that_eats_strips_stands_out() -> None:
    seen, units, life = simulated(np.array([1.0, 1.0, 1.0, 4.0]), 12, 1)
    found = effects_of(seen, units, life)
    factors = {name: each.estimate or 0.0 for name, each in found.factors.items()}
    assert factors["K3"] > 1.5 * max(factors[name] for name in ("K0", "K1", "K2"))
    ages = np.array([4.0, 8.0])
    mean = {}
    for name in ("K0", "K3", "never seen"):
        survival, weights = found.draws_of(name).survival_matrix(ages)
        mean[name] = weights @ survival
    assert (mean["K3"] < mean["never seen"]).all()
    assert (mean["never seen"] < mean["K0"]).all()


def test_the_mean_over_the_points_is_the_integral() -> None:
    # The same posterior by nested adaptive quadrature over spread, log z, log median and a held
    # shape: an independent route to the mean of a unit's factor.
    seen, units, _ = simulated(np.array([0.7, 1.0, 2.0]), 5, 3)
    life = posterior(seen, shape=SHAPE)
    found = effects_of(seen, units, life)
    names = np.array(units)
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(61)
    node_weights = node_weights / node_weights.sum()

    def unit_sum(name: str, scale: float, spread: float, power: float) -> float:
        z = np.exp(spread * nodes)[:, None]
        at = names == name
        lower, upper = (each[at] / scale for each in (seen.lower, seen.upper))
        gone = np.where(np.isfinite(upper), np.exp(-z * upper**SHAPE), 0.0)
        likelihood = np.prod(np.exp(-z * lower**SHAPE) - gone, axis=1)
        return float(node_weights @ (likelihood * z[:, 0] ** power))

    prior = stats.norm(np.log(life.prior.median_runs or 1.0), life.prior.log_median_sd)

    def density(spread: float, log_median: float, power: float) -> float:
        scale = np.exp(log_median) / np.log(2) ** (1 / SHAPE)
        product = unit_sum("K0", scale, spread, 0) * unit_sum("K1", scale, spread, 0)
        product *= unit_sum("K2", scale, spread, power)
        weighed = product * np.exp(-((spread / SPREAD_SCALE) ** 2) / 2) * prior.pdf(log_median)
        return float(weighed)

    def integral(power: float) -> float:
        value, _ = integrate.dblquad(
            density, 1.2, 3.6, 0.0, 1.1, args=(power,), epsrel=1e-4, epsabs=0
        )
        return float(value)

    wanted = integral(1.0) / integral(0.0)
    # Eight values of the spread and 800 draws stand for the integral: good to 2 %.
    assert found.factors["K2"].estimate == pytest.approx(wanted, rel=0.02)


def test_units_alike_are_left_alike() -> None:
    seen, units, life = simulated(np.ones(6), 20, 2)
    found = effects_of(seen, units, life)
    assert found.spread.low is not None
    assert found.spread.low <= 0.1
    for factor in found.factors.values():
        assert factor.low is not None
        assert factor.high is not None
        assert factor.low < 1 < factor.high


def test_a_unit_without_a_life_of_its_own_is_like_any_other() -> None:
    seen, units, life = simulated(np.ones(4), 10, 5)
    ages = np.array([3.0, 6.0, 9.0])
    survival, weights = effects_of(seen, units, life).draws_of("new").survival_matrix(ages)
    plain, plain_weights = life.survival_matrix(ages)
    assert weights @ survival == pytest.approx(plain_weights @ plain, abs=0.02)


def test_units_say_nothing_of_each_other_given_the_fleet() -> None:
    # Units alike and hardly known: the posterior's own correlations of log z are near nought.
    seen, units, life = simulated(np.ones(5), 3, 4)
    found = effects_of(seen, units, life)
    effects = np.array([found.draws_of(name).log_z for name in (*sorted({*units}), "new")])
    between = np.corrcoef(effects)[~np.eye(6, dtype=bool)]
    assert np.abs(between).max() < 0.3
    fleets = [found.draws_of(name).log_median for name in ("K0", "K4", "new")]
    assert all(np.array_equal(fleets[0], other) for other in fleets)


def test_one_unit_alone_is_refused() -> None:
    import pandas as pd

    row = {"unit": "K1", "build": 1, "entry": 0.0, "lower": 3.0, "upper": 5.0, "mode": "burned"}
    frame = pd.DataFrame([row | {"left_out": False, "weight": 1.0}])
    lives = StripLives(frame, pd.DataFrame(), ())
    with pytest.raises(PlanError, match="one unit"):
        unit_effects(lives, posterior(lives.observations()))

"""Calibrated critical values of hazard ratios: the batched likelihood is the one of the fit."""

import numpy as np
import pytest

from wearstats.errors import FitError
from wearstats.life import HazardRegression, hazard_likelihood
from wearstats.life.held import profile_at
from wearstats.life.quantities import Coordinate
from wearstats.life.ratio_calibration import _fixed, _Sets, ratio_criticals
from wearstats.life.results import critical_value
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations


def two_lots(seed: int, count: int = 24, *, exact: bool = False, late: bool = False) -> Histories:
    """Lives of two lots and a height, looked at every two runs, up to 14 runs."""
    rng = np.random.default_rng(seed)
    lot, height = np.arange(count) % 2.0, rng.normal(size=count)
    entry = np.where(np.arange(count) % 5 == 0, 2.0, 0.0) if late else np.zeros(count)
    hazard = (entry / 12) ** 2.5 + rng.exponential(size=count) * np.exp(-0.7 * lot)
    life = 12 * hazard**0.4
    lower = np.minimum(np.maximum(2 * np.floor(life / 2), entry), 14.0)
    upper = np.where(life < 14, lower + 2, np.inf)
    if exact:
        known = np.isfinite(upper) & (np.arange(count) % 3 == 0)
        lower, upper = np.where(known, life, lower), np.where(known, life, upper)
    labels = tuple(f"life {place}" for place in range(count))
    end = np.where(np.isfinite(upper), upper, lower)
    tells = np.flatnonzero(end > entry)
    return Histories(
        Observations(entry, lower, upper, np.ones(count), labels),
        labels,
        ("lot", "height"),
        tells,
        entry[tells],
        end[tells],
        np.column_stack([lot, height])[tells],
    )


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("exact", [False, True])
def test_the_batched_likelihood_is_that_of_the_fit(*, exact: bool, late: bool) -> None:
    histories = two_lots(4, exact=exact, late=late)
    fit = HazardRegression().fit(histories)
    lives, seen = _fixed(fit, histories), histories.observations
    assert lives is not None
    tells = np.flatnonzero(seen.informative)
    ages = seen.entry[tells], seen.lower[tells][None], seen.upper[tells][None]
    one = _Sets.of(lives, fit, *ages)
    for away in (0.0, 0.3):
        theta = fit.summit.theta + away * np.array([1.0, -0.5, 0.7, -1.0])
        value, gradient, hessian = one._jet(theta[None])
        expected = hazard_likelihood.derivatives(fit.law, None, fit.exposures, theta)
        # a density in age has the logs of the ages besides, which no fall knows
        jacobian = np.sum(np.log(seen.upper[tells][(seen.upper == seen.lower)[tells]]))
        assert value[0] - jacobian == pytest.approx(expected[0], abs=1e-9)
        assert gradient[0] == pytest.approx(expected[1], abs=1e-9)
        assert hessian[0] == pytest.approx(expected[2], abs=1e-9)


def test_held_at_a_ratio_it_falls_as_the_profile_does() -> None:
    histories = two_lots(5)
    fit = HazardRegression().fit(histories)
    lives, seen = _fixed(fit, histories), histories.observations
    assert lives is not None
    tells = np.flatnonzero(seen.informative)
    one = _Sets.of(lives, fit, seen.entry[tells], seen.lower[tells][None], seen.upper[tells][None])
    start, free = fit.summit.theta.copy(), np.ones(4, dtype=np.bool_)
    assert one.highest(start, free).value[0] == pytest.approx(fit.log_likelihood, abs=1e-9)
    start[2] += 0.4
    free[2] = False
    held = profile_at(fit.summit, Coordinate(2), float(start[2]), fit.summit.theta)
    best = one.highest(start, free)
    assert best.converged.all()
    assert best.value[0] == pytest.approx(held.value, abs=1e-9)


def test_few_failures_take_more_than_chi_square_and_the_same_seed_the_same() -> None:
    histories = two_lots(6, 14)
    fit = HazardRegression().fit(histories)
    found = ratio_criticals(fit, histories, 0.9, seed=3)
    assert found == ratio_criticals(fit, histories, 0.9, seed=3)
    assert set(found) == {"lot", "height"}
    assert all(value > critical_value(0.9) for value in found.values())
    assert found != ratio_criticals(fit, histories, 0.9, seed=4)
    wide, plain = fit.factors(0.9, found)["lot"].ratio, fit.factors(0.9)["lot"].ratio
    assert wide.estimate == plain.estimate
    assert None not in (wide.low, plain.low, wide.high, plain.high)
    assert (wide.low or 0) < (plain.low or 0) < (plain.high or 0) < (wide.high or 0)


def test_where_it_does_not_hold_chi_square_stays() -> None:
    histories = two_lots(7)
    for law in ("lognormal", "loglogistic"):
        assert ratio_criticals(HazardRegression(law).fit(histories), histories, 0.9) == {}
    # a height that changes within a life
    changes = Histories(
        histories.observations,
        histories.units,
        histories.names,
        np.repeat(histories.life, 2),
        np.column_stack([histories.start, (histories.start + histories.stop) / 2]).ravel(),
        np.column_stack([(histories.start + histories.stop) / 2, histories.stop]).ravel(),
        np.repeat(histories.covariates, 2, axis=0) + [[0, 0], [0, 1]] * histories.life.size,
    )
    assert ratio_criticals(HazardRegression().fit(changes), changes, 0.9) == {}


@pytest.mark.slow
def test_intervals_of_a_lot_hold_the_truth_as_often_as_they_say() -> None:
    """200 sets of 14 lives: standard error 2.1 %; chi-square's hold fewer."""
    plain, calibrated = [], []
    for seed in range(200):
        histories = two_lots(1000 + seed, 14)
        try:
            fit = HazardRegression().fit(histories)
        except FitError:
            continue
        c = 0.7 * float(fit.exposures.spread[0])
        held = profile_at(fit.summit, Coordinate(2), c, fit.summit.theta)
        fall = 2 * (fit.log_likelihood - held.value)
        found = ratio_criticals(fit, histories, 0.9, seed=seed)
        plain.append(fall <= critical_value(0.9))
        calibrated.append(fall <= found.get("lot", critical_value(0.9)))
    assert abs(np.mean(calibrated) - 0.9) < 4 * 0.021
    assert np.mean(plain) <= np.mean(calibrated)


@pytest.mark.parametrize("number", [1643, 1646, 1663, 1672])
def test_sets_with_a_level_likelihood_stop_nothing(number: int) -> None:
    # Rare indicators, steep lives: some simulated sets are highest where they are level.
    rng = np.random.default_rng(number + 10**6)
    count, rare = int(rng.integers(6, 22)), float(rng.choice([0.1, 0.2, 0.5]))
    shape, slope = float(rng.choice([0.8, 2, 6, 15])), float(rng.choice([0, 1, 3]))
    kind = str(rng.choice(["bin", "mix", "norm"]))
    rng = np.random.default_rng(number)
    binary = kind == "bin"
    covariates = (
        (rng.random((count, 2)) < rare).astype(float) if binary else rng.normal(size=(count, 2))
    )
    if kind == "mix":
        covariates[:, 1] = rng.random(count) < rare
    hazard = np.exp(covariates @ np.array([slope, 0.0]))
    fails = 8 * (rng.exponential(size=count) / hazard) ** (1 / shape)
    last = 2.0 * rng.integers(1, 6, size=count)
    failed = fails < last
    lower = np.where(failed, 2 * np.floor(fails / 2), last)
    upper = np.where(failed, lower + 2, np.inf)
    names = tuple(map(str, range(count)))
    histories = Histories(
        Observations(np.zeros(count), lower, upper, np.ones(count), names),
        tuple(f"K{place % 3}" for place in range(count)),
        ("a", "b"),
        np.arange(count),
        np.zeros(count),
        np.where(failed, upper, lower),
        covariates,
    )
    fit = HazardRegression("weibull", shape=None if number % 2 else 2.0).fit(histories)
    for critical in ratio_criticals(fit, histories, 0.9).values():
        assert 2.7 < critical < 20

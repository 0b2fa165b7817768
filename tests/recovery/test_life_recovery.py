"""Made-up fleets with a known truth: does the fit find it, do the intervals cover it?"""

import numpy as np
import pytest

from wearstats.errors import FitError
from wearstats.life import StripLife, posterior
from wearstats.lives.observations import Observations

SHAPE, SCALE = 2.5, 12.0
LIFE_TENTH = SCALE * (-np.log(0.9)) ** (1 / SHAPE)


def fleet(rng: np.random.Generator, size: int, *, late: bool = False) -> Observations:
    """Looks every 1 to 4 runs, watched until run 4 to 21; about 40 % unfinished."""
    entry = rng.integers(1, 6, size).astype(float) if late else np.zeros(size)
    life = SCALE * ((entry / SCALE) ** SHAPE - np.log(rng.random(size))) ** (1 / SHAPE)
    end = entry + rng.integers(4, 22, size)
    lower, upper = entry.copy(), np.full(size, np.inf)
    for unit in range(size):
        looks = entry[unit] + np.cumsum(rng.integers(1, 5, 30))
        looks = looks[looks <= end[unit]]
        found = np.flatnonzero(looks >= life[unit])
        sound = looks[looks < life[unit]]
        lower[unit] = sound[-1] if sound.size else entry[unit]
        upper[unit] = looks[found[0]] if found.size else np.inf
    return Observations(entry, lower, upper, np.ones(size), tuple(map(str, range(size))))


@pytest.mark.parametrize("late", [False, True])
def test_many_lives_give_the_truth_back(late: bool) -> None:
    known = fleet(np.random.default_rng(20), 4000, late=late)
    fit = StripLife().fit(known)
    errors = fit.standard_errors
    assert 1 / fit.sigma == pytest.approx(SHAPE, abs=4 * errors["shape"])
    assert fit.mu == pytest.approx(np.log(SCALE), abs=4 * errors["mu"])
    assert errors["shape"] < 0.1


def test_prior_fades_with_many_lives() -> None:
    known = fleet(np.random.default_rng(21), 800)
    by_likelihood, by_bayes = StripLife().fit(known).life_at(0.1), posterior(known).life_at(0.1)
    assert by_bayes.estimate == pytest.approx(by_likelihood.estimate, rel=0.01)
    assert by_bayes.low == pytest.approx(by_likelihood.low, rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("size", "expected"),
    [
        # plain profile likelihood, life at 10 % failed, nominal 0.90: measured with an
        # independent program on 4,000 fleets of this design (samples with a maximum)
        (12, 0.867),
        (30, 0.899),
    ],
)
def test_coverage_of_plain_profile_intervals(size: int, expected: float) -> None:
    rng = np.random.default_rng(size)
    inside = total = 0
    for _ in range(1500):
        try:
            life = StripLife().fit(fleet(rng, size)).life_at(0.1, 0.9)
        except FitError:
            continue
        total += 1
        low, high = life.low or 0.0, np.inf if life.high is None else life.high
        inside += int(low <= LIFE_TENTH <= high)
    # four Monte Carlo standard errors at 1,500 fleets
    assert inside / total == pytest.approx(expected, abs=0.035)

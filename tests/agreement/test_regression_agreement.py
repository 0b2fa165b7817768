"""The run-by-run regression against the complementary log-log model that statsmodels fits.

With looks after every run and the Weibull shape held the two are one likelihood, written by
different hands.
"""

import numpy as np
import pytest

from wearstats.life import HazardRegression, complementary_log_log
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations


def run_by_run(seed: int, *, late: bool) -> Histories:
    """Sixty lives looked at after every run, each run at its own load; some entered late."""
    rng = np.random.default_rng(seed)
    life, start, load, entry, lower, upper = [], [], [], [], [], []
    for place in range(60):
        first = int(rng.integers(0, 4)) if late else 0
        age, end, fails = first, first + int(rng.integers(4, 16)), False
        while age < end and not fails:
            run = rng.normal()
            added = ((age + 1) ** 2 - age**2) / 144 * np.exp(0.7 * run)
            life.append(place)
            start.append(age)
            load.append(run)
            fails = rng.random() < -np.expm1(-added)
            age += 1
        entry.append(first)
        lower.append(age - 1 if fails else age)
        upper.append(age if fails else np.inf)
    labels = tuple(f"K{place} build 1" for place in range(60))
    begins, sound, found = (np.array(each, dtype=np.float64) for each in (entry, lower, upper))
    begin = np.array(start, dtype=np.float64)
    return Histories(
        Observations(begins, sound, found, np.ones(60), labels),
        labels,
        ("load",),
        np.array(life),
        begin,
        begin + 1,
        np.array(load)[:, None],
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("shape", [1.0, 2.0, 3.5])
def test_runs_with_the_shape_held_are_one_likelihood(seed: int, late: bool, shape: float) -> None:
    known = run_by_run(seed, late=late)
    ours = HazardRegression(shape=shape).fit(known)
    theirs = complementary_log_log(known, course="weibull", shape=shape)
    assert ours.failures == theirs.failures > 20
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood, abs=1e-7)
    assert ours.estimates["load"] == pytest.approx(theirs.log_ratios[0], abs=1e-6)
    assert ours.estimates["intercept"] == pytest.approx(theirs.intercepts["intercept"], abs=1e-6)

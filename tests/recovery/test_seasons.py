"""Simulated seasons of known truth, fitted whole: is the truth inside the 90 % intervals?

The truth has a little unit frailty, looks that are skipped, feeler blades of 1 thou and weather;
the fits know nothing of it. Counts of 100 seasons at true coverage 0.9 are binomial: fewer than 80
has probability 0.001.
"""

from collections import Counter

import pytest

from wearstats.estimates import Estimate
from wearstats.leakage import BoostModel
from wearstats.life import StripLife
from wearstats.lives import boost_rows, clearance_readings, lives_of
from wearstats.wear import ClearanceWear
from wearstats_synthetic import simulate

LEVEL = 0.9
QUANTITIES = ("shape", "scale", "wear rate", "psi per thou")


def holds(estimate: Estimate, truth: float) -> bool:
    assert estimate.level == LEVEL
    above = estimate.low is None or estimate.low <= truth
    return above and (estimate.high is None or truth <= estimate.high)


def held(seed: int) -> set[str]:
    """Return the quantities whose interval holds the truth of one season."""
    made = simulate(seed)
    season = made.records
    lives = lives_of(season)
    assert not lives.left_out
    life = StripLife().fit(lives.observations()).parameters(LEVEL)
    wear = ClearanceWear("tip", level=LEVEL).fit(clearance_readings(season, lives))
    boost = BoostModel(level=LEVEL).fit(boost_rows(season, lives), wear, season.units)
    truth = made.derived
    intervals = {
        "shape": (life["shape"], truth.fleet_shape),
        "scale": (life["scale"], truth.fleet_scale_runs),
        "wear rate": (wear.rate, truth.mean_wear_thou_per_run),
        "psi per thou": (boost.psi_per_thou, truth.psi_per_thou),
    }
    return {name for name, (estimate, true) in intervals.items() if holds(estimate, true)}


def counts(seeds: range) -> Counter[str]:
    return Counter(name for seed in seeds for name in held(seed))


def test_the_truth_is_mostly_inside_in_a_few_seasons() -> None:
    # 6 of 8 or more: at coverage 0.9 each quantity fails this by chance once in 26 sets of seeds;
    # the seeds are fixed, so it cannot come and go.
    found = counts(range(8))
    assert all(found[name] >= 6 for name in QUANTITIES), found


@pytest.mark.slow
def test_the_truth_is_inside_in_eighty_of_a_hundred_seasons(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = counts(range(1000, 1100))
    with capsys.disabled():
        print("\nseasons of 100 whose 90 % interval holds the truth:", dict(found))  # noqa: T201
    assert all(found[name] >= 80 for name in QUANTITIES), found

"""Calibrated intervals hold the truth as often as they say; a small version of the study.

`benchmarks/calibration.py` is the study itself, `benchmarks/RESULTS.md` its table.
"""

import math

import numpy as np
import pytest

from wearstats.life import fit_life
from wearstats.lives.observations import Observations
from wearstats_synthetic.lives import all_looked_at


def looked_at(count: int, rng: np.random.Generator) -> Observations:
    """Weibull, shape 2.5, scale 12; looks every one to four runs; about 40 % unfinished."""
    fails, ends = 12 * rng.weibull(2.5, count), rng.uniform(4, 21, count)
    lower, upper = all_looked_at(fails, ends, rng)
    labels = tuple(f"life {place}" for place in range(count))
    return Observations(np.zeros(count), lower, upper, np.ones(count), labels)


@pytest.mark.slow
def test_ninety_percent_of_twelve_lives() -> None:
    """200 sets: standard error 2.1 %; chi-square's intervals hold 84 to 87 %."""
    rng = np.random.default_rng(20260601)
    truths = (2.5, 12 * (-math.log(0.9)) ** 0.4, math.exp(-((10 / 12) ** 2.5 - 0.5**2.5)))
    hits = []
    for turn in range(200):
        answer = fit_life(looked_at(12, rng), seed=turn)
        asked = answer.parameters()["shape"], answer.life_at(0.1), answer.chance(6, 4)
        ends = [
            (-math.inf if one.low is None else one.low, math.inf if one.high is None else one.high)
            for one in asked
        ]
        hits.append([a <= value <= b for (a, b), value in zip(ends, truths, strict=True)])
    shares = np.mean(hits, axis=0)
    assert (np.abs(shares - 0.9) < 3 * 0.021).all(), shares

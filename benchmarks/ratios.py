"""How often hazard-ratio intervals that say 90 % hold the truth. One command, seeded.

    python benchmarks/ratios.py [--sets 200]

Lives: Weibull, shape 2.5, scale 12 runs at the mean of the covariate; looks every one to four runs
and at the end of the watch, drawn evenly from 4 to 21 runs: about 40 % are unfinished. Sets of 12
and 30 lives. Two covariates, each alone, log hazard ratio log 2 (lot) or 0.5 a standard deviation:

- lot: every other life is of lot B, for its whole length;
- load: drawn anew for each run.

Coverage is by the fall of the profile likelihood at the truth, held to the critical value that the
intervals take. Sets that are refused (too few failures), or whose failures the covariate tells
apart without exception, are counted apart. Figures in brackets are Monte Carlo standard errors.
"""

import argparse
import math
import time

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import FitError
from wearstats.life import HazardRegression, HazardRegressionFit
from wearstats.life.held import profile_at
from wearstats.life.quantities import Coordinate
from wearstats.life.ratio_calibration import ratio_criticals
from wearstats.life.results import critical_value
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations
from wearstats_synthetic.lives import looked_at

SEED = 20261126
SHAPE, SCALE = 2.5, 12.0
EFFECTS = {"lot": math.log(2.0), "load": 0.5}
SIZES = (12, 30)
LEVEL = 0.9


def lives(count: int, name: str, rng: np.random.Generator) -> Histories:
    """Simulate one set."""
    cut: list[FloatArray] = []
    lower, upper = np.zeros(count), np.full(count, np.inf)
    for place in range(count):
        runs = int(rng.integers(4, 22))
        x = np.full(runs, float(place % 2)) if name == "lot" else rng.normal(size=runs)
        middle = 0.5 if name == "lot" else 0.0
        hazard = np.diff((np.arange(runs + 1) / SCALE) ** SHAPE)
        total = np.cumsum(hazard * np.exp(EFFECTS[name] * (x - middle)))
        fails = int(np.searchsorted(total, rng.exponential())) + 1
        lower[place], upper[place] = looked_at(fails, runs, rng)
        cut.append(x[: int(upper[place] if np.isfinite(upper[place]) else lower[place])])
    start = np.concatenate([np.arange(x.size, dtype=np.float64) for x in cut])
    labels = tuple(f"life {place}" for place in range(count))
    return Histories(
        Observations(np.zeros(count), lower, upper, np.ones(count), labels),
        labels,
        (name,),
        np.repeat(np.arange(count), [x.size for x in cut]),
        start,
        start + 1,
        np.concatenate(cut)[:, None],
    )


def fall(fit: HazardRegressionFit, effect: float) -> float:
    """Return twice the fall of the profile likelihood at the true log hazard ratio."""
    c = effect * float(fit.exposures.spread[0])
    found = profile_at(fit.summit, Coordinate(2), c, fit.summit.theta)
    return 2.0 * max(fit.log_likelihood - found.value, 0.0)


def design(count: int, name: str, sets: int) -> None:
    """Count one design, and print it."""
    rng = np.random.default_rng([SEED, count, len(name)])
    falls, criticals, refused, failures = [], [], 0, []
    begun = time.perf_counter()
    for turn in range(sets):
        histories = lives(count, name, rng)
        failures.append(histories.observations.failures)
        try:
            fit = HazardRegression().fit(histories)
        except FitError:
            refused += 1
            continue
        falls.append(fall(fit, EFFECTS[name]))
        found = ratio_criticals(fit, histories, LEVEL, seed=turn)
        criticals.append(found.get(name, critical_value(LEVEL)))
    told = np.array(falls)
    if not np.isfinite(told).all():
        raise AssertionError(told)
    limits = {"chi-square": critical_value(LEVEL), "calibrated": np.array(criticals)}
    shares = {way: float(np.mean(told <= limit)) for way, limit in limits.items()}
    said = "  ".join(
        f"{way} {100 * share:.1f}% ({100 * math.sqrt(share * (1 - share) / told.size):.1f}%)"
        for way, share in shares.items()
    )
    print(
        f"{count:>3} lives, {name:<5} {np.mean(failures):>5.1f} failures  {said}  of {told.size} "
        f"sets, {refused} without a maximum; 90 % would take {np.quantile(told, LEVEL):.2f}, "
        f"calibrated takes {np.median(criticals):.2f}  [{time.perf_counter() - begun:.0f} s]"
    )


def main() -> None:
    """Run every design."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--sets", type=int, default=200)
    sets = words.parse_args().sets
    print(f"Coverage of nominal 90 % intervals of a hazard ratio, seed {SEED}.")
    for count in SIZES:
        for name in EFFECTS:
            design(count, name, sets)


if __name__ == "__main__":
    main()

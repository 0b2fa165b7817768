"""Readings as intervals against their middles, at blades of 1 thou. One command, seeded.

    python benchmarks/wear.py [--replicates 400] [--fleets 8x5,...] [--methods intervals,...]
        [--speed]

Truth: each unit and each build has its own start and its own rate (normal, spreads below), and a
latent reading scatters by 0.25 thou about its line; the blades show the whole thou below it, and
nothing below 1.5 thou (the thinnest blade) or above 9 (the thickest). Builds are looked at three to
seven times at ages drawn evenly from 0 to 14 runs. In the last fleet the thickest blade at hand is
6 thou.

Three answers to the same readings:

- intervals: `ClearanceWear` as it comes;
- middles: the restricted likelihood of `fit_components` on the middles (penalised as for boost),
  those that no blade entered taken as the middle of 0 and the blade, one-sided ones above left out,
  Student's t with builds less one degrees of freedom: what this package did before;
- plain: the same without a penalty, by normal quantiles, where it converges: what a general mixed
  model program does with middles.

Printed for each fleet: bias of the rate of wear in hundredths of its true value, and how often
intervals that say 90 % hold the truth, for the mean rate, for a build's clearance four runs after
its last look, and for the next build of a unit at 8 runs. Figures in brackets are Monte Carlo
standard errors. Replicates that could not be fitted are counted.
"""

import argparse
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.stats import norm
from scipy.stats import t as student

from wearstats.errors import FitError
from wearstats.feeler import feeler
from wearstats.mixed import Component, fit_components
from wearstats.wear import ClearanceWear

SEED = 20260503
LEVEL = 0.9
START, RATE = 4.0, 0.15
START_UNIT_SD, START_BUILD_SD, SCATTER = 0.2, 0.4, 0.25
RATE_UNIT_SHARE, RATE_BUILD_SHARE = 0.2, 0.3
THINNEST, THICKEST = 1.5, 9.0
SHORT_SET = 6.0
LATER, NEXT_AGE = 4.0, 8.0
QUANTITIES = ("mean rate", "forecast", "next build")
FLEETS = ("4x5", "6x5", "8x5", "12x6")
SHORT_FLEET = "8x5"


@dataclass(frozen=True, slots=True)
class Shop:
    """Readings, and the truths that are asked back."""

    readings: pd.DataFrame
    unit: str
    build: int
    later: float
    truths: tuple[float, float, float]


def shop(units: int, builds: int, seed: int, thickest: float = THICKEST) -> Shop:
    """Simulate one fleet."""
    rng = np.random.default_rng(seed)
    rows, last = [], (0.0, 0.0, 0.0)
    kin = (0.0, 0.0)
    for unit in range(units):
        kin = START + START_UNIT_SD * rng.normal(), RATE * (1 + RATE_UNIT_SHARE * rng.normal())
        for build in range(builds):
            start = kin[0] + START_BUILD_SD * rng.normal()
            rate = kin[1] + RATE * RATE_BUILD_SHARE * rng.normal()
            ages = np.sort(rng.choice(15, size=rng.integers(3, 8), replace=False)).astype(float)
            latent = start + rate * ages + SCATTER * rng.normal(size=len(ages))
            for age, value in zip(ages, latent, strict=True):
                low, high = float(np.floor(value)), float(np.floor(value)) + 1.0
                if value < THINNEST:
                    low, high = math.nan, THINNEST
                elif value >= thickest:
                    low, high = thickest, math.nan
                rows.append((f"K{unit}", build + 1, age, "tip", low, high, None))
            last = start, rate, float(ages[-1])
    columns = ["unit", "build", "age", "what", "low_thou", "high_thou", "strips"]
    following = (
        kin[0] + START_BUILD_SD * rng.normal(),
        kin[1] + RATE * RATE_BUILD_SHARE * rng.normal(),
    )
    later = last[2] + LATER
    truths = (RATE, last[0] + last[1] * later, following[0] + following[1] * NEXT_AGE)
    return Shop(pd.DataFrame(rows, columns=columns), f"K{units - 1}", builds, later, truths)


def by_intervals(shop: Shop) -> np.ndarray:
    """Estimate, low and high of each quantity."""
    fit = ClearanceWear("tip", level=LEVEL).fit(shop.readings)
    rows = [(fit.rate.estimate, fit.rate.low, fit.rate.high)]
    for build, age in ((float(shop.build), shop.later), (math.nan, NEXT_AGE)):
        row = fit.forecast(shop.unit, build, [age]).iloc[0]
        rows.append((row["estimate"], row["low"], row["high"]))
    return np.array(rows, dtype=float)


def by_middles(shop: Shop, *, penalty: float) -> np.ndarray:
    """Estimate, low and high of each quantity, from the middles."""
    table = shop.readings
    read = feeler(table["low_thou"], table["high_thou"])
    kept = np.isfinite(read.mean_thou)
    table, middle = table[kept], read.mean_thou[kept]
    age = table["age"].to_numpy(float)
    ones, units = np.ones(len(age)), tuple(table["unit"])
    builds = tuple(zip(table["unit"], table["build"].astype(int), strict=True))
    fit = fit_components(
        middle,
        np.column_stack([ones, age]),
        ("start", "rate"),
        [
            Component("build start", builds, ones),
            Component("build rate", builds, age),
            Component("unit rate", units, age),
        ],
        residual_floor=float(np.mean(read.u_thou[kept] ** 2)) if penalty else 0.0,
        penalty=penalty,
    )
    freedom = fit.counts["build rate"] - 1
    critical = student.ppf(0.5 + LEVEL / 2, freedom) if penalty else norm.ppf(0.5 + LEVEL / 2)
    rows = [(fit.coefficients[1], math.sqrt(fit.covariance[1, 1]))]
    for build, at in (((shop.unit, shop.build), shop.later), (None, NEXT_AGE)):
        column = np.array([at])
        mean, variance = fit.predicted(
            np.array([[1.0, at]]),
            {
                "build start": ([build], np.ones(1)),
                "build rate": ([build], column),
                "unit rate": ([shop.unit], column),
            },
        )
        rows.append((mean[0], math.sqrt(variance[0])))
    return np.array([(m, m - critical * e, m + critical * e) for m, e in rows])


METHODS: dict[str, Callable[[Shop], np.ndarray]] = {
    "intervals": by_intervals,
    "middles": lambda shop: by_middles(shop, penalty=1.0),
    "plain": lambda shop: by_middles(shop, penalty=0.0),
}


@dataclass(slots=True)
class Tally:
    """What came of the replicates of one method on one fleet."""

    errors: list[float] = field(default_factory=list)
    held: list[np.ndarray] = field(default_factory=list)
    widths: list[np.ndarray] = field(default_factory=list)
    failed: int = 0

    def add(self, answer: np.ndarray, truths: np.ndarray) -> None:
        """Count one replicate."""
        if not np.isfinite(answer).all():
            message = f"an answer that is no number: {answer}"
            raise RuntimeError(message)
        self.errors.append(100.0 * (answer[0, 0] - RATE) / RATE)
        self.held.append((answer[:, 1] <= truths) & (truths <= answer[:, 2]))
        self.widths.append(answer[:, 2] - answer[:, 1])

    def line(self) -> str:
        """Bias, coverage and mean width."""
        size = len(self.errors)
        bias, error = np.mean(self.errors), np.std(self.errors) / math.sqrt(size)
        shares = np.mean(self.held, axis=0)
        said = "  ".join(
            f"{100 * share:5.1f} ({100 * math.sqrt(share * (1 - share) / size):.1f})"
            for share in shares
        )
        wide = np.mean(self.widths, axis=0)
        return f"{bias:+6.2f} ({error:.2f})  {said}   {wide[0]:.4f}  {self.failed:4d}"


def study(
    fleet: str,
    replicates: int,
    methods: Sequence[str],
    thickest: float = THICKEST,
    *,
    seed: int = SEED,
) -> None:
    """Print one fleet."""
    units, builds = (int(part) for part in fleet.split("x"))
    tallies = {name: Tally() for name in methods}
    for replicate in range(replicates):
        one = shop(units, builds, seed + replicate, thickest)
        for name in methods:
            try:
                tallies[name].add(METHODS[name](one), np.array(one.truths))
            except FitError:
                tallies[name].failed += 1
    size = f"{units} units, {builds} builds each, {replicates} replicates"
    print(f"\n{size}, thickest blade {thickest:g} thou", flush=True)
    print("            bias of rate, %  " + "   ".join(QUANTITIES) + "   width of rate  not fitted")
    for name, tally in tallies.items():
        print(f"{name:10s}  {tally.line()}", flush=True)


def speed() -> None:
    """Print how long fits of growing fleets take, and the power of growth."""
    sizes, seconds = [], []
    for builds in (10, 20, 40, 80):
        readings = shop(50, 2 * builds, SEED).readings
        start = time.process_time()
        ClearanceWear("tip").fit(readings)
        seconds.append(time.process_time() - start)
        sizes.append(len(readings))
        print(f"50 units, {sizes[-1]:6d} readings: {seconds[-1]:.2f} s")
    power = np.polyfit(np.log(sizes), np.log(seconds), 1)[0]
    print(f"time grows as readings to the power {power:.2f}")


def main() -> None:
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--fleets", default=",".join(FLEETS))
    parser.add_argument("--methods", default=",".join(METHODS))
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--speed", action="store_true", help="Only how long a fit takes.")
    asked = parser.parse_args()
    if asked.speed:
        speed()
        return
    print(f"Blades of 1 thou, scatter {SCATTER} thou, rate {RATE} thou a run, intervals of 90 %.")
    methods = asked.methods.split(",")
    for fleet in asked.fleets.split(","):
        study(fleet, asked.replicates, methods, seed=asked.seed)
    study(SHORT_FLEET, asked.replicates, methods, SHORT_SET, seed=asked.seed)


if __name__ == "__main__":
    main()

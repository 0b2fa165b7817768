"""Whether forecasts of burn-through come true as often as they say. One command, seeded.

    python benchmarks/lookback.py [--fleets 100] [--scenarios prior any demo]
        [--workers 1 | --cluster ADDRESS]

Simulated seasons of seven units over nine meets, clean records. At each meet each unit's chance
of burned strips by its last run is said from the records dated before, as `wearstats lookback`
does. What happened is the simulator's own truth: whether the strips would have burned by then had
nothing else ended them. Beside it stands what the records alone let `lookback` conclude.

- prior: each fleet's shape and median life are drawn from the very prior the forecasts start from
  (log shape normal about log 2, 0.6; log median normal about log 9 runs, 1.0; spread of the units'
  log hazards half-normal, 0.4). Here forecasts that make no mistake are flat exactly, by Bayes'
  rule, however few lives are known; but for what they make of strips found hot, which the
  simulator takes from the end of each life and the forecasts as a level hazard.
- any: shape from the prior within 0.8 to 6, log median with a standard deviation of 0.5, no
  frailty; the prior as in every plan, about the records' own range.
- demo: the demo's truth in every fleet (shape 2.5, scale 11 runs, small frailty), same prior.

Errors are standard errors over fleets; `z` is their distance from nought in them. The chi-square
of all groups takes their covariance over fleets. Then coverage of the interval of each meet's
number of burn-throughs against what its whole numbers should hold, and the time of one lookback
on the demo's season.
"""

import argparse
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import chdtrc

from wearstats.arrays import FloatArray
from wearstats.life import LifePosterior, Prior
from wearstats.lives import lives_of
from wearstats.lookback import CountForecast, LookBack, MeetForecast, look_back
from wearstats.lookback.rolling import fitted, shared_out
from wearstats.lookback.strips import LivesByRun, RunKey, Start, outcome_of
from wearstats.plans.in_use import FAILED
from wearstats.plans.unit_effects import SPREAD_SCALE
from wearstats.records.costs import Costs
from wearstats.spread import on_workers, spread
from wearstats_synthetic import SimulatedSeason, Truth, simulate

SEED = 20261125
EDGES = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0])
SCENARIOS = ("demo", "any", "prior")
PRIOR = Prior(median_runs=9.0)
LEVEL = 0.9
LEAST_FLEETS = 5
"""Fleets for each group, below which their covariance means nothing."""
COLUMNS = ("said", "true", "recorded", "known failures")


def truth_of(scenario: str, rng: np.random.Generator) -> Truth:
    """Return the truth of one fleet."""
    if scenario == "demo":
        return Truth()
    spread = PRIOR.log_median_sd if scenario == "prior" else 0.5
    shape = float(np.exp(np.log(PRIOR.shape) + PRIOR.log_shape_sd * rng.standard_normal()))
    median = float(np.exp(np.log(9.0) + spread * rng.standard_normal()))
    if scenario == "any":
        shape = float(np.clip(shape, 0.8, 6.0))
    scale = median / np.log(2.0) ** (1.0 / shape)
    between = SPREAD_SCALE * abs(rng.standard_normal()) if scenario == "prior" else 0.0
    return replace(Truth(), shape=shape, scale_runs=scale, frailty_sd=float(between))


class Known:
    """The simulator's truth, asked by a start."""

    def __init__(self, season: SimulatedSeason) -> None:
        burn = season.builds.set_index(["unit", "build"])["burn_age"]
        made = season.run_truth
        keys = zip(made["unit"], made["date"], made["run"], strict=True)
        places = zip(made["unit"], made["build"], made["age_before"], strict=True)
        self._life: dict[RunKey, tuple[float, float]] = {
            (str(unit), day, int(run)): (float(burn[name, build]), float(age))
            for (unit, day, run), (name, build, age) in zip(keys, places, strict=True)
        }

    def burned(self, start: Start) -> bool:
        """Whether the strips burn by the end of the meet."""
        burn_age, age = self._life[start.first_run]
        return burn_age <= age + start.load


def one_fleet(task: tuple[str, int, int]) -> tuple[FloatArray, FloatArray]:
    """Return rows of `COLUMNS` for each forecast; and for each meet held, and should hold."""
    scenario, seed, number = task
    rng = np.random.default_rng([seed, number, SCENARIOS.index(scenario)])
    simulated = simulate(int(rng.integers(2**31)), truth_of(scenario, rng))
    season = simulated.records
    truth, lives = Known(simulated), lives_of(season)
    prior = PRIOR if scenario == "prior" else None
    life = fitted(lives.observations(FAILED), prior)
    said = list(LookBack(LEVEL, curve=False, prior=prior).forecasts(season))
    if isinstance(life, str):
        return np.zeros((0, len(COLUMNS))), np.zeros((0, 2))
    by_run = LivesByRun(lives)
    rows = [
        (
            forecast.chance.estimate or 0.0,
            float(truth.burned(forecast.start)),
            recorded(forecast.start, by_run, life),
            meet.failures,
        )
        for meet in said
        for forecast in meet.forecasts
    ]
    counts = [count_of(meet, meet.count, truth) for meet in said if meet.count is not None]
    return np.array(rows).reshape(-1, len(COLUMNS)), np.array(counts).reshape(-1, 2)


def recorded(start: Start, lives: LivesByRun, life: LifePosterior) -> float:
    """Return what the records conclude: 1, 0, or where they do not tell the chance."""
    outcome = outcome_of(start, lives)
    if outcome.burned is not None:
        return float(outcome.burned)
    return shared_out(life, outcome.since, start.end, outcome.found)


def count_of(meet: MeetForecast, said: CountForecast, truth: Known) -> tuple[float, float]:
    """Return whether the interval held the true number, and the chance it should have had."""
    number = sum(truth.burned(forecast.start) for forecast in meet.forecasts)
    low, high = said.count.low or 0.0, said.count.high or 0.0
    return float(low <= number <= high), said.inside


def sums(fleets: Sequence[FloatArray], happened: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return forecasts, chances and happenings by fleet and group, each (fleets, groups)."""
    found = np.zeros((3, len(fleets), len(EDGES) - 1))
    for at, rows in enumerate(fleets):
        place = np.clip(np.searchsorted(EDGES, rows[:, 0], side="right") - 1, 0, len(EDGES) - 2)
        for what, values in enumerate((np.ones(len(rows)), rows[:, 0], rows[:, happened])):
            found[what, at] = np.bincount(place, values, len(EDGES) - 1)
    return found[0], found[1], found[2]


def print_calibration(title: str, fleets: Sequence[FloatArray], happened: int) -> None:
    """Print said against happened, by size of the chance and in all."""
    count, said, came = sums(fleets, happened)
    off = came - said
    print(f"\n{title}: {len(fleets)} fleets, {int(count.sum())} forecasts")
    print("     chance      n     said  happened  (error)   difference (error)      z")
    for group in range(count.shape[1]):
        if count[:, group].sum() > 0:
            name = f"{EDGES[group]:.1f} to {EDGES[group + 1]:.1f}"
            print_row(name, count[:, group], said[:, group], came[:, group])
    print_row("all", count.sum(axis=1), said.sum(axis=1), came.sum(axis=1))
    used = count.sum(axis=0) > 0
    if len(fleets) < LEAST_FLEETS * used.sum():
        return
    spread = np.cov(off[:, used], rowvar=False) * len(fleets)
    distance = off[:, used].sum(axis=0)
    square = float(distance @ np.linalg.solve(spread, distance))
    degrees = int(used.sum())
    print(f"chi-square {square:.1f} on {degrees}, p = {float(chdtrc(degrees, square)):.3f}")


def print_row(name: str, count: FloatArray, said: FloatArray, came: FloatArray) -> None:
    """Print one group: ratios of sums over fleets, errors over fleets."""
    total = count.sum()
    share, chance = came.sum() / total, said.sum() / total

    def error(values: FloatArray) -> float:
        return float(np.sqrt((values**2).sum() * len(count) / (len(count) - 1)) / total)

    difference = (came.sum() - said.sum()) / total
    about = error((came - said) - difference * count)
    print(
        f"{name:>11} {int(total):6d} {chance:8.4f} {share:9.4f} ({error(came - share * count):.4f})"
        f"   {difference:+8.4f} ({about:.4f}) {difference / about if about else 0.0:+8.1f}"
    )


def print_scenario(name: str, results: Sequence[tuple[FloatArray, FloatArray]]) -> None:
    """Print the tables of one scenario."""
    fleets = [rows for rows, _ in results if len(rows)]
    print_calibration(f"{name}, against the truth", fleets, 1)
    for low, high in ((0, 2), (3, 9), (3, 10**6), (10, 10**6)):
        known = [rows[(rows[:, 3] >= low) & (rows[:, 3] <= high)] for rows in fleets]
        known = [rows for rows in known if len(rows)]
        label = f"{low} to {high}" if high < 10**6 else f"{low} or more"
        print_calibration(f"{name}, {label} burn-throughs known that morning", known, 1)
    print_calibration(f"{name}, against what the records conclude", fleets, 2)
    meets = np.concatenate([counts for _, counts in results])
    held, should = meets.mean(axis=0)
    error = float(np.sqrt(held * (1 - held) / len(meets)))
    print(
        f"\n{name}: number of burn-throughs at a meet within its {LEVEL:.0%} interval in "
        f"{held:.3f} ({error:.3f}) of {len(meets)} meets; whole numbers should hold {should:.3f}"
    )


def main() -> None:
    """Run the study."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--fleets", type=int, default=100)
    asked.add_argument(
        "--scenarios", nargs="+", choices=SCENARIOS, default=["prior", "any", "demo"]
    )
    asked.add_argument("--seed", type=int, default=SEED)
    asked.add_argument("--workers", type=int, default=1)
    asked.add_argument("--cluster", default="", help="address of a Dask scheduler")
    given = asked.parse_args()
    begun, worked = time.perf_counter(), time.process_time()
    season = simulate(1).records
    found = look_back(season, costs=Costs(planned=350, burn_through=900, currency="USD"))
    taken, worked = time.perf_counter() - begun, time.process_time() - worked
    print(
        f"One lookback on a demo season: {taken:.1f} s ({worked:.1f} s of one core), "
        f"{len(found.meets)} meets, {len(found.scored)} forecasts (bound: 30 s)",
        flush=True,
    )
    for scenario in given.scenarios:
        tasks = [(scenario, given.seed, number) for number in range(given.fleets)]
        with on_workers(given.workers, cluster=given.cluster):
            results = list(spread(one_fleet, tasks))
        print_scenario(scenario, results)


if __name__ == "__main__":
    main()

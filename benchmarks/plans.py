"""What following the plan costs against the best fixed rule; how long a meet takes to plan.

    python benchmarks/plans.py [--fleets 200] [--only meets|fleets] [--no-hot]
        [--workers 1 | --cluster ADDRESS]

Fleets of known truth: four to ten units; strips with Weibull shape 1.8 to 4 and scale 7 to 16
runs; log of a unit's factor on the hazard normal with a standard deviation of 0 to 0.6, even; a
burn-through costs 2 to 12 planned restrips on top of one. One season of 20 runs a unit is on
record, restripped after 7 to 12 runs, looked at after 45 % of the runs and at every teardown. Then
come 96 runs a unit with a look after each:

- the plan: refitted after 0, 12 and 36 runs from everything on record; each unit is restripped
  at the number of runs that costs least for it (`RestripPlan.best` on its own draws).
  From the last fifth of their life on, a look finds strips hot with a chance of 40 %, as in
  `synthetic_data`; then the plan goes by what the records say of hot strips (`--no-hot`: it
  goes by runs alone);
- the best fixed rule in hindsight: the one number of runs for the whole fleet that would have cost
  least on exactly these strips, known only when all is over;
- the best fixed rule for the truth: the number of runs that costs least in the long run for
  this fleet, had its truth been told;
- the best fixed rule in hindsight of a shop that also renews all strips found hot, by looks as
  good as the plan's.

All meet the same strips, set for set. What is left in the strips in the end counts for nobody.
Costs are in planned restrips a run; in brackets Monte Carlo standard errors.
"""

import argparse
import sys
import time
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.life import posterior
from wearstats.lives.observations import Observations
from wearstats.plans import KnownSurvival, Meet, MeetUnit, RestripPlan, chances, plan_meet
from wearstats.plans.advice import Stakes
from wearstats.plans.hot import HotDraws, hot_of
from wearstats.plans.unit_effects import effects_of
from wearstats.records.costs import Costs
from wearstats.spread import on_workers, spread

SEED = 20261125
RECORDED, AHEAD = 20, 96
REFITS = (0, 12, 36)
LOOKED = 0.45
HOT_FROM, HOT_CHANCE = 0.8, 0.4
NEVER = 1000
RULES = np.append(np.arange(1, 61), NEVER)
BOATS = 12
RUNS = 16


@dataclass(frozen=True)
class Fleet:
    """One truth."""

    shape: float
    scale: float
    factors: FloatArray
    burn_through: float
    spread: float

    def lives(self, rng: np.random.Generator, sets: int) -> FloatArray:
        """Return the lives of so many sets of strips on each unit, shape (units, sets)."""
        gathered = rng.exponential(size=(self.factors.size, sets))
        return np.asarray(self.scale * (gathered / self.factors[:, None]) ** (1 / self.shape))


@dataclass
class Records:
    """Lives as they are written down."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    hot: list[tuple[float, float, bool]] = field(default_factory=list)
    """Age at the first hot look, runs after it, whether they burned through."""

    def add(self, unit: int, lower: float, upper: float, hot: float = np.inf) -> None:
        """Write down one life, and the age at which it was first found hot."""
        burned = bool(np.isfinite(upper))
        last = (max(lower, hot) + upper) / 2 if burned else lower
        if last > hot:
            self.hot.append((hot, last - hot, burned))
        self.lower.append(lower)
        self.upper.append(upper)
        self.units.append(f"K{unit}")

    def seen(self, in_use: FloatArray) -> tuple[Observations, list[str]]:
        """Return the lives, with the strips in use, all seen sound."""
        lower = [*self.lower, *in_use.tolist()]
        upper = [*self.upper, *([np.inf] * in_use.size)]
        units = [*self.units, *(f"K{unit}" for unit in range(in_use.size))]
        count = len(units)
        seen = Observations(
            np.zeros(count), np.array(lower), np.array(upper), np.ones(count), tuple(units)
        )
        return seen, units


def drawn(rng: np.random.Generator) -> Fleet:
    """Draw one truth."""
    units, spread = int(rng.integers(4, 11)), rng.uniform(0.0, 0.6)
    return Fleet(
        shape=rng.uniform(1.8, 4.0),
        scale=rng.uniform(7.0, 16.0),
        factors=np.exp(spread * rng.standard_normal(units)),
        burn_through=float(np.exp(rng.uniform(np.log(2), np.log(12)))),
        spread=spread,
    )


def found_hot(age: float, life: float, rng: np.random.Generator) -> bool:
    """Say whether a look finds sound strips hot."""
    return bool(rng.random() < HOT_CHANCE and age >= HOT_FROM * life)


def recorded(fleet: Fleet, rng: np.random.Generator) -> Records:
    """Return the season on record."""
    records = Records()
    lives = fleet.lives(rng, RECORDED)
    for unit in range(fleet.factors.size):
        made, number = 0, 0
        while made < RECORDED:
            life, due = lives[unit, number], int(rng.integers(7, 13))
            age = sound = 0
            failed, hot = False, np.inf
            while made < RECORDED and age < due and not failed:
                age, made = age + 1, made + 1
                looks = rng.random() < LOOKED or age == due or made == RECORDED
                failed = looks and age >= life
                sound = age if looks and not failed else sound
                if looks and not failed and found_hot(age, life, rng):
                    hot = min(hot, age)
            records.add(unit, sound, age if failed else np.inf, hot)
            number += 1
    return records


def cost_of(
    fleet: Fleet, lives: FloatArray, rules: IntArray, rng: np.random.Generator | None = None
) -> FloatArray:
    """Return what fixed rules cost a run, shape of the rules; with `rng` hot strips are renewed."""
    total = np.zeros(rules.size)
    for own in lives:
        age, number = np.zeros(rules.size), np.zeros(rules.size, dtype=np.int64)
        hot = np.zeros(rules.size, dtype=np.bool_)
        for _ in range(AHEAD):
            due = (age >= rules) | hot
            total += due
            number, age = number + due, np.where(due, 0.0, age) + 1
            failed = age >= own[number]
            if rng is not None:
                # One look after the run: the same luck under every rule.
                shows = rng.random() < HOT_CHANCE
                hot = ~failed & (age >= HOT_FROM * own[number]) & shows
            total += failed * (1.0 + fleet.burn_through)
            number, age = number + failed, np.where(failed, 0.0, age)
    return np.asarray(total / (AHEAD * lives.shape[0]))


@dataclass(frozen=True)
class Today:
    """What the plan says today."""

    due: FloatArray
    off_if_hot: list[bool]


def cost_of_plan(
    fleet: Fleet, lives: FloatArray, records: Records, rng: np.random.Generator, *, by_hot: bool
) -> float:
    """Return what following the plan costs a run."""
    units = lives.shape[0]
    age, number, total = np.zeros(units), np.zeros(units, dtype=np.int64), 0.0
    hot = np.full(units, np.inf)
    for run in range(AHEAD):
        if run in REFITS:
            today = planned(fleet, records, age)
        for unit in range(units):
            off = by_hot and np.isfinite(hot[unit]) and today.off_if_hot[unit]
            if age[unit] >= today.due[unit] or off:
                total += 1.0
                records.add(unit, age[unit], np.inf, hot[unit])
                age[unit], number[unit], hot[unit] = 0.0, number[unit] + 1, np.inf
            age[unit] += 1
            life = lives[unit, number[unit]]
            if age[unit] >= life:
                total += 1.0 + fleet.burn_through
                records.add(unit, age[unit] - 1, age[unit], hot[unit])
                age[unit], number[unit], hot[unit] = 0.0, number[unit] + 1, np.inf
            elif found_hot(age[unit], life, rng):
                hot[unit] = min(hot[unit], age[unit])
    return float(total / (AHEAD * units))


def planned(fleet: Fleet, records: Records, in_use: FloatArray) -> Today:
    """Return the runs after which each unit is restripped, and whether it is where found hot."""
    seen, names = records.seen(in_use)
    life = posterior(seen)
    effects = effects_of(seen, names, life)
    plan = RestripPlan(Costs(planned=1.0, burn_through=fleet.burn_through))
    found = [plan.best(effects.draws_of(f"K{unit}")) for unit in range(in_use.size)]
    hot = hot_of(records.hot, life, usual_age=float(np.median(seen.lower)))
    due = [NEVER if each.best is None else each.best for each in found]
    off = []
    for unit, each in enumerate(found):
        at = min(due[unit], 10.0)
        strips = HotDraws(effects.draws_of(f"K{unit}"), at, hot)
        asked = chances(strips, age=at, last_look=at, runs_ahead=1, level=0.9)
        least = np.zeros(1) if each.cost_by_draw is None else each.cost_by_draw
        gain = Stakes(least, fleet.burn_through, (0.0,), "").gain(asked)
        off.append((gain.estimate or 0.0) < 0)
    return Today(np.array(due, dtype=np.float64), off)


def rule_for_the_truth(fleet: Fleet) -> int:
    """Return the place of the rule that costs least in the long run."""
    runs = np.arange(NEVER + 1)
    cost = np.zeros(RULES.size)
    for factor in fleet.factors:
        survival = np.exp(-factor * (runs / fleet.scale) ** fleet.shape)
        cycle = 1.0 + fleet.burn_through * (1 - survival[RULES])
        cost += cycle / np.cumsum(survival)[RULES - 1]
    return int(np.argmin(cost))


def one_fleet(place: int, *, by_hot: bool) -> tuple[float, ...]:
    """Return the spread of one fleet and the costs: plan, in hindsight, for the truth, hot too."""
    rng = np.random.default_rng([SEED, place])
    fleet = drawn(rng)
    records = recorded(fleet, rng)
    lives = fleet.lives(rng, AHEAD + 1)
    rules = cost_of(fleet, lives, RULES)
    plan = cost_of_plan(fleet, lives, records, rng, by_hot=by_hot)
    print(f"{place} {plan:.4f} {rules.min():.4f}", file=sys.stderr, flush=True)
    by_truth = float(rules[rule_for_the_truth(fleet)])
    hot_too = cost_of(fleet, lives, RULES, np.random.default_rng([SEED, place, 1]))
    return fleet.spread, plan, float(rules.min()), by_truth, float(hot_too.min())


def said(name: str, plan: FloatArray, rule: FloatArray) -> str:
    """Return one comparison in a line."""
    count = plan.size
    wins = float(np.mean(plan < rule))
    # Ratio of the means, its error by the delta method.
    ratio = float(plan.mean() / rule.mean())
    error = float(np.std(plan - ratio * rule, ddof=1) / np.sqrt(count) / rule.mean())
    win_error = np.sqrt(wins * (1 - wins) / count)
    return (
        f"  {name:<28} plan {plan.mean():.4f}, rule {rule.mean():.4f}: {100 * (ratio - 1):+.1f} % "
        f"({100 * error:.1f}); plan cheaper in {100 * wins:.0f} % ({100 * win_error:.0f}) "
        f"of {count} fleets"
    )


def compare(fleets: int, *, by_hot: bool) -> None:
    """Run the fleets and print what came of them."""
    start = time.perf_counter()
    rows = list(spread(partial(one_fleet, by_hot=by_hot), range(fleets)))
    between, plan, hindsight, truth, hot_too = np.array(rows).T
    print(f"Cost a run, in planned restrips; {fleets} fleets, seed {SEED}")
    for low, high in ((0.0, 0.6), (0.0, 0.2), (0.2, 0.4), (0.4, 0.6)):
        some = (between >= low) & (between <= high)
        if np.count_nonzero(some) > 1:
            print(f" spread between units {low:g} to {high:g}")
            print(said("best fixed rule in hindsight", plan[some], hindsight[some]))
            print(said("best fixed rule by the truth", plan[some], truth[some]))
            print(said("in hindsight, hot renewed", plan[some], hot_too[some]))
    print(f" {time.perf_counter() - start:.0f} s")


def strips(factor: float) -> KnownSurvival:
    """Return strips of shape 2.5 and scale 12 on a unit with this factor."""
    return KnownSurvival(lambda ages: np.exp(-factor * (ages / 12.0) ** 2.5))


def meets() -> None:
    """Plan meets of twelve units and sixteen runs and print how long each took."""
    rng = np.random.default_rng(SEED)
    hours = {"hours_per_restrip": 6.0}
    kinds: dict[str, dict[str, object]] = {
        "no limit": {},
        "stock of 4": {"sets": 4},
        "stock, hours, windows": {
            "sets": 4,
            "hours": 40.0,
            "windows": (8.0, *(0, 4, 6, 8) * 3, 6, 0, 0),
        },
        "every other window": {"windows": (6.0, 0.0) * 8},
        "late windows": {"sets": 5, "windows": (0.0,) * 8 + (6.0,) * 8},
        "last four windows": {"windows": (0.0,) * 12 + (12.0,) * 4},
    }
    prices = Costs(planned=400, burn_through=3000, lost_psi_per_run=10)
    for between in (0.0, 0.4):
        for name, limits in kinds.items():
            units = []
            for place in range(BOATS):
                factor = float(np.exp(between * rng.standard_normal()))
                age = int(rng.integers(0, 12))
                look = max(age - int(rng.integers(0, 3)), 0)
                units.append(
                    MeetUnit(
                        f"K{place:02d}",
                        strips(factor),
                        age=float(age),
                        last_look=float(look),
                        service_limit_runs=15.0,
                    )
                )
            meet = Meet.model_validate({"runs": RUNS, **(hours if limits else {}), **limits})
            start, busy = time.perf_counter(), time.process_time()
            plan = plan_meet(meet, units, prices)
            took, busy = time.perf_counter() - start, time.process_time() - busy
            print(
                f"  {name:<24} spread {between:g}: {took:5.2f} s ({busy:.2f} s of processor), "
                f"cost {plan.cost:,.0f}"
            )


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--fleets", type=int, default=200)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--cluster", default="", help="address of a Dask scheduler")
    parser.add_argument("--only", choices=("meets", "fleets"))
    parser.add_argument("--no-hot", action="store_true", help="the plan goes by runs alone")
    asked = parser.parse_args()
    if asked.only != "fleets":
        print(f"Meets of {BOATS} units and {RUNS} runs, with the next-best plan:")
        meets()
    if asked.only != "meets":
        with on_workers(asked.workers, cluster=asked.cluster):
            compare(asked.fleets, by_hot=not asked.no_hot)


if __name__ == "__main__":
    main()

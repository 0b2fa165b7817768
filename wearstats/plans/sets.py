"""How many strip sets to carry, by simulation from the posterior."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import UsageError
from wearstats.plans.draws import SurvivalDraws, sound
from wearstats.plans.fleet import FleetOutlook

CHANCES_OF_ENOUGH = (0.9, 0.95, 0.99)


@dataclass(frozen=True, slots=True)
class StripsNow:
    """The strips of one unit as they stand.

    Parameters
    ----------
    unit : str
    age : float
        Load-weighted runs on them.
    last_look : float
        Age at which they were last known sound.
    failed : bool
        Found failed and not yet renewed.
    """

    unit: str
    age: float
    last_look: float
    failed: bool = False

    def __post_init__(self) -> None:
        """Refuse ages that make no sense."""
        if not 0 <= self.last_look <= self.age < np.inf:
            message = (
                f"unit {self.unit!r}: the last look, at {self.last_look} runs, does not lie "
                f"between 0 and the age, {self.age}"
            )
            raise UsageError(message)


@dataclass(frozen=True, slots=True)
class SetsNeeded:
    """How many strip sets the runs ahead take.

    Attributes
    ----------
    probability : tuple of float
        Chance that exactly 0, 1, 2, ... sets are fitted.
    mean : float
    runs_ahead : int
        For each unit.
    units, simulations, seed : int
    """

    probability: tuple[float, ...]
    mean: float
    runs_ahead: int
    units: int
    simulations: int
    seed: int

    def enough(self, chance: float) -> int:
        """Return the fewest sets that are enough with at least this chance."""
        reached = np.cumsum(self.probability) >= chance - 1e-12
        return int(np.argmax(reached)) if bool(reached.any()) else len(self.probability) - 1

    def hours(self, chance: float, per_restrip: float) -> float:
        """Return the fewest hours of work that are enough with at least this chance."""
        return self.enough(chance) * per_restrip

    def as_dict(self, hours_per_restrip: float | None = None) -> dict[str, Any]:
        """Return plain data for JSON, hours of work beside sets where an hour count is given."""
        return {
            "needed": [
                {
                    "chance": chance,
                    "sets": self.enough(chance),
                    "hours": None
                    if hours_per_restrip is None
                    else self.hours(chance, hours_per_restrip),
                }
                for chance in CHANCES_OF_ENOUGH
            ],
            "hours_per_restrip": hours_per_restrip,
            "mean": self.mean,
            "probability": list(self.probability),
            "runs_ahead": self.runs_ahead,
            "units": self.units,
            "simulations": self.simulations,
            "seed": self.seed,
        }


def strips_now(fleet: FleetOutlook) -> tuple[StripsNow, ...]:
    """Return the strips of a fleet as they stand, of the units for which it can be told.

    A unit whose age is not known is left out: nothing is guessed for it. `SetsNeeded.units`
    says how many were counted.
    """
    return tuple(
        StripsNow(unit.unit, unit.age or 0.0, unit.last_look or 0.0, failed=unit.failed)
        for unit in fleet.units
        if unit.age is not None or unit.failed
    )


def sets_needed(
    draws: SurvivalDraws,
    strips: Sequence[StripsNow],
    *,
    runs_ahead: int,
    restrip_after: int | None = None,
    seed: int = 0,
    simulations: int = 10_000,
) -> SetsNeeded:
    """Return the distribution of strip sets fitted so that every run starts on sound strips.

    Every unit makes `runs_ahead` full runs; everyone looks before every run. A set is fitted
    before a run where the strips have failed or have made `restrip_after` runs. Strips that
    fail in the last run take no set from this stock.

    Parameters
    ----------
    draws : SurvivalDraws
        One draw holds for the whole fleet in one simulation, so the demand of the units rises
        and falls together, as it does.
    strips : sequence of StripsNow
    runs_ahead : int
    restrip_after : int, optional
        Planned interval; None: only failed strips are renewed.
    seed, simulations : int

    Raises
    ------
    UsageError
        Nothing to simulate.
    """
    for name, value in (("runs ahead", runs_ahead), ("simulations", simulations)):
        if value < 1:
            message = f"the {name} must be 1 or more, not {value}"
            raise UsageError(message)
    if restrip_after is not None and restrip_after < 1:
        message = f"strips cannot be renewed after {restrip_after} runs"
        raise UsageError(message)
    ahead = np.arange(runs_ahead + 1, dtype=np.float64)
    ages = [ahead, *(ahead + each.age for each in strips), [each.last_look for each in strips]]
    sounding = sound(draws, np.concatenate([np.asarray(some, dtype=np.float64) for some in ages]))
    generator = np.random.default_rng(seed)
    picked = generator.choice(sounding.weights.size, size=simulations, p=sounding.weights)
    new = np.stack([sounding.at(age) for age in ahead], axis=1)[picked]
    total = np.zeros(simulations, dtype=np.int64)
    for each in strips:
        now = np.stack([sounding.at(each.age + run) for run in ahead], axis=1)[picked]
        still_sound = _share(now[:, 0], sounding.at(each.last_look)[picked])
        failed = (generator.random(simulations) >= still_sound) | each.failed
        left = np.inf if restrip_after is None else max(restrip_after - each.age, 0)
        total += _sets_fitted((now, left), (new, restrip_after or np.inf), failed, generator)
    counts = np.bincount(total)
    return SetsNeeded(
        probability=tuple(float(count) / simulations for count in counts),
        mean=float(total.mean()),
        runs_ahead=runs_ahead,
        units=len(strips),
        simulations=simulations,
        seed=seed,
    )


def _share(later: FloatArray, earlier: FloatArray) -> FloatArray:
    return np.divide(later, earlier, out=np.zeros_like(later), where=earlier > 0)


def _sets_fitted(
    now: tuple[FloatArray, float],
    new: tuple[FloatArray, float],
    failed: BoolArray,
    generator: np.random.Generator,
) -> IntArray:
    """Return the sets one unit takes, shape (simulations,).

    Parameters
    ----------
    now, new : (ndarray of shape (simulations, runs + 1), float)
        Survival of the strips in use and of new ones, by runs from here, and the runs each may
        make before a planned restrip.
    failed : ndarray, shape (simulations,)
        Whether the strips in use have failed before the first run.
    generator : Generator
    """
    each = np.arange(failed.size)
    renewed = np.zeros(failed.size, dtype=np.bool_)
    made = np.zeros(failed.size, dtype=np.int64)
    sets = np.zeros(failed.size, dtype=np.int64)
    for _ in range(now[0].shape[1] - 1):
        fit = failed | (made >= np.where(renewed, new[1], now[1]))
        sets += fit
        renewed = renewed | fit
        made = np.where(fit, 0, made)
        before = np.where(renewed, new[0][each, made], now[0][each, made])
        after = np.where(renewed, new[0][each, made + 1], now[0][each, made + 1])
        failed = generator.random(failed.size) >= _share(after, before)
        made = made + 1
    return sets

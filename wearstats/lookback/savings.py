"""What following the plan would have cost, next to what was done.

Each set of strips has one life, whoever changes it when. That life is drawn from what all records
tell today: from the interval the records leave it, or from the fitted law where it is a set that
was never fitted. Each unit then makes the runs it made. Restrips that were neither planned nor for
a burn-through (another failure, a crash, no reason given) stay where they were, in both courses.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray, IntArray
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior
from wearstats.lives import StripLives
from wearstats.plans import RestripPlan
from wearstats.plans.draws import SurvivalDraws, weighted_quantile
from wearstats.plans.in_use import FAILED
from wearstats.records.costs import Costs

DRAWS = 400
_TINY = 1e-12
_SAME = 1e-9


def few_draws(life: LifePosterior, count: int = DRAWS) -> LifePosterior:
    """Return a posterior thinned to so many equal draws: systematic, nothing random.

    Source: Kitagawa 1996, Journal of Computational and Graphical Statistics 5:1-25 (from memory).
    """
    order = np.lexsort((life.log_slope, life.log_median))
    total = np.cumsum(life.weights[order])
    asked = (np.arange(count) + 0.5) / count * total[-1]
    rows = order[np.minimum(np.searchsorted(total, asked), order.size - 1)]
    return replace(
        life,
        log_median=life.log_median[rows],
        log_slope=life.log_slope[rows],
        weights=np.full(count, 1.0 / count),
    )


def planned_runs(draws: SurvivalDraws, costs: Costs) -> float:
    """Return the runs after which the plan restrips; infinite where it never does.

    Lost boost is not counted.
    """
    few = few_draws(draws) if isinstance(draws, LifePosterior) else draws
    found = RestripPlan(costs).best(few)
    return float("inf") if found.best is None else float(found.best)


@dataclass(frozen=True, slots=True)
class Savings:
    """What following the plan would have saved.

    Attributes
    ----------
    in_all : Estimate
        Over the meets looked back on; above 0: the plan was cheaper.
    a_season : Estimate
        The same for a calendar year with runs in it.
    seasons, meets : int
    units, followed : int
        With runs at these meets; of them, those whose records let every restrip be followed.
    done_planned, done_burned : int
        Restrips that were planned and burn-throughs, as recorded.
    plan_planned, plan_burned : float
        Their expected number, had the plan been followed.
    currency : str
    """

    in_all: Estimate
    a_season: Estimate
    seasons: int
    meets: int
    units: int
    followed: int
    done_planned: int
    done_burned: int
    plan_planned: float
    plan_burned: float
    currency: str

    def as_dict(self, told: str) -> dict[str, Any]:
        """Return plain data for JSON, with what it tells in a word."""
        return {
            "told": told,
            "a_season": self.a_season.as_dict(),
            "in_all": self.in_all.as_dict(),
            "currency": self.currency,
            "seasons": self.seasons,
            "meets": self.meets,
            "units": self.units,
            "followed": self.followed,
            "done": {"planned": self.done_planned, "burned": self.done_burned},
            "plan": {"planned": self.plan_planned, "burned": self.plan_burned},
        }


@dataclass(frozen=True, slots=True)
class _Course:
    """One unit's runs in the meets looked back on.

    Parameters
    ----------
    load, limit : ndarray, shape (runs,)
        Of each run; runs after which the plan of that day restrips.
    build : ndarray of int64, shape (runs,)
        Which set of strips made it, from 0 within the course.
    kept : ndarray of bool, shape (builds,)
        The set was renewed for a reason that no plan moves.
    lower, upper : ndarray, shape (builds,)
        Ages between which the records leave the set's burn-through.
    start : float
        Age of the first set before the first run.
    burned, planned : int
        As recorded.
    """

    load: FloatArray
    limit: FloatArray
    build: IntArray
    kept: np.ndarray
    lower: FloatArray
    upper: FloatArray
    start: float
    burned: int
    planned: int


def savings(
    lives: StripLives,
    limits: Sequence[tuple[pd.DataFrame, Mapping[str, float]]],
    life: LifePosterior,
    costs: Costs,
    *,
    level: float,
    seed: int,
) -> Savings | None:
    """Return what following the plan would have saved; None where no unit's runs can be followed.

    Parameters
    ----------
    lives : StripLives
        Of all records.
    limits : sequence of (DataFrame, mapping of str to float)
        For each meet its runs (unit, date, run) and the plan made that morning for each unit.
    life : LifePosterior
        Of all records.
    costs : Costs
    level : float
    seed : int
    """
    rng = np.random.default_rng(seed)
    courses = _courses(lives, limits)
    if not courses:
        return None
    lottery = _Lottery(life, rng)
    planned, burned = np.zeros(DRAWS), np.zeros(DRAWS)
    for course in courses:
        renewed, failed = _follow(course, lottery)
        planned += renewed
        burned += failed
    dear = costs.planned + costs.burn_through
    done = sum(one.planned for one in courses) * costs.planned
    done += sum(one.burned for one in courses) * dear
    saved = done - (planned * costs.planned + burned * dear)
    years = {day.year for runs, _ in limits for day in runs["date"]}
    even = np.full(DRAWS, 1.0 / DRAWS)
    tail = (1 - level) / 2
    ends = [float(weighted_quantile(saved, even, share)) for share in (tail, 1 - tail)]
    mean = float(saved.mean())
    in_all = Estimate(mean, min(ends[0], mean), max(ends[1], mean), level, costs.currency)
    return Savings(
        in_all=in_all,
        a_season=in_all.scaled(1.0 / len(years), costs.currency),
        seasons=len(years),
        meets=len(limits),
        units=len({unit for runs, _ in limits for unit in runs["unit"]}),
        followed=len(courses),
        done_planned=sum(one.planned for one in courses),
        done_burned=sum(one.burned for one in courses),
        plan_planned=float(planned.mean()),
        plan_burned=float(burned.mean()),
        currency=costs.currency,
    )


def _courses(
    lives: StripLives, limits: Sequence[tuple[pd.DataFrame, Mapping[str, float]]]
) -> list[_Course]:
    planned = pd.concat([runs.assign(limit=runs["unit"].map(limit)) for runs, limit in limits])
    keys = ["unit", "date", "run"]
    made = lives.runs.merge(planned[[*keys, "limit"]], on=keys, how="inner")
    made = made.sort_values(keys, kind="stable")
    builds = lives.frame.set_index(["unit", "build"])
    courses = []
    for _, own in made.groupby("unit", sort=True):
        course = _course(own, builds)
        if course is not None:
            courses.append(course)
    return courses


def _course(own: pd.DataFrame, builds: pd.DataFrame) -> _Course | None:
    """Return a unit's course, or None where one of its builds is left out of the fits."""
    sets = builds.loc[pd.MultiIndex.from_frame(own[["unit", "build"]].drop_duplicates())]
    start = float(own["age_before"].iloc[0])
    if sets["left_out"].any() or not np.isfinite(start):
        return None
    burned = (sets["mode"] == FAILED).to_numpy(dtype=bool)
    planned = (sets["ending"] == "planned").to_numpy(dtype=bool) & ~burned
    renewed = ~sets["open"].to_numpy(dtype=bool)
    return _Course(
        load=own["load"].to_numpy(dtype=np.float64),
        limit=own["limit"].to_numpy(dtype=np.float64),
        build=np.unique(own["build"].to_numpy(dtype=np.int64), return_inverse=True)[1],
        kept=renewed & ~burned & ~planned,
        lower=sets["lower"].to_numpy(dtype=np.float64),
        upper=np.where(burned, sets["upper"].to_numpy(dtype=np.float64), np.inf),
        start=start,
        burned=int(burned.sum()),
        planned=int(planned.sum()),
    )


class _Lottery:
    """Draws lives from the fitted law: the k-th always under the k-th draw of the law."""

    def __init__(self, life: LifePosterior, rng: np.random.Generator) -> None:
        self.rng = rng
        self.law = few_draws(life)

    def lives(self, lower: float, upper: float) -> FloatArray:
        """Return a life from (lower, upper] under each draw, shape (draws,)."""
        far = np.isinf(upper)
        ends = self.law.survival_matrix([lower, lower if far else upper])[0]
        top, bottom = ends[:, 0], np.zeros(DRAWS) if far else ends[:, 1]
        survived = top - self.rng.random(DRAWS) * (top - bottom)
        failed = np.clip(1.0 - survived, _TINY, 1.0 - _TINY)
        law = self.law.law
        steps = np.array([law.quantile(share) for share in failed.tolist()]) - law.quantile(0.5)
        life = np.exp(self.law.log_median + steps * np.exp(-self.law.log_slope))
        return np.asarray(np.clip(life, lower, upper))


def _follow(course: _Course, lottery: _Lottery) -> tuple[FloatArray, FloatArray]:
    """Return planned restrips and burn-throughs under the plan, each of shape (draws,).

    A set burned through in a run is renewed after it; a sound one that has made the plan's runs
    is renewed before the next.
    """
    own = [lottery.lives(*ends) for ends in zip(course.lower, course.upper, strict=True)]
    fitted = np.zeros(DRAWS, dtype=np.int64)
    age, life = np.full(DRAWS, course.start), own[0].copy()
    planned, burned = np.zeros(DRAWS), np.zeros(DRAWS)

    def renew(which: np.ndarray) -> None:
        fitted[which] += 1
        age[which] = 0.0
        fresh = lottery.lives(0.0, np.inf)
        for number in np.unique(fitted[which]).tolist():
            new = which & (fitted == number)
            life[new] = (own[number] if number < len(own) else fresh)[new]

    for run, load in enumerate(course.load.tolist()):
        if run and course.build[run] != course.build[run - 1]:
            before = course.build[run - 1]
            if course.kept[before]:
                renew(np.ones(DRAWS, dtype=bool))
        due = age >= course.limit[run] - _SAME
        if due.any():
            planned += due
            renew(due)
        age += load
        failed = life <= age + _SAME
        if failed.any():
            burned += failed
            renew(failed)
    # Strips that are due when the last meet ends are renewed, as done ones were.
    planned += age >= course.limit[-1] - _SAME
    return planned, burned

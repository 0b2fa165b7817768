"""When to restrip: the number of runs that costs least, and those that cost nearly as little."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.plans.cautions import CAUTIONS
from wearstats.plans.draws import (
    Sounding,
    SurvivalDraws,
    checked_share,
    estimate_over,
    sound,
    weighted_quantile,
)
from wearstats.plans.renewal import (
    HORIZON,
    CycleCosts,
    age_grid,
    best_ages,
    cost_per_run,
    ranges_within,
)
from wearstats.plans.restrip_remarks import (
    UNCOUNTED_LOSS,
    on_bound,
    on_cost,
    on_failures,
    on_limit,
    on_reach,
)
from wearstats.records.costs import Costs
from wearstats.shown import Column, Readable, Summary, intervals

LossByAge = Callable[[FloatArray], FloatArray]
"""Boost lost against a fresh build, psi, over the k-th run of a build, for an array of k."""

USUAL_BOUND = 0.9
"""Least chance of still being sound, where nobody states one."""

_FIRST_LOOK_TO = 256
_MOST_RUNS_ONE_BY_ONE = 65_536
_MOST_CELLS = 4_000_000
_CURVE_AT_LEAST = 20
_CURVE_AT_MOST = 300


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class RestripInterval(Readable):
    """When to restrip, and how sure that is.

    Attributes
    ----------
    basis : str
        "cost" (least cost per run) or "bound" (chance of still being sound).
    best : int or None
        Runs after which to restrip. None: no number of runs is better than running to failure
        ("cost"), or the bound is never reached ("bound"). 0 ("bound" only): not even the first
        run keeps the bound.
    runs : Estimate
        `best` with the interval of the draws' own best; `high` None: no upper end.
    near_best : tuple of (int, int or None)
        Stretches of runs whose cost is within `tolerance` of the least; None: no upper end.
    cost_per_run, run_to_failure : Estimate or None
        Cost per run at `best` (at the far end where there is none), and with no planned restrip.
    cost_by_draw : ndarray of shape (n,), or None
        `cost_per_run` under each draw.
    curve : DataFrame
        Cost: runs, cost_per_run, low, high, near_best. Bound: runs, survival, low, high.
    capped : bool
        A service limit holds the plan back.
    service_limit_runs : float or None
    tolerance, level : float
    currency : str
    remarks : tuple of str
        Plain sentences, the first says when to restrip.
    """

    basis: str
    best: int | None
    runs: Estimate
    near_best: tuple[tuple[int, int | None], ...]
    cost_per_run: Estimate | None
    run_to_failure: Estimate | None
    curve: pd.DataFrame
    capped: bool
    service_limit_runs: float | None
    tolerance: float
    level: float
    currency: str
    remarks: tuple[str, ...]
    cost_by_draw: FloatArray | None = None

    @property
    def latest(self) -> int | None:
        """The last number of runs that costs nearly as little; None: no upper end."""
        return self.near_best[-1][1] if self.near_best else self.best

    def summary(self) -> Summary:
        """Return when to restrip and what it costs; the rest is in `curve`."""
        named = {
            "restrip after": self.runs,
            "cost per run": self.cost_per_run,
            "run to failure, per run": self.run_to_failure,
        }
        return Summary(
            title="When to restrip",
            basis=f"By {self.basis}; {intervals(self.level)}.",
            columns=(Column("name"), Column("estimate", "estimate")),
            rows=tuple((name, each) for name, each in named.items() if each is not None),
            notes=(*self.remarks, *CAUTIONS),
        )

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""

        def plain(estimate: Estimate | None) -> Any:
            return None if estimate is None else estimate.as_dict()

        return {
            "basis": self.basis,
            "best_runs": plain(self.runs),
            "near_best": [{"from": low, "to": high} for low, high in self.near_best],
            "tolerance": self.tolerance,
            "cost_per_run": plain(self.cost_per_run),
            "run_to_failure_cost_per_run": plain(self.run_to_failure),
            "currency": self.currency,
            "service_limit_runs": self.service_limit_runs,
            "capped_by_service_limit": self.capped,
            "remarks": list(self.remarks),
            "curve": self.curve.to_dict(orient="records"),
        }


@dataclass(frozen=True, slots=True)
class RestripPlan:
    """How to choose the number of runs after which strips are renewed.

    Parameters
    ----------
    costs : Costs, optional
        Without them the plan keeps a chance of burn-through instead of counting money.
    bound : float, optional
        Least chance of still being sound. Left out, the advice weighs cost where costs are
        known, and keeps the usual bound where they are not.
    service_limit_runs : float, optional
        Runs the sanctioning body or the maker allows; no plan passes it.
    tolerance : float
        How much dearer than the least still counts as nearly as cheap.
    """

    costs: Costs | None = None
    bound: float | None = None
    service_limit_runs: float | None = None
    tolerance: float = 0.02

    def __post_init__(self) -> None:
        """Refuse settings that make no plan."""
        checked_share(self.least_chance, "the chance asked for")
        checked_share(self.tolerance, "the tolerance")
        limit = self.service_limit_runs
        if limit is not None and not 1 <= limit < HORIZON:
            message = f"a service limit must be at least one run, not {limit}"
            raise UsageError(message)

    @property
    def least_chance(self) -> float:
        """The bound, or the usual one."""
        return USUAL_BOUND if self.bound is None else self.bound

    @property
    def asks_for_chance(self) -> bool:
        """Whether advice keeps a bound, rather than weighing cost alone."""
        return self.bound is not None or self.costs is None

    @property
    def whole_limit(self) -> float:
        """Whole runs the service limit leaves, infinity without one."""
        limit = self.service_limit_runs
        return np.inf if limit is None else float(np.floor(limit))

    def best(
        self,
        survival: SurvivalDraws,
        loss_psi_by_age: LossByAge | None = None,
        level: float = 0.9,
        longest_seen: float | None = None,
        failures: int | None = None,
    ) -> RestripInterval:
        """Return when to restrip.

        Parameters
        ----------
        survival : SurvivalDraws
            Posterior draws of the strips' survival.
        loss_psi_by_age : callable, optional
            Boost lost by run of a build; counted where the costs put a price on it. Costs are
            linear in it, so its mean is enough for the expected cost.
        level : float
            Nominal coverage of the intervals.
        longest_seen : float, optional
            Runs on the oldest strips in the records, to say when the answer lies beyond them.
        failures : int, optional
            Burn-throughs behind the draws, to say when they are few.

        Returns
        -------
        RestripInterval
        """
        checked_share(level, "the level")
        seen = _Seen(longest_seen, failures)
        if self.costs is None:
            return _by_bound(self, survival, level=level, seen=seen)
        return _by_cost(
            self,
            self.costs,
            survival,
            loss_psi_by_age,
            level=level,
            seen=seen,
        )


@dataclass(frozen=True, slots=True)
class _Seen:
    longest: float | None
    failures: int | None


def _by_cost(
    plan: RestripPlan,
    costs: Costs,
    survival: SurvivalDraws,
    loss: LossByAge | None,
    *,
    level: float,
    seen: _Seen,
) -> RestripInterval:
    cycle = CycleCosts(costs.planned, costs.planned + costs.burn_through, costs.lost_psi_per_run)

    def costed(sounding: Sounding) -> FloatArray:
        return cost_per_run(sounding.ages, sounding.survival, cycle, loss)

    def needed_to(sounding: Sounding, every: FloatArray) -> float:
        ages, mean = sounding.ages[1:], sounding.weights @ every
        best = float(best_ages(ages, mean[None, :])[0])
        near = ranges_within(ages, mean, float(mean.min()) * (1 + plan.tolerance))
        return max(best if np.isfinite(best) else 0.0, _last_end(near))

    sounding, every = _looked_at_closely(survival, costed, needed_to)
    ages, weights = sounding.ages[1:], sounding.weights
    mean = weights @ every
    wanted = float(best_ages(ages, mean[None, :])[0])
    chosen, by_draw = wanted, best_ages(ages, every)
    allowed = ages <= plan.whole_limit
    if plan.service_limit_runs is not None:
        # Under a limit there is always a best: the limit itself where more runs cost less.
        chosen = float(ages[allowed][np.argmin(mean[allowed])])
        by_draw = ages[allowed][np.argmin(every[:, allowed], axis=1)]
    at = int(np.searchsorted(ages, min(chosen, HORIZON)))
    within = float(mean[at]) * (1 + plan.tolerance)
    near = ranges_within(ages, np.where(allowed, mean, np.inf), within)
    best = int(chosen) if np.isfinite(chosen) else None
    at_best = estimate_over(every[:, at], weights, level, unit=costs.currency)
    to_failure = estimate_over(every[:, -1], weights, level, unit=costs.currency)
    curve = _curve(ages, every, weights, level=level, far=max(_last_end(near), best or 0))
    curve["near_best"] = _inside(curve["runs"].to_numpy(), near)
    uncounted = (UNCOUNTED_LOSS,) if costs.lost_psi_per_run > 0 and loss is None else ()
    return RestripInterval(
        basis="cost",
        best=best,
        runs=_runs_estimate(chosen, by_draw, weights, level),
        near_best=near,
        cost_per_run=at_best,
        run_to_failure=to_failure,
        curve=curve.rename(columns={"mean": "cost_per_run"}),
        capped=wanted > plan.whole_limit,
        service_limit_runs=plan.service_limit_runs,
        tolerance=plan.tolerance,
        level=level,
        currency=costs.currency,
        cost_by_draw=every[:, at],
        remarks=(
            *on_cost(best, near, plan.tolerance, at_best, to_failure),
            *on_limit(plan.service_limit_runs, wanted),
            *uncounted,
            *on_reach(best, seen.longest),
            *on_failures(seen.failures),
        ),
    )


def _by_bound(
    plan: RestripPlan, survival: SurvivalDraws, *, level: float, seen: _Seen
) -> RestripInterval:
    def needed_to(sounding: Sounding, every: FloatArray) -> float:
        last = _last_kept(sounding.ages, sounding.weights @ every, plan.least_chance)
        return last + 1 if np.isfinite(last) else 0.0

    sounding, _ = _looked_at_closely(survival, lambda sounding: sounding.survival, needed_to)
    ages, weights = sounding.ages, sounding.weights
    wanted = _last_kept(ages, weights @ sounding.survival, plan.least_chance)
    by_draw = np.array([_last_kept(ages, row, plan.least_chance) for row in sounding.survival])
    chosen = min(wanted, plan.whole_limit)
    best = int(chosen) if np.isfinite(chosen) else None
    capped = wanted > plan.whole_limit
    curve = _curve(ages, sounding.survival, weights, level=level, far=best or 0)
    return RestripInterval(
        basis="bound",
        best=best,
        runs=_runs_estimate(chosen, np.minimum(by_draw, plan.whole_limit), weights, level),
        near_best=(),
        cost_per_run=None,
        run_to_failure=None,
        curve=curve.rename(columns={"mean": "survival"}),
        capped=capped,
        service_limit_runs=plan.service_limit_runs,
        tolerance=plan.tolerance,
        level=level,
        currency="",
        remarks=(
            on_bound(best, plan.least_chance, capped=capped),
            *on_limit(plan.service_limit_runs, wanted),
            *on_reach(best, seen.longest),
            *on_failures(seen.failures),
        ),
    )


def _looked_at_closely(
    survival: SurvivalDraws,
    worked_out: Callable[[Sounding], FloatArray],
    needed_to: Callable[[Sounding, FloatArray], float],
) -> tuple[Sounding, FloatArray]:
    """Read the draws run by run as far as the answer needs, in wider steps beyond."""
    every_run_to = _FIRST_LOOK_TO
    while True:
        sounding = sound(survival, age_grid(every_run_to))
        values = worked_out(sounding)
        most = min(_MOST_RUNS_ONE_BY_ONE, _MOST_CELLS // sounding.weights.size)
        if needed_to(sounding, values) <= every_run_to or 2 * every_run_to > most:
            return sounding, values
        every_run_to *= 2


def _last_kept(ages: FloatArray, survival: FloatArray, bound: float) -> float:
    """Return the last age at which survival is at or over the bound; infinity if it stays."""
    kept = int(np.count_nonzero(survival >= bound))
    return np.inf if kept == ages.size else float(ages[max(kept - 1, 0)])


def _runs_estimate(
    chosen: float, by_draw: FloatArray, weights: FloatArray, level: float
) -> Estimate:
    tail = (1 - level) / 2
    low = float(weighted_quantile(by_draw, weights, tail))
    high = float(weighted_quantile(by_draw, weights, 1 - tail))
    return Estimate(chosen, low, high, level, "runs")


def _last_end(near: tuple[tuple[int, int | None], ...]) -> int:
    return max((end for pair in near for end in pair if end is not None), default=0)


def _inside(runs: IntArray, near: tuple[tuple[int, int | None], ...]) -> BoolArray:
    inside = np.zeros(runs.size, dtype=np.bool_)
    for low, high in near:
        inside |= (runs >= low) & (runs <= (np.inf if high is None else high))
    return inside


def _curve(
    ages: FloatArray, values: FloatArray, weights: FloatArray, *, level: float, far: int
) -> pd.DataFrame:
    """Return the curve to twice as far as the answer, thinned where that is very far."""
    shown = np.flatnonzero(ages <= max(_CURVE_AT_LEAST, 2 * far))
    if shown.size > _CURVE_AT_MOST:
        thinned = np.linspace(0, shown.size - 1, _CURVE_AT_MOST).round().astype(int)
        shown = np.union1d(shown[thinned], np.flatnonzero(ages == far))
    tail = (1 - level) / 2
    return pd.DataFrame(
        {
            "runs": ages[shown].astype(np.int64),
            "mean": weights @ values[:, shown],
            "low": weighted_quantile(values[:, shown], weights, tail),
            "high": weighted_quantile(values[:, shown], weights, 1 - tail),
        }
    )

"""What if: strip life and plan under another overdrive, cut height, strip lot, or load.

What a factor does is read off the run-by-run hazard regression on the records themselves
(`wearstats.life.regression_posterior`), so it is no more than they hold: a factor that was never
changed is refused, and a value no run was made near is marked as an extrapolation. Load needs no
regression: a run at part load counts as its part of a run, here as everywhere.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, UsageError
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior
from wearstats.life.regression_posterior import HazardRegressionPosterior, regression_posterior
from wearstats.lives import StripLives
from wearstats.lives.covariates import histories_with
from wearstats.plans.draws import SurvivalDraws, estimate_over, weighted_quantile
from wearstats.plans.restrip import LossByAge, RestripInterval, RestripPlan
from wearstats.plans.settings import OVERDRIVE, Place, spoken

LOAD = "load"

LossPerRun = Callable[[float | None], FloatArray]
"""Draws of the boost lost with each run on the strips, psi, at an overdrive in percent; None: as
the units ran last."""

LOSS_BY_PHYSICS = (
    "Lost boost is worked out for that overdrive; strips are taken to wear there as they do now."
)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Strips and plan at one setting.

    Attributes
    ----------
    life : Estimate
        Runs by which half of all strips have burned through; median of the draws.
    lasting : Estimate
        Chance that new strips last the runs ahead.
    lost : Estimate or None
        Boost lost once strips have made the runs ahead, psi; None where that is not known.
    interval : RestripInterval
    """

    life: Estimate
    lasting: Estimate
    lost: Estimate | None
    interval: RestripInterval

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        whole = self.interval.as_dict()
        return {
            "life": self.life.as_dict(),
            "lasting": self.lasting.as_dict(),
            "lost_psi": None if self.lost is None else self.lost.as_dict(),
            "best_runs": whole["best_runs"],
            "near_best": whole["near_best"],
            "cost_per_run": whole["cost_per_run"],
        }


@dataclass(frozen=True, slots=True, eq=False)
class WhatIf:
    """What would change.

    Attributes
    ----------
    asked : mapping of str to float or str
        By the column's full name.
    runs_ahead : int
        That `lasting` and `lost` speak of.
    now, then : Outcome
        On the average of the records, and at what is asked; what boost is lost now as each unit
        ran last.
    life_ratio : Estimate
        Life then over life now.
    lives, failures, left_out : float
        Behind the answer, and lives without the column.
    extrapolated : bool
        No record is near.
    remarks : tuple of str
    """

    asked: Mapping[str, float | str]
    runs_ahead: int
    now: Outcome
    then: Outcome
    life_ratio: Estimate
    lives: float
    failures: float
    left_out: int
    extrapolated: bool
    remarks: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "asked": dict(self.asked),
            "runs_ahead": self.runs_ahead,
            "now": self.now.as_dict(),
            "then": self.then.as_dict(),
            "life_ratio": self.life_ratio.as_dict(),
            "lives": self.lives,
            "failures": self.failures,
            "left_out": self.left_out,
            "extrapolated": self.extrapolated,
            "remarks": list(self.remarks),
        }


@dataclass(frozen=True, slots=True)
class _Steady:
    """Draws of survival of a regression at covariates that stay as they are."""

    fit: HazardRegressionPosterior
    at: FloatArray  # standardised, shape (p,)

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        fit = self.fit
        usual = np.where(ages > 0, ages, 1.0)
        log = fit.points[:, :1] + np.exp(fit.points[:, 1:2]) * fit.exposures.log_age(usual)
        log = log + (fit.points[:, 2:] @ self.at)[:, None]
        hazard = np.where(ages > 0, np.exp(np.minimum(log, 700.0)), 0.0)
        return np.exp(-hazard), fit.weights


@dataclass(frozen=True, slots=True)
class _PartLoad:
    """Draws of survival by the number of runs, each at this load."""

    draws: SurvivalDraws
    load: float

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        return self.draws.survival_matrix(self.load * ages)


@dataclass(frozen=True, slots=True)
class _Ask:
    plan: RestripPlan
    loss: LossPerRun | None
    runs_ahead: int
    level: float

    def outcome(
        self,
        draws: SurvivalDraws,
        life: FloatArray,
        weights: FloatArray,
        psi: FloatArray | None,
        share: float = 1.0,
    ) -> Outcome:
        """Return strips and plan where each run on them loses so much boost, by draw.

        A run at part load loses it for its share of a run.
        """
        survival, _ = draws.survival_matrix(np.array([float(self.runs_ahead)]))
        lost, by_age = None, None
        if psi is not None:
            even = np.full(psi.size, 1.0 / psi.size)
            lost = estimate_over(self.runs_ahead * psi, even, self.level, unit="psi")
            by_age = _steadily(share * float(psi.mean()))
        return Outcome(
            _median(life, weights, self.level, "runs"),
            estimate_over(survival[:, 0], weights, self.level),
            lost,
            self.plan.best(draws, by_age, self.level),
        )

    def lost_at(
        self, asked: Mapping[str, float | str]
    ) -> tuple[FloatArray | None, tuple[str, ...]]:
        """Return what is lost with each run under what is asked, and what to say of it."""
        if self.loss is None:
            return None, ()
        others = [name for name in asked if name != OVERDRIVE]
        said = (_taken_as_now(others),) if others else ()
        if OVERDRIVE not in asked:
            return self.loss(None), said
        try:
            return self.loss(float(asked[OVERDRIVE])), (LOSS_BY_PHYSICS, *said)
        except ObservationError as error:
            untold = f"What boost would be lost cannot be told, and is in no cost there: {error}."
            return None, (untold,)


def _steadily(psi: float) -> LossByAge:
    return lambda runs: psi * np.asarray(runs, dtype=np.float64)


def _taken_as_now(names: list[str]) -> str:
    named = " and ".join(spoken(name, "").rstrip() for name in names)
    return f"What boost is lost with each run is taken not to change with {named}."


def what_if(
    lives: StripLives,
    life: LifePosterior,
    asked: Mapping[str, float | str],
    *,
    plan: RestripPlan,
    runs_ahead: int,
    loss_per_run: LossPerRun | None = None,
    mode: str = "burned",
    level: float = 0.9,
    seed: int = 0,
) -> WhatIf:
    """Return life and plan under other settings.

    Parameters
    ----------
    lives : StripLives
    life : LifePosterior
        Of the fleet; used for load.
    asked : mapping of str to float or str
        Columns of the run sheet or of the lives, by name or by its beginning, with the value: a
        number, or a word of a column of words (strip lot). An overdrive from 0.5 to under 2 is
        taken as the drive ratio, 1.35 for 35 %. `load` stands alone.
    plan : RestripPlan
    runs_ahead : int
    loss_per_run : callable, optional
        None: what boost is lost is not known.
    mode : str
    level : float
    seed : int

    Raises
    ------
    UsageError
        Nothing asked, no such column, a value it cannot have.
    FitError, ObservationError
        The records cannot tell: too few failures, a factor that never changed, none recorded.
    """
    ask = _Ask(plan, loss_per_run, runs_ahead, level)
    if not asked:
        message = "say what should change, for example overdrive=38"
        raise UsageError(message)
    if LOAD in asked:
        return _at_load(life, asked, ask)
    known = histories_with(lives, list(asked), mode)
    fit = regression_posterior(known.histories, seed=seed)
    place = Place(known.histories, lives)
    values = {place.column(name): value for name, value in asked.items()}
    then, remarks, extrapolated = place.settled(values, fit)
    mean = fit.exposures.standardised(fit.exposures.mean)
    psi, said = ask.lost_at(values)
    psi_now = ask.lost_at({})[0] if OVERDRIVE in values else psi
    remarks += said
    slope = np.exp(fit.points[:, 1])

    def median(at: FloatArray) -> FloatArray:
        z = fit.law.quantile(0.5) - fit.points[:, 0] - fit.points[:, 2:] @ at
        return np.asarray(np.exp(z / slope) * fit.exposures.typical_age)

    now_life, then_life = median(mean), median(then)
    ratio = _median(then_life / now_life, fit.weights, level)
    return WhatIf(
        asked=values,
        runs_ahead=runs_ahead,
        now=ask.outcome(_Steady(fit, mean), now_life, fit.weights, psi_now),
        then=ask.outcome(_Steady(fit, then), then_life, fit.weights, psi),
        life_ratio=ratio,
        lives=fit.lives,
        failures=fit.failures,
        left_out=len(known.left_out),
        extrapolated=extrapolated,
        remarks=(*remarks, *_unsure(ratio)),
    )


def _median(values: FloatArray, weights: FloatArray, level: float, unit: str = "") -> Estimate:
    tail = (1 - level) / 2
    low, middle, high = (
        float(weighted_quantile(values, weights, share)) for share in (tail, 0.5, 1 - tail)
    )
    return Estimate(middle, low, high, level, unit)


def _unsure(ratio: Estimate) -> tuple[str, ...]:
    if ratio.low is not None and ratio.high is not None and ratio.low < 1 < ratio.high:
        return ("The records do not tell whether strips would last longer or shorter.",)
    return ()


def _at_load(life: LifePosterior, asked: Mapping[str, float | str], ask: _Ask) -> WhatIf:
    load = asked[LOAD]
    if len(asked) > 1 or not isinstance(load, float | int) or not 0 < load <= 1:
        message = f"load stands alone and lies above 0, up to 1; not {dict(asked)}"
        raise UsageError(message)
    full = np.exp(life.log_median)
    counted = f"A run at load {load:g} counts as {load:g} of a full run, as in the records."
    then, psi = _PartLoad(life, float(load)), ask.lost_at({})[0]
    part = None if psi is None else load * psi
    return WhatIf(
        asked={LOAD: load},
        runs_ahead=ask.runs_ahead,
        now=ask.outcome(life, full, life.weights, psi),
        then=ask.outcome(then, full / load, life.weights, part, float(load)),
        life_ratio=_median(np.full(full.size, 1 / load), life.weights, ask.level),
        lives=life.lives,
        failures=life.failures,
        left_out=0,
        extrapolated=False,
        remarks=(counted,),
    )

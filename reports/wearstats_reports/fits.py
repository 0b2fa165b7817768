"""Everything the report fits, once; where a fit cannot be made, the sentence why."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import FitError, ObservationError, PlanError
from wearstats.leakage import LeakFit, LeakModel
from wearstats.life import IntervalCurve, LifeAnswer, SurvivalCurve, fit_life, seen_curve
from wearstats.lives import StripLives, boost_rows, clearance_readings, lives_of
from wearstats.plans import (
    FleetOutlook,
    LossOfUnit,
    RestripPlan,
    UnitEffects,
    outlook,
    unit_effects,
)
from wearstats.plans.restrip import LossByAge
from wearstats.records.season import Season
from wearstats.recurrence import RecurrenceAnswer, histories_of, recurrence_of
from wearstats.wear import ClearanceWearFit, fit_paths

_Fit = TypeVar("_Fit")

MODE = "burned"
"""The failure the report speaks of: burn-through."""


@dataclass(frozen=True, slots=True)
class Attempt(Generic[_Fit]):
    """A fit, or one sentence why there is none."""

    fit: _Fit | None
    why_not: str = ""


def sentence(text: str) -> str:
    """Return `text` as a sentence."""
    stripped = text.strip()
    closed = stripped if stripped.endswith((".", "!", "?")) else f"{stripped}."
    return closed[:1].upper() + closed[1:]


def attempt(fit: Callable[[], _Fit]) -> Attempt[_Fit]:
    """Try a fit; what the data cannot answer becomes a sentence, anything else is raised."""
    try:
        return Attempt(fit())
    except (FitError, ObservationError, PlanError) as error:
        return Attempt(None, sentence(str(error)))


@dataclass(frozen=True, slots=True)
class Fits:
    """What every section reads from.

    Parameters
    ----------
    season : Season
    level : float
    runs_ahead : int
    lives : StripLives
    gaps, boosts : DataFrame
        Clearance readings and boost rows.
    life, seen : Attempt
        The fitted curve, and the share seen sound without a model: the product limit, or where
        looks overlap the curve for intervals.
    recurrence : Attempt
        Failures over each unit's total runs.
    wears : Attempt
        Fits of clearance by path; the tip is among them.
    boost, outlook : Attempt
    plan : RestripPlan
        What the outlook was asked.
    effects : Attempt
        What each unit does to strips.
    """

    season: Season
    level: float
    runs_ahead: int
    lives: StripLives
    gaps: pd.DataFrame
    boosts: pd.DataFrame
    life: Attempt[LifeAnswer]
    seen: Attempt[SurvivalCurve | IntervalCurve]
    recurrence: Attempt[RecurrenceAnswer]
    wears: Attempt[dict[str, ClearanceWearFit]]
    boost: Attempt[LeakFit]
    plan: RestripPlan
    effects: Attempt[UnitEffects]
    outlook: Attempt[FleetOutlook]

    @property
    def loss_psi_by_age(self) -> LossByAge | None:
        """Boost lost by run of a build; None where wear or its worth is not known."""
        return _loss_by_age(self.wears.fit, self.boost.fit)

    def lost_per_run(self, overdrive_pct: float | None = None) -> FloatArray:
        """Draw the boost the mean unit loses with each run on its strips.

        Parameters
        ----------
        overdrive_pct : float or None
            None: as the units ran last.

        Returns
        -------
        ndarray, shape (draws,), psi

        Raises
        ------
        ObservationError
            Wear or leakage could not be fitted, or there is no boost at this overdrive.
        """
        if self.wears.fit is None or self.boost.fit is None:
            raise ObservationError(self.boost.why_not or self.wears.why_not)
        worth = self.boost.fit.fleet_worth(overdrive_pct)
        rng = np.random.default_rng(self.boost.fit.loss_draws.seed)
        psi = np.zeros(self.boost.fit.loss_draws.draws)
        for path, wear in self.wears.fit.items():
            rate, sd = wear.rate_and_error
            psi += np.maximum(rate + sd * rng.standard_normal(psi.size), 0.0) * worth[path]
        return psi

    @property
    def wear(self) -> Attempt[ClearanceWearFit]:
        """Fit of the tip clearance."""
        return Attempt(
            None if self.wears.fit is None else self.wears.fit["tip"], self.wears.why_not
        )

    @property
    def lives_used(self) -> int:
        """Lives in the fit."""
        return len(self.lives.usable)

    @property
    def failures(self) -> int:
        """Of them burned through."""
        return int((self.lives.usable["mode"] == MODE).sum())

    @property
    def unit_names(self) -> tuple[str, ...]:
        """Every unit the records name, sorted."""
        sheets = (self.season.runs, self.season.restrips, self.season.units, self.season.readings)
        return tuple(sorted({str(name) for sheet in sheets for name in sheet["unit"].dropna()}))


def _loss_by_age(
    wears: dict[str, ClearanceWearFit] | None, boost: LeakFit | None
) -> LossByAge | None:
    """Return psi lost at the k-th run: thou worn by then, by path, times what one is worth."""
    if wears is None or boost is None:
        return None
    worths = [boost.worth(unit) for unit in boost.units]
    per_run = 0.0
    for path, wear in wears.items():
        worth = float(np.mean([each[path].estimate or 0.0 for each in worths]))
        per_run += max(wear.rate.estimate or 0.0, 0.0) * worth
    return lambda runs: per_run * np.asarray(runs, dtype=np.float64)


def _loss_of(wears: dict[str, ClearanceWearFit] | None, boost: LeakFit | None) -> LossOfUnit:
    """Return the same for each unit, by its own readings and what a thou is worth to it."""
    of_fleet = _loss_by_age(wears, boost)

    def lost_on(name: str, build: int | None) -> LossByAge | None:
        if wears is None or boost is None or name not in boost.units:
            return of_fleet
        by_path = boost.worth(name)
        worth = {path: by_path[path].estimate or 0.0 for path in wears}

        def lost(runs: FloatArray) -> FloatArray:
            ages = np.asarray(runs, dtype=np.float64)
            strips = [name] * ages.size, [np.nan if build is None else build] * ages.size
            thou = {path: wear.growth(*strips, ages)[0] for path, wear in wears.items()}
            psi = [worth[path] * np.maximum(grown, 0.0) for path, grown in thou.items()]
            return np.asarray(np.sum(psi, axis=0))

        return lost

    return lost_on


def _boost(
    boosts: pd.DataFrame,
    wears: Attempt[dict[str, ClearanceWearFit]],
    season: Season,
    gaps: pd.DataFrame,
    level: float,
) -> LeakFit:
    if boosts["boost_psi"].notna().sum() == 0:
        message = "no boost was logged"
        raise ObservationError(message)
    if wears.fit is None:
        raise ObservationError(wears.why_not)
    return LeakModel(level=level).fit(boosts, wears.fit, season.units, readings=gaps)


def fit_all(season: Season, *, level: float, runs_ahead: int, bound: float | None = None) -> Fits:
    """Fit everything the report shows.

    Parameters
    ----------
    season : Season
    level : float
        Nominal coverage of the intervals.
    runs_ahead : int
    bound : float or None
        Least chance of still being sound that the advice asks for; see `RestripPlan`.
    """
    lives = lives_of(season)
    gaps = clearance_readings(season, lives)
    # The boost fit gives its rows back in this order, under a fresh index.
    boosts = boost_rows(season, lives).reset_index(drop=True)
    observations = lives.observations(MODE)
    life = attempt(lambda: fit_life(observations, level=level))
    wears = attempt(lambda: fit_paths(gaps, level=level))
    boost = attempt(lambda: _boost(boosts, wears, season, gaps, level))
    plan = RestripPlan(season.costs, bound=bound)

    def effects_on_strips() -> UnitEffects:
        if life.fit is None:
            raise PlanError(life.why_not)
        return unit_effects(lives, life.fit.bayes, MODE, level=level)

    effects = attempt(effects_on_strips)

    def fleet() -> FleetOutlook:
        if life.fit is None:
            raise PlanError(life.why_not)
        return outlook(
            season,
            lives,
            life.fit.bayes,
            runs_ahead=runs_ahead,
            plan=plan,
            loss_psi_by_age=_loss_by_age(wears.fit, boost.fit),
            level=level,
            draws_of=None if effects.fit is None else effects.fit.draws_of,
            loss_of=_loss_of(wears.fit, boost.fit),
            factors=None if effects.fit is None else effects.fit.factors,
        )

    return Fits(
        season=season,
        level=level,
        runs_ahead=runs_ahead,
        lives=lives,
        gaps=gaps,
        boosts=boosts,
        life=life,
        seen=attempt(lambda: seen_curve(observations, level)),
        recurrence=attempt(lambda: recurrence_of(histories_of(lives, MODE), level)),
        wears=wears,
        boost=boost,
        plan=plan,
        effects=effects,
        outlook=attempt(fleet),
    )

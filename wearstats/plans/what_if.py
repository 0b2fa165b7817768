"""What if: strip life and plan under another overdrive, cut height, strip lot, or load.

What a factor does is read off the run-by-run hazard regression on the records themselves
(`wearstats.life.regression_posterior`), so it is no more than they hold: a factor that was never
changed is refused, and a value no run was made near is marked as an extrapolation. Load needs no
regression: a run at part load counts as its part of a run, here as everywhere.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior
from wearstats.life.regression_posterior import HazardRegressionPosterior, regression_posterior
from wearstats.lives import StripLives
from wearstats.lives.covariates import histories_with
from wearstats.lives.histories import Histories
from wearstats.plans.draws import SurvivalDraws, estimate_over, weighted_quantile
from wearstats.plans.restrip import LossByAge, RestripInterval, RestripPlan

LOAD = "load"
_OVERDRIVE = "overdrive_pct"
_RATIO = 2.0
_SPELT = {"pct": "%", "psi": "psi", "thou": "thou", "rpm": "rpm", "f": "F", "inhg": "inHg"}
_NEAR_SD = 0.5
_FEWEST_NEAR = 5

LOSS_AS_NOW = (
    "Lost boost by run is taken as it is now: the records do not say how this would change it."
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
    interval : RestripInterval
    """

    life: Estimate
    lasting: Estimate
    interval: RestripInterval

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        whole = self.interval.as_dict()
        return {
            "life": self.life.as_dict(),
            "lasting": self.lasting.as_dict(),
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
        That `lasting` speaks of.
    now, then : Outcome
        On the average of the records, and at what is asked.
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
    loss: LossByAge | None
    runs_ahead: int
    level: float

    def outcome(self, draws: SurvivalDraws, life: FloatArray, weights: FloatArray) -> Outcome:
        survival, _ = draws.survival_matrix(np.array([float(self.runs_ahead)]))
        return Outcome(
            _median(life, weights, self.level, "runs"),
            estimate_over(survival[:, 0], weights, self.level),
            self.plan.best(draws, self.loss, self.level),
        )


def what_if(
    lives: StripLives,
    life: LifePosterior,
    asked: Mapping[str, float | str],
    *,
    plan: RestripPlan,
    runs_ahead: int,
    loss_psi_by_age: LossByAge | None = None,
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
        number, or a word of a column of words (strip lot). An overdrive above 1 and under 2 is
        taken as the drive ratio, 1.35 for 35 %. `load` stands alone.
    plan : RestripPlan
    runs_ahead : int
    loss_psi_by_age : callable, optional
        See `RestripPlan.best`.
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
    ask = _Ask(plan, loss_psi_by_age, runs_ahead, level)
    if not asked:
        message = "say what should change, for example overdrive=38"
        raise UsageError(message)
    if LOAD in asked:
        return _at_load(life, asked, ask)
    known = histories_with(lives, list(asked), mode)
    fit = regression_posterior(known.histories, seed=seed)
    place = _Place(known.histories, lives)
    values = {place.column(name): value for name, value in asked.items()}
    then, remarks, extrapolated = place.settled(values, fit)
    mean = fit.exposures.standardised(fit.exposures.mean)
    remarks += () if ask.loss is None else (LOSS_AS_NOW,)
    slope = np.exp(fit.points[:, 1])

    def median(at: FloatArray) -> FloatArray:
        z = fit.law.quantile(0.5) - fit.points[:, 0] - fit.points[:, 2:] @ at
        return np.asarray(np.exp(z / slope) * fit.exposures.typical_age)

    now_life, then_life = median(mean), median(then)
    ratio = _median(then_life / now_life, fit.weights, level)
    return WhatIf(
        asked=values,
        runs_ahead=runs_ahead,
        now=ask.outcome(_Steady(fit, mean), now_life, fit.weights),
        then=ask.outcome(_Steady(fit, then), then_life, fit.weights),
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
    then, loss = _PartLoad(life, float(load)), ask.loss
    part = None if loss is None else (lambda runs: load * loss(load * runs))
    return WhatIf(
        asked={LOAD: load},
        runs_ahead=ask.runs_ahead,
        now=ask.outcome(life, full, life.weights),
        then=replace(ask, loss=part).outcome(then, full / load, life.weights),
        life_ratio=_median(np.full(full.size, 1 / load), life.weights, ask.level),
        lives=life.lives,
        failures=life.failures,
        left_out=0,
        extrapolated=False,
        remarks=(counted,),
    )


class _Place:
    """Where a setting lies among the records."""

    def __init__(self, histories: Histories, lives: StripLives) -> None:
        self.histories = histories
        self.known = [*map(str, lives.runs), *map(str, lives.frame)]

    def column(self, asked: str) -> str:
        """Return the full name of a column that was found before."""
        if asked in self.known:
            return asked
        return next(name for name in self.known if name.startswith(f"{asked}_"))

    def settled(
        self, values: dict[str, float | str], fit: HazardRegressionPosterior
    ) -> tuple[FloatArray, tuple[str, ...], bool]:
        """Return standardised covariates, what to say of them, and whether any is far off.

        Values of words are left as they are; an overdrive given as a ratio becomes percent.
        """
        at, remarks, far = fit.exposures.mean.copy(), [], False
        for name, value in list(values.items()):
            number, said = _percent_of_ratio(name, value)
            values[name] = number
            remarks += said
            if name in self.histories.names:
                which = self.histories.names.index(name)
                at[which] = _number(name, number)
                off = self._far(which, float(at[which]))
            else:
                off = self._word(at, name, str(value))
            remarks += off
            far |= bool(off)
        return fit.exposures.standardised(at), tuple(remarks), far

    def _far(self, which: int, value: float) -> tuple[str, ...]:
        on_record = self.histories.covariates[:, which]
        runs = self.histories.stop - self.histories.start
        low, high = float(on_record.min()), float(on_record.max())
        setting = spoken(self.histories.names[which], value)
        if not low <= value <= high:
            far = (
                f"An extrapolation: {setting} lies outside what is on record, {low:.4g} "
                f"to {high:.4g}; out there this is the fitted line and nothing else."
            )
            return (far,)
        near = np.abs(on_record - value) <= _NEAR_SD * float(on_record.std())
        if runs[near].sum() < _FEWEST_NEAR:
            return (f"Hardly a run on record is near {setting}: read it as a guess.",)
        return ()

    def _word(self, at: FloatArray, name: str, word: str) -> tuple[str, ...]:
        """Set the indicators of a column of words."""
        places = {
            title: place
            for place, title in enumerate(self.histories.names)
            if title.startswith(f"{name} ")
        }
        words = {title.removeprefix(f"{name} ").split(" against ")[0]: title for title in places}
        base = next(iter(places)).rsplit(" against ", 1)[1]
        if word not in {*words, base}:
            message = f"no {name} {word!r} is on record"
            raise UsageError(message, hint=f"There is {', '.join(sorted({*words, base}))}.")
        for one, title in words.items():
            at[places[title]] = float(one == word)
        return ()


def _percent_of_ratio(name: str, value: float | str) -> tuple[float | str, list[str]]:
    if name != _OVERDRIVE or not isinstance(value, float | int) or not 1 < value < _RATIO:
        return value, []
    percent = round(100 * (value - 1), 6)
    return percent, [f"Overdrive {value:g} is taken as the drive ratio: {percent:g} % over."]


def spoken(column: str, value: float | str) -> str:
    """Return a setting as people say it.

    Examples
    --------
    >>> spoken("strip_height_thou", 24.0), spoken("overdrive_pct", 35), spoken("strip_lot", "L2")
    ('strip height 24 thou', 'overdrive 35 %', 'strip lot L2')
    """
    said = f"{value:.4g}" if isinstance(value, float | int) else value
    name, _, unit = column.rpartition("_")
    if unit not in _SPELT:
        return f"{column.replace('_', ' ')} {said}"
    return f"{name.replace('_', ' ')} {said} {_SPELT[unit]}"


def _number(name: str, value: float | str) -> float:
    if isinstance(value, float | int) and np.isfinite(value):
        return float(value)
    message = f"{name} must be a number, not {value!r}"
    raise UsageError(message)

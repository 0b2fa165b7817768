"""What went with failing: each column of the records alone, or the columns asked for together.

The run-by-run hazard, with unit effects (gamma frailty) wherever they can be held beside the
columns; by Bayes' rule, and said to rest on the prior, where its likelihood has no maximum.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from wearstats.errors import FitError, NotIdentifiedError, ObservationError
from wearstats.estimates import Estimate
from wearstats.life.asked import Factor
from wearstats.life.distributions import keeps_form, law_named
from wearstats.life.frailties import FrailtyName
from wearstats.life.ratio_calibration import ratio_criticals
from wearstats.life.regression import HazardRegression
from wearstats.life.regression_posterior import HazardRegressionPosterior, regression_posterior
from wearstats.life.regression_results import HazardRegressionFit
from wearstats.shown import Cell, Column, Readable, Summary, counted, intervals
from wearstats.spread import spread

if TYPE_CHECKING:
    from wearstats.arrays import BoolArray
    from wearstats.life.checks.cox_fit import CoxFit
    from wearstats.lives.histories import Histories
    from wearstats.lives.strip_lives import StripLives

USUAL = ("overdrive_pct", "air_temperature_f", "strip_lot", "strip_height_thou")
"""What is set or met before a run; boost and clearances follow from the strips' own state."""

NO_UNITS: FrailtyName = "none"
_HELD: FrailtyName = "gamma"

FrailtyAsked: TypeAlias = FrailtyName | Literal["auto"]
"""auto: gamma where it can be held beside the columns, else none."""


@dataclass(frozen=True, slots=True)
class Behind:
    """What was watched behind one hazard ratio.

    Parameters
    ----------
    lives, failures : float
        All of the fit; for a word, those with any run of it.
    runs : float
        Runs watched, up to the look that found a strip failed.
    """

    lives: float
    failures: float
    runs: float


@dataclass(frozen=True, slots=True, repr=False)
class FactorAnswer(Readable):
    """Hazard ratios of columns fitted together, or why there are none.

    Parameters
    ----------
    columns : tuple of str
    level : float
    fit : HazardRegressionFit, HazardRegressionPosterior or None
    factors : dict of str to Factor
        By name of the covariate; empty where there is no fit.
    criticals : dict of str to float
        Critical values of their intervals; chi-square's for a name that is not there.
    behind : dict of str to Behind
        By name of the covariate.
    base : dict of str to Behind
        The same of the word each indicator is told against.
    why_not : str
    rests_on_prior : str
        Why, where it does.
    no_units : str
        Why unit effects are not in it although they were looked for; else empty.
    left_out : tuple of (str, str)
        Lives that could not go with the columns, and why.
    variance : Estimate or None
        Of the unit effects, where asked for.
    cox : CoxFit or None
        The same asked without a law of life.
    """

    columns: tuple[str, ...]
    level: float
    fit: HazardRegressionFit | HazardRegressionPosterior | None = None
    factors: dict[str, Factor] = field(default_factory=dict)
    criticals: dict[str, float] = field(default_factory=dict)
    behind: dict[str, Behind] = field(default_factory=dict)
    base: dict[str, Behind] = field(default_factory=dict)
    why_not: str = ""
    rests_on_prior: str = ""
    no_units: str = ""
    left_out: tuple[tuple[str, str], ...] = ()
    variance: Estimate | None = None
    cox: "CoxFit | None" = None

    @property
    def units_told(self) -> bool:
        """Whether unit effects came out of the fit."""
        return self.fit is not None and self.fit.effects is not None

    def summary(self) -> Summary:
        """Return the hazard ratios, and the lives and runs behind each."""
        fit = self.fit
        basis = f"It cannot be told: {self.why_not.rstrip('.')}."
        if fit is not None:
            lives = counted(fit.lives, "life", "lives")
            basis = f"{lives}, {fit.failures:g} failed; {intervals(self.level)}."
        prior = f"Rests on the prior: {self.rests_on_prior}." if self.rests_on_prior else ""
        units = f"Unit effects left out: {self.no_units}." if self.no_units else ""
        left = [f"Left out: {life}: {why}." for life, why in self.left_out]
        return Summary(
            title=f"What went with failing: {', '.join(self.columns)}",
            basis=basis,
            columns=(
                Column("name"),
                Column("hazard_ratio", "estimate"),
                Column("per_sd", "estimate"),
                Column("failures", "number"),
                Column("runs", "number"),
            ),
            rows=tuple(self._row(factor) for factor in self.factors.values()),
            notes=tuple(filter(None, (prior, units, *left))),
        )

    def _row(self, factor: Factor) -> tuple[Cell, ...]:
        behind = self.behind.get(factor.name)
        return (
            factor.name,
            factor.hazard_ratio,
            factor.per_sd,
            None if behind is None else behind.failures,
            None if behind is None else behind.runs,
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the answer as plain data."""
        fit = self.fit
        return {
            "columns": list(self.columns),
            "why_not": self.why_not,
            "rests_on_prior": self.rests_on_prior,
            "lives": None if fit is None else fit.lives,
            "failures": None if fit is None else fit.failures,
            "frailty": None if fit is None else fit.frailty,
            "frailty_variance": None if self.variance is None else self.variance.as_dict(),
            "log_likelihood": None if fit is None else fit.log_likelihood,
            "aicc": None if fit is None else fit.aicc,
            "left_out": [{"life": life, "why": why} for life, why in self.left_out],
            "critical_values": dict(self.criticals),
            "factors": {name: _as_dict(factor) for name, factor in self.factors.items()},
            "cox": None if self.cox is None else self.cox.as_dict(),
        }


def _as_dict(factor: Factor) -> dict[str, Any]:
    faster = factor.acceleration
    return {
        "hazard_ratio": factor.hazard_ratio.as_dict(),
        "per_sd": factor.per_sd.as_dict(),
        "deviation": factor.deviation,
        "acceleration_factor": None if faster is None else faster.as_dict(),
    }


def fit_factors(
    lives: "StripLives",
    columns: Sequence[str],
    *,
    mode: str = "burned",
    baseline: str = "weibull",
    frailty: FrailtyAsked = "auto",
    level: float = 0.9,
    second: bool = False,
    bayes: bool = False,
    calibrated: bool = True,
    seed: int = 0,
) -> FactorAnswer:
    """Fit columns of the records together.

    Parameters
    ----------
    lives : StripLives
    columns : sequence of str
        As `lives.histories_with` takes them.
    mode, baseline : str
    frailty : str
        Unit effects beside the columns.
    level : float
        Nominal coverage of the intervals.
    second : bool
        Also the variance of the unit effects, and Cox's regression where it can be had.
    bayes : bool
        By Bayes' rule; unit effects take the likelihood.
    calibrated : bool
        Take critical values from simulated sets where `ratio_criticals` has them.
    seed : int
        Of the simulated sets.

    Returns
    -------
    FactorAnswer
        What the records cannot answer is a sentence in it and raises nothing.

    Raises
    ------
    UsageError
        No such column, baseline or frailty.
    """
    from wearstats.lives.covariates import histories_with

    names = tuple(columns)
    try:
        known = histories_with(lives, names, mode)
        ask = _Ask(baseline, level, calibrated, seed)
        found = _fitted(known.histories, ask, frailty, bayes=bayes)
        variance = _variance(found.fit, level) if second else None
    except (FitError, ObservationError) as reason:
        return FactorAnswer(names, level, why_not=str(reason))
    behind, base = _behind(known.histories)
    beside = None
    if second:
        from wearstats.life.checks.cox_fit import cox

        # Where Cox's regression cannot be had the answer stands without it.
        with suppress(FitError, ObservationError):
            beside = cox(known.histories, level)
    return FactorAnswer(
        columns=names,
        level=level,
        fit=found.fit,
        factors=found.factors,
        criticals=found.criticals,
        behind=behind,
        base=base,
        rests_on_prior=found.rests_on_prior,
        no_units=found.no_units,
        left_out=known.left_out,
        variance=variance,
        cox=beside,
    )


def usual_factors(
    lives: "StripLives",
    *,
    mode: str = "burned",
    baseline: str = "weibull",
    frailty: FrailtyAsked = "auto",
    level: float = 0.9,
    calibrated: bool = True,
    seed: int = 0,
) -> tuple[FactorAnswer, ...]:
    """Fit the usual columns one by one, those that are on record."""
    from wearstats.lives.covariates import columns_of

    known = columns_of(lives)
    fit_column = partial(
        fit_factors,
        lives,
        mode=mode,
        baseline=baseline,
        frailty=frailty,
        level=level,
        calibrated=calibrated,
        seed=seed,
    )
    columns = [
        [name]
        for name in USUAL
        if name in known
        and (lives.frame if name in lives.frame else lives.runs)[name].notna().any()
    ]
    return tuple(spread(fit_column, columns))


@dataclass(frozen=True, slots=True)
class _Ask:
    baseline: str
    level: float
    calibrated: bool
    seed: int


@dataclass(frozen=True, slots=True)
class _Fitted:
    fit: HazardRegressionFit | HazardRegressionPosterior
    factors: dict[str, Factor]
    criticals: dict[str, float] = field(default_factory=dict)
    rests_on_prior: str = ""
    no_units: str = ""


def _fitted(histories: "Histories", ask: _Ask, frailty: FrailtyAsked, *, bayes: bool) -> _Fitted:
    """Fit by likelihood, with unit effects where they can be held, else by Bayes' rule."""
    if bayes and frailty in {NO_UNITS, "auto"}:
        return _by_bayes(histories, ask, "that was asked for")
    if frailty != "auto":
        return _alone(histories, ask, frailty)
    try:
        return _alone(histories, ask, _HELD)
    except FitError as reason:
        return replace(_alone(histories, ask, NO_UNITS), no_units=str(reason))


def _alone(histories: "Histories", ask: _Ask, frailty: FrailtyName) -> _Fitted:
    try:
        fit = HazardRegression(ask.baseline, frailty).fit(histories)
    except NotIdentifiedError as reason:
        if frailty != NO_UNITS or not keeps_form(law_named(ask.baseline)):
            raise
        return _by_bayes(histories, ask, str(reason))
    criticals = {}
    if ask.calibrated:
        criticals = ratio_criticals(fit, histories, ask.level, seed=ask.seed)
    return _Fitted(fit, fit.factors(ask.level, criticals), criticals)


def _by_bayes(histories: "Histories", ask: _Ask, why: str) -> _Fitted:
    found = regression_posterior(histories, ask.baseline, seed=ask.seed)
    return _Fitted(found, found.factors(ask.level), rests_on_prior=why)


def _variance(
    fit: HazardRegressionFit | HazardRegressionPosterior, level: float
) -> Estimate | None:
    if isinstance(fit, HazardRegressionFit) and fit.frailty != NO_UNITS:
        return fit.frailty_variance(level)
    return None


def _behind(histories: "Histories") -> tuple[dict[str, Behind], dict[str, Behind]]:
    """Count what is behind each covariate, and behind the word each indicator is told against."""
    everything = np.ones(histories.life.size, dtype=np.bool_)
    behind, base = {}, {}
    for place, name in enumerate(histories.names):
        indicator = histories.indicators[place]
        if indicator is None:
            behind[name] = _watched(histories, everything)
            continue
        same = [
            at
            for at, each in enumerate(histories.indicators)
            if each is not None and each.column == indicator.column
        ]
        behind[name] = _watched(histories, histories.covariates[:, place] > 0)
        any_word = np.any(histories.covariates[:, same] > 0, axis=1)
        base[name] = _watched(histories, np.logical_not(any_word))
    return behind, base


def _watched(histories: "Histories", stretches: "BoolArray") -> Behind:
    seen = histories.observations
    places = np.unique(histories.life[stretches])
    runs = (histories.stop - histories.start) * seen.weight[histories.life]
    return Behind(
        lives=float(seen.weight[places].sum()),
        failures=float((seen.weight * seen.failed)[places].sum()),
        runs=float(runs[stretches].sum()),
    )

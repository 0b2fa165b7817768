"""One question, one answer, by whichever method the records allow, and a second opinion."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeAlias, TypedDict

import numpy as np

from wearstats.errors import NotIdentifiedError, TooFewError, UsageError
from wearstats.estimates import Estimate, EstimateDict
from wearstats.life.axes import AgeAxis
from wearstats.life.calibration import Calibration, CriticalDict, worth_it
from wearstats.life.posterior import LifePosterior, posterior
from wearstats.life.prior import Prior, PriorDict
from wearstats.life.results import StripLifeFit, life_summary
from wearstats.life.strip_life import StripLife
from wearstats.shown import Readable, Summary

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.arrays import FloatArray
    from wearstats.lives.observations import Observations

Method: TypeAlias = Literal["auto", "likelihood", "bayes"]
METHODS: tuple[Method, ...] = ("auto", "likelihood", "bayes")

_FEW_FAILURES = 3
_FAR_APART = 0.25


class LifeAtDict(TypedDict):
    """Runs by which a share has failed."""

    failed: float
    runs: EstimateDict


class SurvivalDict(TypedDict):
    """Chance to last so many runs."""

    runs: float
    probability: EstimateDict


class LifeDict(TypedDict):
    """The stable JSON form of a fitted life (without schema and command)."""

    baseline: str
    method: str
    method_note: str
    lives: float
    failures: float
    left_out: list[dict[str, object]]
    parameters: dict[str, EstimateDict]
    log_likelihood: float
    aicc: float | None
    factors: dict[str, object]
    life_at: list[LifeAtDict]
    survival: list[SurvivalDict]
    calibration: CriticalDict | None
    calibration_note: str
    prior: PriorDict
    second_opinion: str
    warnings: list[str]


@dataclass(frozen=True, slots=True, repr=False)
class LifeAnswer(Readable):
    """A fitted strip life with the same face whichever method made it.

    Parameters
    ----------
    method : str
        likelihood or bayes: what the answers below come from.
    method_note : str
        Why this method, where that was not the user's choice.
    level : float
        Taken where a method is asked without one.
    likelihood : StripLifeFit or None
        With calibrated critical values where the answers come from it and that was asked for.
        None where no finite maximum exists (and no shape was held).
    bayes : LifePosterior
        Always there: plans need its points.
    oldest : float, runs
        The oldest age any life was seen at.
    warnings : tuple of str
    """

    method: Literal["likelihood", "bayes"]
    method_note: str
    level: float
    likelihood: StripLifeFit | None
    bayes: LifePosterior
    oldest: float
    warnings: tuple[str, ...]

    @property
    def main(self) -> StripLifeFit | LifePosterior:
        """The fit the answers come from."""
        if self.method == "likelihood" and self.likelihood is not None:
            return self.likelihood
        return self.bayes

    @property
    def baseline(self) -> str:
        """The law fitted."""
        return self.main.baseline

    @property
    def lives(self) -> float:
        """Informative lives behind the fit."""
        return self.main.lives

    @property
    def failures(self) -> float:
        """Failures behind the fit."""
        return self.main.failures

    def parameters(self, level: float | None = None) -> dict[str, Estimate]:
        """Return the law's parameters."""
        return self.main.parameters(self._level(level))

    def life_at(self, failed: float, level: float | None = None) -> Estimate:
        """Return the runs by which this share of strips has failed."""
        return self.main.life_at(failed, self._level(level))

    def survival(self, runs: float, level: float | None = None) -> Estimate:
        """Return the chance that new strips last this many runs."""
        return self.main.survival(runs, self._level(level))

    def chance(self, age: float, more: float, level: float | None = None) -> Estimate:
        """Return the chance that strips sound at this age last `more` runs."""
        return self.main.chance(age, more, self._level(level))

    def curve(
        self, ages: "Sequence[float] | FloatArray", level: float | None = None
    ) -> "pd.DataFrame":
        """Return runs, survival, low and high for a drawing."""
        return self.main.curve(ages, self._level(level))

    def summary(self) -> Summary:
        """Return the parameters and the ages by which 10 % and half have failed."""
        notes = (*self.warnings, self.calibration_note, self.second_opinion)
        return life_summary(self, self.method, self.level, tuple(filter(None, notes)))

    @property
    def _calibration(self) -> Calibration | None:
        if self.method == "bayes" or self.likelihood is None:
            return None
        return self.likelihood.calibration

    @property
    def calibration_note(self) -> str:
        """One sentence on where the ends of the intervals come from; empty for Bayes' rule."""
        if self.method == "bayes" or self.likelihood is None or self.likelihood.mu is None:
            return ""
        if self._calibration is not None:
            return self._calibration.words(self.level)
        return f"{100 * self.level:g} % intervals take the critical value of chi-square"

    def _critical(self, level: float) -> CriticalDict | None:
        """Return the critical value of the life at 10 % failed."""
        calibration = self._calibration
        if calibration is None or self.likelihood is None or not calibration.usable:
            return None
        axis = AgeAxis(np.array([self.likelihood.law.quantile(0.1)]))
        return calibration.stated(axis, level).as_dict()

    def _level(self, level: float | None) -> float:
        return self.level if level is None else level

    @property
    def second_opinion(self) -> str:
        """One line: how far the two methods lie apart for the life at 10 % failed."""
        beside = self.bayes.life_at(0.1, self.level)
        if self.likelihood is None:
            return (
                "Second opinion: none to be had from the likelihood alone; the answer rests on "
                f"the prior. {self.bayes.words}"
            )
        alone = self.likelihood.life_at(0.1, self.level)
        if alone.estimate is None or beside.estimate is None:
            return (
                f"Second opinion: life at 10 % failed is at least {_said(alone.low)} runs by the "
                f"held shape alone, {_said(beside.low)} with the prior. {self.bayes.words}"
            )
        with_prior = beside.estimate
        apart = abs(np.log(with_prior / alone.estimate))
        far = f"The two lie far apart. {self.bayes.words}"
        return (
            f"Second opinion: life at 10 % failed is {_said(alone.estimate)} runs by likelihood, "
            f"{_said(with_prior)} with the prior ({100 * np.expm1(apart):.0f} % apart). "
            f"{'The two agree.' if apart < _FAR_APART else far}"
        )

    def as_dict(
        self,
        level: float | None = None,
        *,
        runs: Sequence[float] = (),
        failed: Sequence[float] = (0.1, 0.5),
        left_out: Sequence[dict[str, object]] = (),
    ) -> LifeDict:
        """Return the answer as plain data.

        Parameters
        ----------
        level : float or None
        runs : sequence of float
            Ages at which to state the chance to last.
        failed : sequence of float
            Shares failed at which to state the age.
        left_out : sequence of dict
            Builds that are not in the fit, as the caller knows them.
        """
        asked = self._level(level)
        ages = self.main.lives_at(failed, asked)
        chances = self.main.survivals(runs, asked)
        return {
            "baseline": self.baseline,
            "method": self.method,
            "method_note": self.method_note,
            "lives": self.lives,
            "failures": self.failures,
            "left_out": list(left_out),
            "parameters": {name: value.as_dict() for name, value in self.parameters(asked).items()},
            "log_likelihood": self.main.log_likelihood,
            "aicc": self.main.aicc,
            "factors": {},
            "life_at": [
                {"failed": float(share), "runs": age.as_dict()}
                for share, age in zip(failed, ages, strict=True)
            ],
            "survival": [
                {"runs": float(age), "probability": chance.as_dict()}
                for age, chance in zip(runs, chances, strict=True)
            ],
            "calibration": self._critical(asked),
            "calibration_note": self.calibration_note,
            "prior": self.bayes.prior_dict(),
            "second_opinion": self.second_opinion,
            "warnings": [*self.warnings, *self._beyond(failed, ages)],
        }

    def _beyond(self, failed: Sequence[float], ages: Sequence[Estimate]) -> list[str]:
        return [
            f"life at {100 * share:g} % failed lies beyond the oldest age seen "
            f"({self.oldest:g} runs)"
            for share, age in zip(failed, ages, strict=True)
            if age.estimate is not None and age.estimate > self.oldest
        ]


def fit_life(
    observations: "Observations",
    method: Method = "auto",
    baseline: str = "weibull",
    level: float = 0.9,
    *,
    shape: float | None = None,
    prior: Prior | None = None,
    calibrated: bool = True,
    seed: int = 0,
) -> LifeAnswer:
    """Fit strip life by likelihood where the records allow it, else by Bayes' rule.

    Parameters
    ----------
    observations : Observations
    method : str
        auto takes likelihood where it has a finite maximum (or a shape is held) and else
        bayes, and says so; likelihood and bayes insist.
    baseline : str
    level : float
        Nominal coverage of the intervals.
    shape : float or None
        Hold the Weibull shape.
    prior : Prior or None
        For the Bayesian fit.
    calibrated : bool
        Take the critical values of likelihood intervals from simulated sets of these lives
        under these looks (`wearstats.life.calibration`); False takes that of chi-square, as
        published intervals do. With 200 failures or 1,001 lives or more chi-square is taken.
    seed : int
        Of the simulated sets.

    Raises
    ------
    UsageError
        No such method or baseline.
    TooFewError, NotIdentifiedError
        The records cannot answer by the method insisted on.
    """
    if method not in METHODS:
        message = f"no method {method!r}; there is {', '.join(METHODS)}"
        raise UsageError(message)
    spec = StripLife(baseline, shape)
    bayes = posterior(observations, baseline, prior, shape)
    fit: StripLifeFit | None = None
    note = ""
    try:
        fit = spec.fit(observations)
    except (TooFewError, NotIdentifiedError) as reason:
        if method == "likelihood":
            raise
        why = getattr(reason, "direction", "") or str(reason)
        note = f"rests on the prior, because the likelihood has no finite maximum: {why}"
    chosen: Literal["likelihood", "bayes"] = "bayes"
    if method != "bayes" and fit is not None:
        chosen = "likelihood"
        if calibrated and worth_it(fit):
            fit = replace(fit, calibration=Calibration(fit, observations, seed=seed))
    return LifeAnswer(
        method=chosen,
        method_note=note,
        level=level,
        likelihood=fit,
        bayes=bayes,
        oldest=_oldest(observations),
        warnings=_warnings(observations, note),
    )


def _warnings(observations: "Observations", note: str) -> tuple[str, ...]:
    found = []
    failures = observations.failures
    if note:
        found.append(f"The answer {note}.")
    if failures < _FEW_FAILURES:
        how_many = "no failure" if failures == 0 else f"only {failures:g} failed"
        lives = "1 life" if observations.count == 1 else f"{observations.count:g} lives"
        found.append(f"{lives}, {how_many}: read the interval, not the number.")
    silent = float(observations.weight[~observations.informative].sum())
    if silent:
        who = "1 life says" if silent == 1 else f"{silent:g} lives say"
        found.append(f"{who} nothing yet: not seen sound after entry.")
    return tuple(found)


def _oldest(observations: "Observations") -> float:
    failed = np.isfinite(observations.upper)
    return float(np.where(failed, observations.upper, observations.lower).max())


def _said(runs: float | None) -> str:
    return "unknown" if runs is None else f"{runs:.3g}"

"""What went with failing: each column of the records alone, or the columns asked for together."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from wearstats.errors import FitError, NotIdentifiedError, ObservationError

if TYPE_CHECKING:
    from wearstats.estimates import Estimate
    from wearstats.life import CoxFit, HazardRegressionFit, HazardRegressionPosterior
    from wearstats.lives import Histories, StripLives

# What is set or met before a run; boost and clearances follow from the strips' own state.
ALONE = ("overdrive_pct", "air_temperature_f", "strip_lot", "strip_height_thou")
_NO_UNITS = "none"


@dataclass(frozen=True, slots=True)
class Asked:
    """A regression, or why there is none.

    Parameters
    ----------
    columns : tuple of str
    fit : HazardRegressionFit or None
    why_not : str
    rests_on_prior : str
        Why, where it does.
    left_out : tuple of (str, str)
        Lives that could not go with the columns, and why.
    cox : CoxFit or None
        The same asked without a law of life.
    """

    columns: tuple[str, ...]
    fit: "HazardRegressionFit | HazardRegressionPosterior | None" = None
    why_not: str = ""
    rests_on_prior: str = ""
    left_out: tuple[tuple[str, str], ...] = ()
    cox: "CoxFit | None" = None

    def as_dict(self, level: float) -> dict[str, Any]:
        """Return the regression as plain data."""
        fit, variance = self.fit, self.variance(level)
        return {
            "columns": list(self.columns),
            "why_not": self.why_not,
            "rests_on_prior": self.rests_on_prior,
            "lives": None if fit is None else fit.lives,
            "failures": None if fit is None else fit.failures,
            "frailty": None if fit is None else fit.frailty,
            "frailty_variance": None if variance is None else variance.as_dict(),
            "log_likelihood": None if fit is None else fit.log_likelihood,
            "aicc": None if fit is None else fit.aicc,
            "left_out": [{"life": life, "why": why} for life, why in self.left_out],
            "factors": self.factors(level),
            "cox": None if self.cox is None else self.cox.as_dict(),
        }

    def variance(self, level: float) -> "Estimate | None":
        """Return the frailty variance, where there is one."""
        from wearstats.life import HazardRegressionFit

        if isinstance(self.fit, HazardRegressionFit) and self.fit.frailty != _NO_UNITS:
            return self.fit.frailty_variance(level)
        return None

    def factors(self, level: float) -> dict[str, object]:
        """Return what each covariate does, as plain data."""
        if self.fit is None:
            return {}
        return {
            name: {
                "hazard_ratio": factor.hazard_ratio.as_dict(),
                "per_sd": factor.per_sd.as_dict(),
                "deviation": factor.deviation,
                "acceleration_factor": None
                if factor.acceleration is None
                else factor.acceleration.as_dict(),
            }
            for name, factor in self.fit.factors(level).items()
        }


def asked(
    lives: "StripLives",
    columns: Sequence[str],
    *,
    mode: str,
    baseline: str,
    frailty: str = _NO_UNITS,
    level: float = 0.9,
    second: bool = False,
    bayes: bool = False,
) -> Asked:
    """Fit the columns together; with a second opinion from Cox's regression if asked for.

    Raises
    ------
    UsageError
        No such column.
    """
    from wearstats.life import cox
    from wearstats.lives import histories_with

    names = tuple(columns)
    try:
        known = histories_with(lives, names, mode)
        fit, why = _fitted(known.histories, baseline, frailty, bayes=bayes)
    except (FitError, ObservationError) as reason:
        return Asked(names, why_not=str(reason))
    beside = None
    if second:
        # Where Cox's regression cannot be had the answer stands without it.
        with suppress(FitError, ObservationError):
            beside = cox(known.histories, level)
    return Asked(names, fit, rests_on_prior=why, left_out=known.left_out, cox=beside)


def _fitted(
    histories: "Histories", baseline: str, frailty: str, *, bayes: bool
) -> "tuple[HazardRegressionFit | HazardRegressionPosterior, str]":
    """Return the fit by likelihood, else by Bayes' rule, and why it rests on the prior."""
    from wearstats.life import HazardRegression, regression_posterior

    if bayes and frailty == _NO_UNITS:
        return regression_posterior(histories, baseline), "that was asked for"
    try:
        return HazardRegression(baseline, frailty).fit(histories), ""
    except NotIdentifiedError as reason:
        if frailty != _NO_UNITS or baseline not in {"weibull", "exponential"}:
            raise
        return regression_posterior(histories, baseline), str(reason)


def each_alone(lives: "StripLives", *, mode: str, baseline: str) -> tuple[Asked, ...]:
    """Fit the usual columns one by one, those that are on record."""
    from wearstats.lives import columns_of

    known = [
        name
        for name in ALONE
        if name in columns_of(lives)
        and (lives.frame if name in lives.frame else lives.runs)[name].notna().any()
    ]
    found = [asked(lives, [name], mode=mode, baseline=baseline) for name in known]
    return tuple(found)


def show_factors(found: Sequence[Asked], level: float, *, together: bool, ended: str) -> None:
    """Print hazard ratios, and what could not be told."""
    from wearstats_cli import show
    from wearstats_reports import numbers

    rows = []
    for each in found:
        if each.fit is None:
            continue
        behind = f"{each.fit.failures:g} of {each.fit.lives:g}"
        for name, factor in each.fit.factors(level).items():
            ratio = factor.hazard_ratio if " against " in name else factor.per_sd
            step = "" if " against " in name else f"{factor.deviation:.2g}"
            said = numbers.quantity(replace(ratio, unit=""))
            rows.append((name, step, said.main or "", said.interval, behind))
    if not rows and not any(each.why_not for each in found):
        return
    show.heading(f"What went with strips {ended}")
    if rows:
        show.table(
            ("column", "for", "hazard", f"{numbers.level(level)} interval", "failed"),
            rows,
            right=("for", "hazard"),
        )
        alone = "" if together else "Each column alone: of several, one may stray by chance. "
        show.line(
            "hazard: how many times the chance to fail in a run, for so much more of the column "
            f"(one standard deviation) or for the word named; 1 is no difference. {alone}"
            f"{_intervals(found)} What goes with failing need not be its cause."
        )
    for each in found:
        _show_rest(each, level)


def _intervals(found: Sequence[Asked]) -> str:
    if all(each.rests_on_prior for each in found if each.fit is not None):
        return "Intervals by Bayes' rule."
    return "Profile-likelihood intervals, chi-square critical value."


def _show_rest(each: Asked, level: float) -> None:
    from wearstats_cli import show

    names = ", ".join(each.columns)
    if each.why_not:
        show.line(f"- {names}: cannot be told: {each.why_not}.")
    if each.rests_on_prior:
        show.line(f"- {names}: rests on the prior, because {each.rests_on_prior}.")
    spread = each.variance(level)
    if each.fit is not None and spread is not None:
        note = f"; {spread.note}" if spread.note else ""
        show.line(f"- unit effects ({each.fit.frailty}): variance {show.bare(spread)}{note}.")
    if each.cox is not None and each.fit is not None:
        said = [
            f"{name} {show.bare(_per_step(ratio, name, each.fit.exposures.deviation[place]))}"
            for place, (name, ratio) in enumerate(each.cox.hazard_ratios(level).items())
        ]
        show.line(f"- Second opinion, Cox's regression without a law: {'; '.join(said)}.")
        show.line(f"- {each.cox.proportionality.sentence}")
    if each.left_out:
        lives = "1 life" if len(each.left_out) == 1 else f"{len(each.left_out)} lives"
        life, why = each.left_out[0]
        more = "" if len(each.left_out) == 1 else ", and so on"
        show.line(f"- {names}: {lives} not in it ({life}: {why}{more}).")


def _per_step(ratio: "Estimate", name: str, deviation: float) -> "Estimate":
    """Return a hazard ratio for the step the table takes."""
    if " against " in name:
        return ratio
    ends = [None if end is None else end**deviation for end in (ratio.low, ratio.high)]
    value = None if ratio.estimate is None else ratio.estimate**deviation
    return replace(ratio, estimate=value, low=ends[0], high=ends[1])

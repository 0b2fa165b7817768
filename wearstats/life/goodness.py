"""Does the law fit, and which law fits best? Said in words, with how sure.

**Fit.** The distance of the fitted curve from the one without a model (`npmle`), squared and
averaged over that curve's falls (a Cramer-von Mises distance), taken at both ends of each
innermost interval, where the curve without a model is known. How large it would be by chance is
seen in sets simulated from the fit under the looks on record, each fitted anew. Source: Stute,
Gonzalez Manteiga & Presedo Quindimil 1993, Metrika 40:243-256 (parametric bootstrap of such
distances; from memory).

**Choice.** Akaike's criterion corrected for small samples; laws within 2 of the best are not told
apart by the records (Burnham & Anderson 2002, Model Selection and Multimodel Inference, section
2.6; from memory).
"""

from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypedDict

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import FitError, ObservationError, UsageError
from wearstats.life.bootstrap import refit
from wearstats.life.curves_many import Curves, curves
from wearstats.life.distributions import BASELINES
from wearstats.life.resampling import Watch, simulate, watch_of
from wearstats.life.results import StripLifeFit
from wearstats.life.strip_life import StripLife
from wearstats.life.turnbull import npmle
from wearstats.spread import spread

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives.observations import Observations

RESAMPLES = 499
TIE = 2.0
"""Difference of AICc within which two laws are not told apart."""

_DOUBTFUL = 0.05
_FEWEST = 99
_AT_ONCE = 250
"""Simulated sets handed out together, at most: many are as soon done as one."""

_PLACES = 2_000_000
"""Sets times squared lives that are held at once, at most."""


class GoodnessDict(TypedDict):
    """The stable JSON form of a test of fit."""

    baseline: str
    distance: float
    p_value: float
    p_value_error: float
    resamples: int
    without_fit: int
    words: str


class ComparisonDict(TypedDict):
    """The stable JSON form of a comparison of laws."""

    compared: list[dict[str, str | float]]
    left_out: list[dict[str, str]]
    words: str


@dataclass(frozen=True, slots=True)
class GoodnessOfFit:
    """A test of whether a law fits.

    Parameters
    ----------
    baseline : str
    distance : float
        Lives times the mean squared distance of the two curves.
    p_value : float
        Share of simulated sets whose distance is as large, the records counted as one of them.
    p_value_error : float
        Its Monte Carlo standard error.
    resamples : int
        Simulated sets with a fit.
    without_fit : int
        Simulated sets left out: no finite maximum, or no curve without a model.
    """

    baseline: str
    distance: float
    p_value: float
    p_value_error: float
    resamples: int
    without_fit: int

    @property
    def words(self) -> str:
        """One sentence."""
        law = f"{'an' if self.baseline[0] == 'e' else 'a'} {self.baseline.capitalize()} law"
        sets = f"p = {self.p_value:.2g}, {self.resamples} simulated sets"
        if self.p_value < _DOUBTFUL:
            return f"The records speak against {law} ({sets})."
        return f"The records do not speak against {law} ({sets})."

    def as_dict(self) -> GoodnessDict:
        """Return the test as plain data."""
        return {
            "baseline": self.baseline,
            "distance": self.distance,
            "p_value": self.p_value,
            "p_value_error": self.p_value_error,
            "resamples": self.resamples,
            "without_fit": self.without_fit,
            "words": self.words,
        }


def goodness_of_fit(
    fit: StripLifeFit, observations: "Observations", *, resamples: int = RESAMPLES, seed: int = 0
) -> GoodnessOfFit:
    """Test whether the law fits, by parametric bootstrap.

    Parameters
    ----------
    fit : StripLifeFit
        With an estimate.
    observations : Observations
        The lives it was fitted to.
    resamples : int
        About a fifth of a millisecond each.
    seed : int

    Raises
    ------
    UsageError
        A fit without an estimate.
    FitError
        Too few simulated sets can be fitted, or the lives have no curve without a model.
    """
    if fit.mu is None:
        message = "nothing to test: the fit has no estimate"
        raise UsageError(message)
    ours = distance(fit, fit.theta, observations)
    watch = watch_of(observations)
    line = (-fit.mu / fit.sigma, 1.0 / fit.sigma)
    rng = np.random.default_rng(seed)
    lower, upper = simulate(fit.law, watch, line, sets=resamples, rng=rng)
    refits = refit(
        fit.law,
        watch.entry,
        lower,
        upper,
        np.broadcast_to(watch.weight, lower.shape),
        typical_age=fit.sample.typical_age,
        start=fit.theta,
    )
    fitted = np.flatnonzero(refits.finite)
    at_once = int(np.clip(_PLACES // watch.size**2, 1, _AT_ONCE))
    some = [fitted[at : at + at_once] for at in range(0, fitted.size, at_once)]
    # Without what it simulated for its own intervals: that is much to hand out, and not needed.
    work = partial(_distances, replace(fit, calibration=None), watch)
    sets = [(refits.theta[places], lower[places], upper[places]) for places in some]
    found = [each for several in spread(work, sets) for each in several]
    if len(found) < _FEWEST:
        message = f"only {len(found)} of {resamples} simulated sets can be fitted: no test of fit"
        raise FitError(message)
    larger = sum(other >= ours * (1 - 1e-9) for other in found)
    share = (larger + 1) / (len(found) + 1)
    return GoodnessOfFit(
        baseline=fit.baseline,
        distance=ours,
        p_value=share,
        p_value_error=float(np.sqrt(share * (1 - share) / len(found))),
        resamples=len(found),
        without_fit=resamples - len(found),
    )


def _distances(
    fit: StripLifeFit, watch: Watch, sets: tuple[FloatArray, FloatArray, FloatArray]
) -> list[float]:
    """Return the distance of each simulated set that has one."""
    from wearstats.lives.observations import Observations

    theta, lower, upper = sets
    seen = curves(watch.entry, lower, upper, watch.weight)
    found = _apart(fit, theta, seen)
    labels = tuple(f"simulated life {place + 1}" for place in range(watch.size))
    for place in np.flatnonzero(~seen.found):
        lives = Observations(watch.entry, lower[place], upper[place], watch.weight, labels)
        with suppress(FitError, ObservationError):
            found[place] = distance(fit, theta[place], lives)
    distances: list[float] = found[np.isfinite(found)].tolist()
    return distances


def distance(fit: StripLifeFit, theta: FloatArray, observations: "Observations") -> float:
    """Return lives times the mean squared distance of the two curves over the falls of one.

    Both curves are the chance to outlast an age given sound at the first age at which the curve
    without a model is known.
    """
    seen = npmle(observations)
    falls = seen.defined & np.isfinite(seen.mass)
    one = Curves(
        lives=np.array([seen.lives]),
        given_age=np.array([seen.given_age]),
        lower=seen.lower[None, falls],
        upper=seen.upper[None, falls],
        before=seen.before[None, falls],
        after=seen.after[None, falls],
        found=np.ones(1, dtype=np.bool_),
    )
    return float(_apart(fit, theta[None], one)[0])


def _apart(fit: StripLifeFit, theta: FloatArray, seen: Curves) -> FloatArray:
    """Return the distance of each set's curves; theta of shape (b, 2)."""

    def outlasts(ages: FloatArray) -> FloatArray:
        log_age = fit.sample.log_age(np.where(ages > 0, ages, 1.0))
        z = theta[:, :1] + np.exp(theta[:, 1:]) * log_age
        return np.exp(-np.where(ages > 0, fit.law.hazard(z)[0], 0.0))

    given = outlasts(seen.given_age[:, None])
    before = outlasts(seen.lower) / given - seen.before
    after = outlasts(seen.upper) / given - seen.after
    # At an age known exactly the curve steps; midway is where an even law would pass.
    exact = seen.lower == seen.upper
    middle = (before + after) / 2
    squared = np.where(exact, middle**2, (before**2 + after**2) / 2)
    mass = seen.before - seen.after
    apart: FloatArray = seen.lives * np.sum(np.where(mass > 0, mass * squared, 0.0), axis=1)
    return apart


@dataclass(frozen=True, slots=True)
class Comparison:
    """The laws side by side.

    Parameters
    ----------
    baselines : tuple of str
        Best first; those that cannot be fitted are not here.
    log_likelihood, aicc, behind : tuple of float
        `behind` is how far AICc lies above the best.
    left_out : tuple of (str, str)
        Laws that cannot be fitted or compared, and why.
    """

    baselines: tuple[str, ...]
    log_likelihood: tuple[float, ...]
    aicc: tuple[float, ...]
    behind: tuple[float, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def tied(self) -> tuple[str, ...]:
        """Laws within 2 of the best."""
        pairs = zip(self.baselines, self.behind, strict=True)
        return tuple(name for name, behind in pairs if behind <= TIE)

    @property
    def words(self) -> str:
        """One sentence."""
        tied = self.tied
        if not tied:
            return "No law can be compared: too few lives."
        if len(tied) == len(self.baselines) > 1:
            return "The records cannot tell the laws apart (AICc within 2)."
        if len(tied) > 1:
            names = f"{', '.join(tied[:-1])} and {tied[-1]}"
            return f"The records cannot tell {names} apart (AICc within 2)."
        if len(self.baselines) == 1:
            return f"Only the {tied[0]} law can be fitted."
        law, behind = tied[0].capitalize(), f"{self.behind[1]:.1f}"
        return f"The records favour the {law} law (next {behind} behind by AICc)."

    def as_dict(self) -> ComparisonDict:
        """Return the laws as plain data."""
        rows = zip(self.baselines, self.log_likelihood, self.aicc, self.behind, strict=True)
        return {
            "compared": [
                {"baseline": law, "log_likelihood": value, "aicc": criterion, "behind": behind}
                for law, value, criterion, behind in rows
            ],
            "left_out": [{"baseline": law, "why": why} for law, why in self.left_out],
            "words": self.words,
        }

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns baseline, log_likelihood, aicc, behind; best first."""
        import pandas as pd

        columns = {"baseline": self.baselines, "log_likelihood": self.log_likelihood}
        return pd.DataFrame({**columns, "aicc": self.aicc, "behind": self.behind})


def compare_laws(observations: "Observations") -> Comparison:
    """Fit every law and compare them by AICc.

    Raises
    ------
    TooFewError
        No informative life.
    """
    rows, left_out = [], []
    for baseline in BASELINES:
        try:
            fit = StripLife(baseline).fit(observations)
        except FitError as reason:
            left_out.append((baseline, str(reason)))
            continue
        if fit.aicc is None:
            left_out.append((baseline, "too few lives for the corrected criterion"))
            continue
        rows.append((fit.aicc, baseline, fit.log_likelihood))
    rows.sort()
    return Comparison(
        baselines=tuple(row[1] for row in rows),
        log_likelihood=tuple(row[2] for row in rows),
        aicc=tuple(row[0] for row in rows),
        behind=tuple(row[0] - rows[0][0] for row in rows),
        left_out=tuple(left_out),
    )

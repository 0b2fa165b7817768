"""The survival curve of lives known only to intervals, without a model (Turnbull's NPMLE).

Ours and not a library's: lifelines reads the intervals as closed and stops early (strips sound
at the look at 4 and failed at 8, others sound at 8 and failed at 12, all fall on 8), R's survival
stops at errors of 1e-5 to 1e-4, and none conditions the curve on an age with a real risk set.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError, TooFewError
from wearstats.estimates import Estimate
from wearstats.life import risk_sets
from wearstats.life.innermost import Innermost
from wearstats.life.interval_likelihood import (
    Hazard,
    Watched,
    best_hazard,
    chance_ends,
    settled,
    variance,
)
from wearstats.life.results import certain, check_runs, critical_value

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from wearstats.lives.observations import Observations

LOOKED = "between two looks: no more is known than that the curve lies in here"
SHARED = (
    "the curve without a model is not the only one: another sharing of its falls among the "
    "intervals between looks has the same likelihood"
)


@dataclass(frozen=True, slots=True, eq=False)
class IntervalCurve:
    """A maximum-likelihood curve of lives known to intervals, given sound at `given_age`.

    Parameters
    ----------
    given_age : float, runs
        The curve is the chance to outlast an age, given that this one was reached sound.
    last_age : float, runs
        The curve says nothing beyond: nobody was watched longer.
    level : float
    lives, failures : float
        Informative lives; failures that may lie after `given_age`.
    lower, upper : ndarray, shape (m,), runs
        Intervals (lower, upper] on which the curve falls; equal where it falls at one age.
        How it falls within one is not known.
    mass, before, after : ndarray, shape (m,)
        The fall, and the curve at `lower` and at `upper`; NaN where `defined` is False.
    defined : ndarray of bool, shape (m,)
        False for intervals not after `given_age`.
    log_likelihood : float
        Of each life given that it was sound at its entry; an exact age adds the log of its mass.
    gap : float
        Optimality: failures the curve expects on an interval are at most (1 + gap) times the
        lives at risk there, and within gap of them where it falls. At most `hazard_steps.GAP`.
    notes : tuple of str
    """

    given_age: float
    last_age: float
    level: float
    lives: float
    failures: float
    lower: FloatArray
    upper: FloatArray
    mass: FloatArray
    before: FloatArray
    after: FloatArray
    defined: BoolArray
    log_likelihood: float
    gap: float
    notes: tuple[str, ...]
    watched: Watched = field(repr=False)
    intervals: Innermost = field(repr=False)
    hazard: Hazard = field(repr=False)

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns lower, upper, mass, before, after, defined: one row for each fall."""
        import pandas as pd

        columns = ("lower", "upper", "mass", "before", "after", "defined")
        return pd.DataFrame({name: getattr(self, name) for name in columns})

    def at(self, runs: float, level: float | None = None) -> Estimate:
        """Return the chance to outlast this age, given sound at `given_age`.

        Its interval is the likelihood-ratio interval (`interval_likelihood`). Between two looks
        there is an interval and no estimate.

        Raises
        ------
        ObservationError
            The age lies before `given_age` or after `last_age`.
        """
        asked = self.level if level is None else level
        threshold = critical_value(asked)
        self._refuse_unwatched(runs)
        if runs == self.given_age:
            return certain(asked)
        low, high = chance_ends(
            self.watched, self.hazard.log_likelihood, self.given_age, runs, threshold
        )
        top, bottom = self._about(runs)
        if top > bottom:
            return Estimate(None, min(low, bottom), max(high, top), asked, note=LOOKED)
        return Estimate(top, min(low, top), max(high, top), asked)

    def curve(
        self, ages: "Sequence[float] | FloatArray", level: float | None = None
    ) -> "pd.DataFrame":
        """Return runs, survival (NaN between two looks), low and high."""
        import pandas as pd

        found = [self.at(float(age), level) for age in ages]
        return pd.DataFrame(
            {
                "runs": [float(age) for age in ages],
                "survival": [np.nan if one.estimate is None else one.estimate for one in found],
                "low": [one.low for one in found],
                "high": [one.high for one in found],
            }
        )

    def standard_error(self, runs: float) -> float | None:
        """Return the inverse-information standard error at an age; None between two looks.

        The binomial one where looks fall at shared ages and nobody is lost. Where every life
        has ages of its own the curve comes nearer the truth with the cube root of the lives
        (Groeneboom & Wellner 1992; from memory) and this number means nothing: read `at`.
        """
        self._refuse_unwatched(runs)
        top, bottom = self._about(runs)
        if top > bottom:
            return None
        spread = variance(self.intervals, self.hazard, self.given_age, runs) if bottom else 0.0
        return float(bottom * np.sqrt(max(spread, 0.0)))

    def _about(self, runs: float) -> tuple[float, float]:
        """Return the curve's highest and lowest value at an age: different within a fall."""
        passed = np.flatnonzero(self.defined & (self.upper <= runs))
        top = float(self.after[passed[-1]]) if passed.size else 1.0
        within = np.flatnonzero(self.defined & (self.lower < runs) & (runs < self.upper))
        return top, float(self.after[within[0]]) if within.size else top

    def _refuse_unwatched(self, runs: float) -> None:
        if not self.given_age <= check_runs(runs) <= self.last_age:
            message = (
                f"the curve runs from {self.given_age:g} to {self.last_age:g} runs; "
                f"nothing is known of {runs:g}"
            )
            raise ObservationError(message)


def npmle(
    observations: "Observations", level: float = 0.9, *, given_age: float | None = None
) -> IntervalCurve:
    """Return the curve of greatest likelihood among all there are.

    Parameters
    ----------
    observations : Observations
        Lives known to intervals, exactly, or to be sound still, with late entry and weights.
    level : float
        Nominal coverage of the pointwise intervals.
    given_age : float or None, runs
        Condition on being sound at this age; None takes 0, or with late entries the first age
        with a real risk set (see `risk_sets.LEAST_AT_RISK`) after which the risk set never
        empties while lives are still to come.

    Raises
    ------
    TooFewError
        No informative life.
    ObservationError
        Nobody was at risk after `given_age`, or the curve is not known there.
    NotConvergedError
        The gap stays above `hazard_steps.GAP`.
    """
    critical_value(level)
    tells = observations.informative
    if not tells.any():
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise TooFewError(message, have=0, need=1)
    watched = Watched(
        observations.entry[tells],
        observations.lower[tells],
        observations.upper[tells],
        observations.weight[tells],
    )
    intervals = watched.intervals()
    hazard = best_hazard(intervals)
    falls = hazard.steps > 0
    lower, upper, steps = intervals.lower[falls], intervals.upper[falls], hazard.steps[falls]
    failed = np.isfinite(watched.upper)
    leaves = np.where(failed, watched.upper, watched.lower)
    last = float(leaves.max())
    begin = risk_sets.first_real_age(watched.entry, leaves, watched.weight, upper[np.isinf(steps)])
    given = begin if given_age is None else check_runs(given_age)
    _refuse_given(given, last, lower, upper)
    defined = upper > given
    total = np.cumsum(np.where(defined, steps, 0.0))
    after = np.where(defined, np.exp(-total), np.nan)
    before = np.where(defined, np.exp(-np.concatenate([[0.0], total[:-1]])), np.nan)
    return IntervalCurve(
        given_age=given,
        last_age=last,
        level=level,
        lives=float(watched.weight.sum()),
        failures=float(watched.weight[failed & (watched.upper > given)].sum()),
        lower=lower,
        upper=upper,
        mass=before - after,
        before=before,
        after=after,
        defined=defined,
        log_likelihood=hazard.log_likelihood,
        gap=hazard.gap,
        notes=_notes(given, begin, defined, open_falls=bool((upper > lower)[defined].any()))
        + _shared(intervals, hazard),
        watched=watched,
        intervals=intervals,
        hazard=hazard,
    )


def _refuse_given(given: float, last: float, lower: FloatArray, upper: FloatArray) -> None:
    if given >= last:
        message = f"nobody was watched past {given:g} runs"
        raise ObservationError(message)
    within = np.flatnonzero((lower < given) & (given < upper))
    if within.size:
        at = within[0]
        message = (
            f"the curve cannot begin at {given:g} runs: between looks at {lower[at]:g} and "
            f"{upper[at]:g} runs its value is not known"
        )
        raise ObservationError(message)


def _notes(given: float, begin: float, defined: BoolArray, *, open_falls: bool) -> tuple[str, ...]:
    notes = []
    if given > 0:
        notes.append(f"the curve is the chance to outlast an age, given sound at {given:g} runs")
    if given < begin:
        few = f"{risk_sets.LEAST_AT_RISK:g}"
        notes.append(f"fewer than {few} lives, or none, were watched before {begin:g}")
    left = int((~defined).sum())
    if left:
        notes.append(f"{left} of {defined.size} falls, up to {given:g} runs, are not in the curve")
    if open_falls:
        notes.append(
            "where the curve without a model falls between two looks, how it falls there is not "
            "known"
        )
    return tuple(notes)


def _shared(intervals: Innermost, hazard: Hazard) -> tuple[str, ...]:
    if settled(intervals, hazard):
        return ()
    return (SHARED,)

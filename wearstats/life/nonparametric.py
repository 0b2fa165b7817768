"""The product-limit (Kaplan-Meier) curve, with late entries and lives looked at in steps.

Ours and not a library's: statsmodels' and lifelines' estimators hold late entry and weights
(the agreement tests compare with both), but neither conditions the curve on an age with a real
risk set. With late entries the first few at risk can take the curve to zero for ever at an age
where hardly anybody was watched; lifelines then stops, statsmodels goes on at zero.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError, TooFewError
from wearstats.estimates import Estimate
from wearstats.life import risk_sets
from wearstats.life.results import certain, check_runs, critical_value

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives.observations import Observations

_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class SurvivalCurve:
    """A product-limit curve, conditional on being sound at `given_age`.

    Parameters
    ----------
    given_age : float, runs
        The curve is the chance to outlast an age, given that this one was reached sound.
    last_age : float, runs
        The curve says nothing beyond: nobody was watched longer.
    level : float
    lives, failures : float
        Informative lives; failures after `given_age`.
    age, at_risk, failed : ndarray, shape (m,)
        Ages of failure, lives at risk just before (entry < age <= last look) and failures.
    survival, low, high : ndarray, shape (m,)
        The curve just after each age, with pointwise log(-log) intervals (Greenwood's
        variance; Kalbfleisch & Prentice 2002, 2nd ed., section 1.4; from memory). NaN where
        `defined` is False.
    defined : ndarray of bool, shape (m,)
        False at ages not after `given_age`.
    notes : tuple of str
    """

    given_age: float
    last_age: float
    level: float
    lives: float
    failures: float
    age: FloatArray
    at_risk: FloatArray
    failed: FloatArray
    survival: FloatArray
    low: FloatArray
    high: FloatArray
    defined: BoolArray
    notes: tuple[str, ...]

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns runs, at_risk, failed, survival, low, high, defined."""
        import pandas as pd

        columns = ("at_risk", "failed", "survival", "low", "high", "defined")
        return pd.DataFrame({"runs": self.age} | {name: getattr(self, name) for name in columns})

    def at(self, runs: float) -> Estimate:
        """Return the chance to outlast this age, given sound at `given_age`.

        Raises
        ------
        ObservationError
            The age lies before `given_age` or after `last_age`.
        """
        if not self.given_age <= check_runs(runs) <= self.last_age:
            message = (
                f"the curve runs from {self.given_age:g} to {self.last_age:g} runs; "
                f"nothing is known of {runs:g}"
            )
            raise ObservationError(message)
        passed = np.flatnonzero(self.defined & (self.age <= runs))
        if not passed.size:
            return certain(self.level) if runs == self.given_age else self._not_yet_failed(runs)
        here = passed[-1]
        return Estimate(
            float(self.survival[here]), float(self.low[here]), float(self.high[here]), self.level
        )

    def _not_yet_failed(self, runs: float) -> Estimate:
        note = f"no failure seen between {self.given_age:g} and {runs:g} runs"
        return Estimate(1.0, None, 1.0, self.level, note=note)


def kaplan_meier(
    observations: "Observations", level: float = 0.9, *, given_age: float | None = None
) -> SurvivalCurve:
    """Return the product-limit curve.

    Parameters
    ----------
    observations : Observations
        Failures exact, or found at looks such that no life entered, was lost or failed inside
        another's interval; a failure then counts at the look that found it, which is the
        maximum-likelihood curve at the looks.
    level : float
    given_age : float or None, runs
        Condition on being sound at this age; None takes 0, or with late entries the first age
        with a real risk set (see `risk_sets.LEAST_AT_RISK`) after which the risk set never
        empties while lives are still to come.

    Raises
    ------
    TooFewError
        No informative life.
    ObservationError
        Intervals overlap, so that no product-limit curve exists (see `npmle`); or nobody was
        at risk after `given_age`.
    """
    critical_value(level)
    tells = observations.informative
    if not tells.any():
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise TooFewError(message, have=0, need=1)
    entry, weight = observations.entry[tells], observations.weight[tells]
    lower, upper = observations.lower[tells], observations.upper[tells]
    failed = np.isfinite(upper)
    found = risk_sets.straddled(entry, lower, upper)
    if found is not None:
        place, age = found
        label = observations.labels[int(np.flatnonzero(tells)[place])]
        message = (
            f"no product-limit curve: {label} failed between {lower[place]:g} and "
            f"{upper[place]:g} runs, and another life is known to {age:g}"
        )
        raise ObservationError(message, hint="take the curve for intervals, npmle")
    leaves = np.where(failed, upper, lower)

    ages = np.unique(upper[failed])
    at_risk = risk_sets.at_risk(entry, leaves, weight, ages)
    places = np.searchsorted(ages, upper[failed])
    deaths = np.bincount(places, weight[failed], ages.size).astype(np.float64)
    # All that were at risk failed, whatever the rounding of weights summed in another order.
    at_risk = np.where(at_risk <= deaths * (1 + _ROUNDING), deaths, at_risk)
    emptied = ages[at_risk == deaths]
    begin = risk_sets.first_real_age(entry, leaves, weight, emptied)
    given = begin if given_age is None else check_runs(given_age)
    last = float(leaves.max())
    if given >= last:
        message = f"nobody was watched past {given:g} runs"
        raise ObservationError(message)
    defined = ages > given
    curve = _product_limit(at_risk[defined], deaths[defined], level)
    survival, low, high = (np.full(ages.shape, np.nan) for _ in range(3))
    survival[defined], low[defined], high[defined] = curve
    return SurvivalCurve(
        given_age=given,
        last_age=last,
        level=level,
        lives=float(weight.sum()),
        failures=float(deaths[defined].sum()),
        age=ages,
        at_risk=at_risk,
        failed=deaths,
        survival=survival,
        low=low,
        high=high,
        defined=defined,
        notes=_notes(given, begin, ages, defined),
    )


def _notes(given: float, begin: float, ages: FloatArray, defined: BoolArray) -> tuple[str, ...]:
    notes = []
    if given > 0:
        notes.append(f"the curve is the chance to outlast an age, given sound at {given:g} runs")
    if given < begin:
        few = f"{risk_sets.LEAST_AT_RISK:g}"
        notes.append(f"fewer than {few} lives, or none, were watched before {begin:g}")
    left = int((~defined).sum())
    if left:
        notes.append(f"failures at {left} of {ages.size} ages, up to {given:g} runs, are not in it")
    return tuple(notes)


def _product_limit(
    at_risk: FloatArray, deaths: FloatArray, level: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    survival = np.cumprod(1.0 - deaths / at_risk)
    left = at_risk - deaths
    empties = left <= 0
    terms = deaths / (at_risk * np.where(empties, 1.0, left))
    variance = np.cumsum(np.where(empties, 0.0, terms))
    inner = np.where(empties | (survival <= 0), 0.5, survival)
    width = float(np.sqrt(critical_value(level))) * np.sqrt(variance) / -np.log(inner)
    low = np.where(empties, 0.0, inner ** np.exp(width))
    high = np.where(empties, np.nan, inner ** np.exp(-width))
    if empties.any():
        # Past the last one the variance has no value: the bound before it still holds, or,
        # with none before, that of no survivor among so many (Clopper & Pearson 1934).
        first = int(np.argmax(empties))
        alone = 1.0 - ((1.0 - level) / 2) ** (1.0 / at_risk[first])
        high[first:] = high[first - 1] if first else alone
    return np.where(empties, 0.0, survival), low, high

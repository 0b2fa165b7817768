"""The mean cumulative function: failures per unit, on average, by so many total runs.

Ours and not a library's: neither lifelines (0.30) nor statsmodels (0.15) has a mean cumulative
function. lifelines' Nelson-Aalen curve gives the same estimate where nobody fails twice at one
age, with the Poisson variance (sum of d / r^2), which takes the failures of one unit for
independent; R's survfit gives the infinitesimal-jackknife ("robust", divisor n) one. Nelson's
estimates the spread between units with the sample covariances, divisor n - 1.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.recurrence.histories import History

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class MeanCumulative:
    """Mean number of failures per unit by total runs.

    Parameters
    ----------
    level : float
    units, failures : int
    last_age : float, runs
        Nobody was followed longer.
    age : ndarray, shape (m,), runs
        Ages of failure, rising.
    at_risk, failed : ndarray of int64, shape (m,)
        Units followed to that age or past it, and failures at it.
    mean, standard_error, low, high : ndarray, shape (m,)
        Just after each age. Error and interval are NaN where fewer than two units are at risk at
        this or an earlier age, and where the variance comes out as nought or less, as sample
        covariances of few units may.
    """

    level: float
    units: int
    failures: int
    last_age: float
    age: FloatArray
    at_risk: IntArray
    failed: IntArray
    mean: FloatArray
    standard_error: FloatArray
    low: FloatArray
    high: FloatArray

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns runs, at_risk, failed, mean, standard_error, low, high."""
        import pandas as pd

        columns = ("at_risk", "failed", "mean", "standard_error", "low", "high")
        return pd.DataFrame({"runs": self.age} | {name: getattr(self, name) for name in columns})

    def at(self, runs: float) -> Estimate:
        """Return the mean number of failures per unit by so many total runs.

        Raises
        ------
        ObservationError
            The age is below 0 or past `last_age`.
        """
        if not 0 <= runs <= self.last_age:
            message = f"units were followed to {self.last_age:g} runs; nothing is known of {runs:g}"
            raise ObservationError(message)
        here = int(np.searchsorted(self.age, runs, "right")) - 1
        if here < 0:
            return Estimate(0.0, 0.0, None, self.level, note="no failure by then")
        mean, low, high = (float(each[here]) for each in (self.mean, self.low, self.high))
        note = "" if np.isfinite(low) else "too few units for an interval"
        return Estimate(mean, low, high, self.level, note=note)


def mean_cumulative(histories: Sequence[History], level: float = 0.9) -> MeanCumulative:
    """Estimate the mean cumulative function with Nelson's variance.

    Parameters
    ----------
    histories : sequence of History
        A unit whose history ends at the age of a failure is still at risk at that age.
    level : float
        Of the pointwise intervals mean * exp(+-z * error / mean), which never fall below 0.

    Returns
    -------
    MeanCumulative

    Raises
    ------
    TooFewError
        No failure.
    UsageError
        The level is no level.

    Notes
    -----
    Nelson 1995, Technometrics 37:147-157: the variance of the sum of mean increments, with the
    sample covariance (divisor n - 1) of two increments over the units at risk at the later one,
    divided by the number at risk at the earlier one. Units must be alike and end their watch for
    reasons that have nothing to do with their failures; failures of one unit need not be
    independent. With few units the intervals cover less than their level.
    """
    check_level(level)
    failures = sum(history.failures for history in histories)
    if not failures:
        message = f"no failure in {len(histories)} histories: there is no recurrence to count"
        raise TooFewError(message, have=0, need=1)
    age = np.unique(np.concatenate([history.found for history in histories]))
    end = np.array([history.end for history in histories])
    counts = np.array([[history.found.count(at) for at in age.tolist()] for history in histories])
    watched = end[:, None] >= age
    at_risk = watched.sum(axis=0)
    failed = counts.sum(axis=0)
    mean = np.cumsum(failed / at_risk)
    variance = _nelson_variance(counts.astype(np.float64), watched, at_risk)
    error = np.sqrt(np.where(variance > 0, variance, np.nan))
    factor = np.exp(special.ndtri((1 + level) / 2) * error / mean)
    return MeanCumulative(
        level=level,
        units=len(histories),
        failures=failures,
        last_age=float(end.max()),
        age=age,
        at_risk=at_risk.astype(np.int64),
        failed=failed.astype(np.int64),
        mean=mean,
        standard_error=error,
        low=mean / factor,
        high=mean * factor,
    )


def _nelson_variance(counts: FloatArray, watched: np.ndarray, at_risk: np.ndarray) -> FloatArray:
    """Return the variance after each age; `counts` and `watched` have shape (units, m)."""
    share = counts / at_risk
    before = np.cumsum(share, axis=1) - share
    terms = np.full(at_risk.shape, np.nan)
    for at in np.flatnonzero(at_risk > 1):
        own = watched[:, at]
        here = counts[own, at] - counts[own, at].mean()
        earlier = before[own, at]
        spread = here @ here / at_risk[at] + 2 * (here @ earlier)
        terms[at] = spread / (at_risk[at] - 1)
    return np.asarray(np.cumsum(terms), dtype=np.float64)


def check_level(level: float) -> None:
    """Refuse what is no level.

    Raises
    ------
    UsageError
        It does not lie between 0 and 1.
    """
    if not 0 < level < 1:
        message = f"a level lies between 0 and 1, not {level!r}"
        raise UsageError(message)

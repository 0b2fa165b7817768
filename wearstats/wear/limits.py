"""Runs until a limit, as a distribution; and whichever comes first, the limit or burn-through."""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError

_NODES = 64
_FARTHEST = 1e6
_HALVINGS = 60
_ROUNDING = 1e-9


@cache
def _quadrature() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return nodes, weights


@dataclass(frozen=True, slots=True)
class RunsToLimit:
    """When a straight line that is known with error first reaches a limit.

    The line's height now and its rate are jointly Student's t; what is not on this side of the
    limit now is there at 0 runs.

    Parameters
    ----------
    short : float
        From the line now to the limit, thou; negative where past it.
    rate : float
        Toward the limit, thou per run.
    variance, covariance, rate_variance : float
        Of the line now, of it with the rate, of the rate.
    freedom : float
        Degrees of freedom.

    Notes
    -----
    A line is at its greatest at one end of a stretch, so it has reached the limit by run k if it
    is past it now or at k. A random line and its crossing: Meeker & Escobar 1998, Statistical
    Methods for Reliability Data, section 13.6, from memory.
    """

    short: float
    rate: float
    variance: float
    covariance: float
    rate_variance: float
    freedom: float

    def chance_by(self, runs: ArrayLike) -> FloatArray:
        """Chance that the limit is reached within so many runs.

        Parameters
        ----------
        runs : array_like, shape (n,)
            0 or more; infinity for ever.

        Returns
        -------
        ndarray, shape (n,)
        """
        ahead = np.atleast_1d(np.asarray(runs, float))
        if not (ahead >= 0.0).all():
            message = f"runs ahead are 0 or more, not {float(np.min(ahead))}"
            raise UsageError(message)
        forever = np.isinf(ahead)
        steps = np.where(forever, 0.0, ahead)
        # At infinity the side of the limit is the sign of the rate.
        short = np.where(forever, 0.0, self.short) - np.where(forever, 1.0, steps) * self.rate
        variance = self.variance + 2.0 * steps * self.covariance + steps**2 * self.rate_variance
        variance = np.where(forever, self.rate_variance, variance)
        shared = np.where(forever, self.covariance, self.variance + steps * self.covariance)
        spread, now = np.sqrt(variance), math.sqrt(self.variance)
        correlation = np.clip(shared / (spread * now), -1.0, 1.0)
        return 1.0 - self._both_below(self.short / now, short / spread, correlation)

    def runs_at(self, chance: float) -> float | None:
        """Return the runs by which the limit is reached with a chance; None where that never comes.

        Parameters
        ----------
        chance : float
            Above 0 and below 1.
        """
        if not 0.0 < chance < 1.0:
            message = f"a chance lies between 0 and 1, not at {chance}"
            raise UsageError(message)
        if float(self.chance_by(0.0)[0]) >= chance:
            return 0.0
        low, high = 0.0, 1.0
        while float(self.chance_by(high)[0]) < chance:
            low, high = high, 2.0 * high
            if high > _FARTHEST:
                return None
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (
                (middle, high) if float(self.chance_by(middle)[0]) < chance else (low, middle)
            )
        return 0.5 * (low + high)

    def _both_below(self, first: float, second: FloatArray, correlation: FloatArray) -> FloatArray:
        """P(t1 < first, t2 < second) of a bivariate Student's t.

        Given the first, the second is Student's t with one more degree of freedom.
        """
        from scipy.special import stdtr, stdtrit

        nodes, weights = _quadrature()
        below = float(stdtr(self.freedom, first))
        if below <= 0.0:
            return np.zeros(len(second))
        at = stdtrit(self.freedom, below * 0.5 * (nodes + 1.0))
        more = self.freedom + 1.0
        rest = np.maximum(1.0 - correlation**2, 1e-14)
        scale = np.sqrt(more / ((self.freedom + at**2)[None] * rest[:, None]))
        inner = stdtr(more, (second[:, None] - correlation[:, None] * at[None]) * scale)
        return np.asarray(below * 0.5 * (inner @ weights))


def whichever_first(limit: RunsToLimit, runs: ArrayLike, lasting: ArrayLike) -> pd.DataFrame:
    """Chance that the limit is reached or the strips burn through, whichever comes first.

    Parameters
    ----------
    limit : RunsToLimit
    runs : array_like, shape (n,)
        Runs ahead, rising from 0 or more.
    lasting : array_like, shape (n,)
        Chance that strips sound now last each of these.

    Returns
    -------
    DataFrame
        runs, limit, burned, either (chances by each), limit_first, burned_first (chances that it
        came and came first); the last two add up to `either`.

    Raises
    ------
    UsageError
        Runs do not rise, or the chance of lasting is no chance or rises.

    Notes
    -----
    Wear and burn-through are taken as independent given the runs; within a step either is as
    likely to come first.
    """
    ahead, last = np.asarray(runs, float), np.asarray(lasting, float)
    if ahead.shape != last.shape or (np.diff(ahead) <= 0.0).any():
        message = "runs ahead must rise, each with its chance of lasting"
        raise UsageError(message)
    chances = (last >= -_ROUNDING) & (last <= 1.0 + _ROUNDING)
    if not chances.all() or (np.diff(last) > _ROUNDING).any():
        message = "a chance of lasting lies between 0 and 1 and does not rise with runs"
        raise UsageError(message)
    last = last.clip(0.0, 1.0)
    reached = np.maximum.accumulate(limit.chance_by(ahead))
    before = np.r_[0.0, reached[:-1]], np.r_[1.0, last[:-1]]
    fell, rose = before[1] - last, reached - before[0]
    limit_first = np.cumsum(rose * 0.5 * (before[1] + last))
    burned_first = np.cumsum(fell * (1.0 - 0.5 * (before[0] + reached)))
    return pd.DataFrame(
        {
            "runs": ahead,
            "limit": reached,
            "burned": 1.0 - last,
            "either": 1.0 - (1.0 - reached) * last,
            "limit_first": limit_first,
            "burned_first": burned_first,
        }
    )

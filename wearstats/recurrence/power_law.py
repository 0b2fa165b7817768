"""The power-law process: failures at a rate that rises or falls with total runs.

By t runs one unit has, on average, lambda * t^beta = (t / eta)^beta failures: beta above 1 where
they come faster and faster, 1 where the rate is even.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from wearstats.arrays import FloatArray
from wearstats.errors import NotIdentifiedError, TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.recurrence.cumulative import check_level
from wearstats.recurrence.histories import History

_LEAST = 2
_PARAMETERS = ("beta", "lambda", "eta")
_LOG_BETA = (-12.0, 12.0)
_LEAST_VALUE = -1e50
"""Stands for a log likelihood below every number, so that a root can be sought from there."""
_EXPONENT_AT_MOST = 600.0
"""Beyond it exp, or what is made of it, overflows."""
_REACH = 32.0
"""How far, in logs, an end of an interval is sought before that side counts as unbounded."""

_Line = Callable[[float], tuple[float, float]]
"""From the held quantity's log to (intercept, slope) in beta of log lambda + own log(beta)."""


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Specification of a power-law process common to the histories."""

    def fit(self, histories: Sequence[History]) -> "PowerLawFit":
        """Fit by maximum likelihood.

        Parameters
        ----------
        histories : sequence of History
            Each ends at a stated age (time truncated) or at its last failure (failure
            truncated); the likelihood is the same. Units without a failure count.

        Returns
        -------
        PowerLawFit

        Raises
        ------
        TooFewError
            Fewer than two failures.
        NotIdentifiedError
            Every failure came at the longest history's end: beta grows without bound.

        Notes
        -----
        Crow 1974, in Reliability and Biometry (SIAM), 379-410; Meeker and Escobar 1998,
        Statistical Methods for Reliability Data, chapter 16 (both from memory). Units are taken
        to be alike, and to follow the clock from its start.
        """
        ages = np.array([age for history in histories for age in history.found])
        if ages.size < _LEAST:
            message = f"a power law needs {_LEAST} failures; there are {ages.size}"
            raise TooFewError(message, have=ages.size, need=_LEAST)
        ends = np.array([history.end for history in histories])
        stopped = sum(history.ends_in_failure for history in histories)
        longest = float(ends.max())
        if (ages >= longest).all():
            message = "every failure came at the very end, so that no rate can be fitted"
            raise NotIdentifiedError(message, direction="beta grows without bound")
        equal = bool((ends == longest).all())
        logs = float(np.log(longest / ages).sum())
        beta = ages.size / logs if equal else _root(ages.size, logs, np.log(ends / longest))
        constant = math.log(ages.size) - _log_sum(ends, beta)
        return PowerLawFit(
            beta=beta,
            rate_constant=math.exp(constant),
            log_likelihood=_log_likelihood(constant, beta, ages, ends),
            failures=int(ages.size),
            within=int(ages.size) - stopped,
            units=len(histories),
            equal_ends=equal,
            ages=tuple(ages.tolist()),
            ends=tuple(ends.tolist()),
        )


@dataclass(frozen=True, slots=True)
class PowerLawFit:
    """A maximum-likelihood power law; holds its numbers and the ages.

    Parameters
    ----------
    beta : float
    rate_constant : float
        lambda, per unit: failures by the first run.
    log_likelihood : float
        Of the ages (per run), no constant dropped.
    failures, units : int
    within : int
        Failures before the end of their history.
    equal_ends : bool
        Whether all histories end at one age.
    ages, ends : tuple of float, runs
    """

    beta: float
    rate_constant: float
    log_likelihood: float
    failures: int
    within: int
    units: int
    equal_ends: bool
    ages: tuple[float, ...]
    ends: tuple[float, ...]

    @property
    def eta(self) -> float:
        """Runs by which a unit has failed once, on average."""
        return math.exp(-math.log(self.rate_constant) / self.beta)

    @property
    def beta_corrected(self) -> float | None:
        """Beta corrected for its bias: (n - 1) / n of it, failure truncated (n - 2) / n.

        None where histories end at different ages (no such factor is known) or where nothing
        is left of it.
        """
        if not self.equal_ends or self.within < _LEAST:
            return None
        return self.beta * (self.within - 1) / self.failures

    def parameters(self, level: float = 0.9) -> dict[str, Estimate]:
        """Return beta, lambda and eta with intervals; see `estimate`."""
        return {name: self.estimate(name, level) for name in _PARAMETERS}

    def estimate(self, name: str, level: float = 0.9) -> Estimate:
        """Return one parameter: "beta", "lambda" (failures by the first run) or "eta" (runs).

        The interval of beta is exact (chi-square) where all histories end at one age; all others
        are profile-likelihood intervals with the chi-square(1) critical value.

        Raises
        ------
        UsageError
            No such parameter.
        """
        if name == "beta":
            return self._beta(level)
        if name == "lambda":
            unit = "failures per unit"
            return self._profiled(self.rate_constant, lambda held: (held, 0.0), 0, level, unit)
        if name == "eta":
            return self._profiled(self.eta, lambda held: (0.0, -held), 0, level, "runs")
        message = f"no parameter {name!r} of a power law; known: {', '.join(_PARAMETERS)}"
        raise UsageError(message)

    def rate_at(self, runs: float | None = None, level: float = 0.9) -> Estimate:
        """Return the failures per run of one unit at so many total runs (left out: the most seen).

        Raises
        ------
        UsageError
            The age is not above 0.
        """
        at = math.log(self._age(runs))
        rate = self.rate_constant * self.beta * math.exp((self.beta - 1) * at)
        return self._profiled(rate, lambda held: (held + at, -at), -1, level, "failures per run")

    def runs_between_at(self, runs: float | None = None, level: float = 0.9) -> Estimate:
        """Return the runs between failures at the rate of this age (the current MTBF)."""
        rate = self.rate_at(runs, level)
        low, high = (None if end is None else 1 / end for end in (rate.high, rate.low))
        return Estimate(1 / (rate.estimate or math.nan), low, high, level, "runs")

    def expected(self, runs: FloatArray) -> FloatArray:
        """Return the mean number of failures per unit by these ages."""
        return np.asarray(self.rate_constant * np.power(runs, self.beta), dtype=np.float64)

    def _age(self, runs: float | None) -> float:
        at = max(self.ends) if runs is None else runs
        if not (at > 0 and math.isfinite(at)):
            message = f"a rate is told at an age above 0, not {at!r}"
            raise UsageError(message)
        return at

    def _beta(self, level: float) -> Estimate:
        check_level(level)
        if self.equal_ends and self.within:
            freedom = 2 * self.within
            unit = self.beta / (2 * self.failures)
            low = unit * float(special.chdtri(freedom, (1 + level) / 2))
            high = unit * float(special.chdtri(freedom, (1 - level) / 2))
            return Estimate(self.beta, low, high, level)
        ages, ends = self._arrays
        count = ages.size

        def value(log_beta: float) -> float:
            beta = math.exp(log_beta)
            return _log_likelihood(math.log(count) - _log_sum(ends, beta), beta, ages, ends)

        return self._ends(value, self.beta, level, "")

    def _profiled(
        self, estimate: float, line: _Line, own: int, level: float, unit: str
    ) -> Estimate:
        """Return the profile-likelihood interval of a quantity that fixes lambda given beta.

        The quantity's log makes log lambda = intercept + slope * beta + own * log(beta); along it
        the log likelihood is concave in beta.
        """
        check_level(level)
        ages, ends = self._arrays

        def value(held: float) -> float:
            intercept, slope = line(held)

            def slope_at(log_beta: float) -> float:
                """Return the slope in beta along the line: it falls from above 0 to below."""
                beta = math.exp(log_beta)
                exponent = intercept + slope * beta + own * log_beta + beta * np.log(ends)
                weight = np.exp(np.minimum(exponent, _EXPONENT_AT_MOST))
                turn = slope + own / beta
                rising = ages.size * (turn + 1 / beta) + float(np.log(ages).sum())
                return rising - float(weight @ (turn + np.log(ends)))

            best = _crossing(slope_at)
            constant = intercept + slope * math.exp(best) + own * best
            return _log_likelihood(constant, math.exp(best), ages, ends)

        return self._ends(value, estimate, level, unit)

    def _ends(
        self, value: Callable[[float], float], estimate: float, level: float, unit: str
    ) -> Estimate:
        threshold = self.log_likelihood - float(special.chdtri(1, 1 - level)) / 2
        centre = math.log(estimate)
        found: list[float | None] = []
        for sign in (-1.0, 1.0):
            inner, step = 0.0, 0.25
            while inner + step <= _REACH and value(centre + sign * (inner + step)) > threshold:
                inner, step = inner + step, 2 * step
            if inner + step > _REACH:
                found.append(None)
                continue
            edge = optimize.brentq(
                lambda move, sign=sign: value(centre + sign * move) - threshold,
                inner,
                inner + step,
                xtol=1e-11,
            )
            found.append(math.exp(centre + sign * float(edge)))
        return Estimate(estimate, found[0], found[1], level, unit)

    @property
    def _arrays(self) -> tuple[FloatArray, FloatArray]:
        return np.array(self.ages), np.array(self.ends)


def _log_sum(ends: FloatArray, beta: float) -> float:
    """Return log of the sum of ends^beta."""
    return float(special.logsumexp(beta * np.log(ends)))


def _log_likelihood(constant: float, beta: float, ages: FloatArray, ends: FloatArray) -> float:
    """Return the log likelihood at log lambda = constant."""
    exponent = constant + _log_sum(ends, beta)
    if exponent > _EXPONENT_AT_MOST:
        return _LEAST_VALUE
    events = ages.size * (constant + math.log(beta)) + (beta - 1) * float(np.log(ages).sum())
    return events - math.exp(exponent)


def _root(count: int, logs: float, ends: FloatArray) -> float:
    """Return the beta at which the profile likelihood is level, ends differing.

    `logs` is the sum of log(longest / age), `ends` holds log(end / longest).
    """

    def slope(log_beta: float) -> float:
        beta = math.exp(log_beta)
        weight = np.exp(beta * ends)
        return count - beta * (logs + count * float(weight @ ends / weight.sum()))

    return math.exp(_crossing(slope))


def _crossing(falling: Callable[[float], float]) -> float:
    """Return where a function of log beta falls through 0, or the limit it does so beyond."""
    least, most = _LOG_BETA
    if falling(most) > 0:
        return most
    if falling(least) < 0:
        return least
    return float(optimize.brentq(falling, least, most, xtol=1e-13))

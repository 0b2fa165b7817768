"""A hazard regression fitted by maximum likelihood."""

from dataclasses import dataclass, field
from functools import partial

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.life import hazard_likelihood
from wearstats.life.asked import Questions
from wearstats.life.exposures import Exposures
from wearstats.life.frailties import Frailty, frailty_named
from wearstats.life.held import Summit, interval, upper_end
from wearstats.life.quantities import Coordinate, Quantity
from wearstats.life.results import critical_value

EDGE = "no unit effect to be seen; the interval says how much could hide"

LEAST_VARIANCE = 1e-8
"""A frailty variance below this is none."""


@dataclass(frozen=True, slots=True)
class HazardRegressionFit(Questions):
    """A maximum-likelihood fit of the run-by-run hazard.

    Parameters
    ----------
    baseline, frailty : str
    fixed_shape : float or None
    log_likelihood : float
    aicc : float or None
        None where lives are too few for it.
    without_frailty : float
        The log likelihood of the same model without unit effects.
    edge : bool
        True where the frailty variance came out as nought; all else is then as without it.
    lives, failures : float
    units : int
    exposures : Exposures
    summit : Summit

    Notes
    -----
    Intervals are profile-likelihood intervals with the chi-square(1) critical value; every
    method takes another one as `critical`. An end the data do not bound is None. For the
    frailty variance the same value is taken although it cannot be below 0: its upper end
    errs on the wide side (Self & Liang 1987, J. Am. Statist. Ass. 82:605-610; from memory).
    """

    baseline: str
    frailty: str
    fixed_shape: float | None
    log_likelihood: float
    aicc: float | None
    without_frailty: float
    edge: bool
    lives: float
    failures: float
    units: int
    exposures: Exposures = field(repr=False, compare=False)
    summit: Summit = field(repr=False, compare=False)

    @property
    def effects(self) -> Frailty | None:
        """The unit effects seen; None where there are none."""
        return None if self.edge else frailty_named(self.frailty)

    def ask(
        self, quantity: Quantity, level: float, critical: float | None
    ) -> tuple[float, float | None, float | None]:
        """Return estimate and ends of a quantity by profile likelihood."""
        threshold = critical_value(level) if critical is None else critical
        return interval(self.summit, quantity, threshold)

    def frailty_variance(self, level: float = 0.9, critical: float | None = None) -> Estimate:
        """Return the variance of z (gamma) or of log z (lognormal).

        Raises
        ------
        UsageError
            The fit has no frailty.
        """
        frailty = frailty_named(self.frailty)
        if frailty is None:
            message = "this fit has no frailty"
            raise UsageError(message)
        threshold = critical_value(level) if critical is None else critical
        if self.edge:
            top = self._beside_edge(frailty)
            tau = Coordinate(top.theta.size - 1)
            end = upper_end(top, tau, threshold, float(top.least[-1]))
            return Estimate(0.0, 0.0, _variance(frailty, end), level, note=EDGE)
        tau = Coordinate(self.summit.theta.size - 1)
        centre, low, high = interval(self.summit, tau, threshold)
        if 2 * (self.log_likelihood - self.without_frailty) < threshold:
            low = None
        least = 0.0 if low is None else frailty.variance(low)
        return Estimate(frailty.variance(centre), least, _variance(frailty, high), level)

    def _beside_edge(self, frailty: Frailty) -> Summit:
        """Return the summit with a frailty variance next to nought."""
        alone, law = self.summit, self.law
        size = alone.theta.size + 1
        least = np.append(alone.least, frailty.tau(LEAST_VARIANCE))
        return Summit(
            partial(hazard_likelihood.derivatives, law, frailty, self.exposures),
            np.append(alone.theta, least[-1]),
            np.append(alone.free, size - 1),
            np.zeros((size, size)),
            alone.value,
            least,
        )

    @property
    def estimates(self) -> dict[str, float]:
        """Intercept, log shape and log hazard ratios, ages in runs, covariates as given.

        H0(a) is the law's at z = intercept + shape * log(a) with every covariate 0; with a
        frailty there is also its variance. Log shape is not there where the shape was held.
        """
        values, _ = self._natural()
        return dict(zip(self._natural_names(), values.tolist(), strict=True))

    @property
    def covariance(self) -> FloatArray:
        """Inverse observed information of `estimates`, in their order."""
        _, turn = self._natural()
        covariance: FloatArray = turn @ self.summit.covariance @ turn.T
        return covariance

    @property
    def standard_errors(self) -> dict[str, float]:
        """Wald standard errors of `estimates`."""
        errors = np.sqrt(np.diag(self.covariance)).tolist()
        return dict(zip(self._natural_names(), errors, strict=True))

    def _natural_names(self) -> list[str]:
        shape = ["log_shape"] if self.fixed_shape is None else []
        variance = ["frailty_variance"] if self.effects is not None else []
        return ["intercept", *shape, *self.exposures.names, *variance]

    def _natural(self) -> tuple[FloatArray, FloatArray]:
        """Return the estimates and their derivatives in theta."""
        theta, lives = self.summit.theta, self.exposures
        turn = np.eye(theta.size)
        covariates = slice(2, 2 + lives.columns)
        slope, log_typical = np.exp(theta[1]), np.log(lives.typical_age)
        turn[0, 1] = -slope * log_typical
        turn[0, covariates] = -lives.centre / lives.spread
        turn[covariates, covariates] = np.diag(1 / lives.spread)
        values = turn @ theta
        values[0] += slope * log_typical * (theta[1] - 1)
        effects = self.effects
        if effects is not None:
            values[-1] = effects.variance(float(theta[-1]))
            power = effects.tau(float(np.e)) - effects.tau(1.0)
            turn[-1, -1] = values[-1] / power
        keep = np.ones(theta.size, dtype=np.bool_)
        keep[1] = self.fixed_shape is None
        return values[keep], turn[keep]


def _variance(frailty: Frailty, tau: float | None) -> float | None:
    return None if tau is None else frailty.variance(tau)

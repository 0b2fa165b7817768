"""The Bayesian fit of a hazard regression: an answer also where the likelihood has no maximum.

Priors: log shape ~ Normal(log 2, 0.6) and the log of the median life at the mean covariates
diffuse about the records' own range, as in `prior`; each log hazard ratio ~ Normal(0, 0.7) per
standard deviation of its covariate. Points are drawn from a multivariate t about the mode and
weighted (importance sampling; Geweke 1989, Econometrica 57:1317-1339; from memory), seeded.
"""

from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import NotConvergedError, UsageError
from wearstats.life import hazard_likelihood
from wearstats.life.asked import Questions
from wearstats.life.distributions import Jet, Law, keeps_form, law_named
from wearstats.life.exposures import Exposures, expose
from wearstats.life.fitting import ascend
from wearstats.life.identification import refuse_too_little
from wearstats.life.prior import Prior
from wearstats.life.quantities import Quantity

if TYPE_CHECKING:
    from wearstats.lives.histories import Histories

LOG_RATIO_SD = 0.7
"""Prior standard deviation of a log hazard ratio per standard deviation of its covariate."""

POINTS = 2000
_FREEDOM = 5.0
_FEWEST_EFFECTIVE = 200.0


@dataclass(frozen=True, slots=True)
class HazardRegressionPosterior(Questions):
    """A posterior as weighted points; answers are medians with equal-tailed intervals.

    Parameters
    ----------
    baseline, frailty : str
        frailty is none: unit effects take the likelihood.
    fixed_shape : float or None
    lives, failures : float
    exposures : Exposures
    points : ndarray, shape (m, 2 + p)
        (intercept, log slope, effects of the standardised covariates).
    weights : ndarray, shape (m,)
        Sum to 1.
    effective : float
        So many equally weighted points say as much.
    """

    baseline: str
    frailty: str
    fixed_shape: float | None
    lives: float
    failures: float
    exposures: Exposures = field(repr=False, compare=False)
    points: FloatArray = field(repr=False, compare=False)
    weights: FloatArray = field(repr=False, compare=False)
    effective: float

    @property
    def log_likelihood(self) -> None:
        """Not stated: there may be no maximum."""
        return

    @property
    def aicc(self) -> None:
        """Not defined for a fit that rests on a prior."""
        return

    @property
    def effects(self) -> None:
        """No unit effects."""
        return

    def ask(
        self, quantity: Quantity, level: float, critical: float | None
    ) -> tuple[float, float | None, float | None]:
        """Return the posterior median and the ends of the equal-tailed interval."""
        del critical
        values = np.array([quantity.point(point)[0] for point in self.points])
        order = np.argsort(values, kind="stable")
        weights = self.weights[order]
        below = np.cumsum(weights) - weights / 2
        tail = (1 - level) / 2
        low, middle, high = np.interp([tail, 0.5, 1 - tail], below, values[order])
        return float(middle), float(low), float(high)


def regression_posterior(
    histories: "Histories",
    baseline: str = "weibull",
    prior: Prior | None = None,
    *,
    shape: float | None = None,
    seed: int = 0,
) -> HazardRegressionPosterior:
    """Fit a hazard regression by Bayes' rule.

    Parameters
    ----------
    histories : Histories
    baseline : str
        weibull or exponential.
    prior : Prior or None
        Of shape and median life.
    shape : float or None
        Hold the Weibull shape at this value.
    seed : int

    Raises
    ------
    UsageError
        Another baseline.
    TooFewError, NotIdentifiedError
        Too few failures, or a covariate that tells nothing: no prior mends that.
    NotConvergedError
        The points do not fill the posterior.
    """
    law = law_named(baseline, shape)
    if not keeps_form(law):
        message = f"the Bayesian regression takes the weibull or exponential law, not {law.name}"
        raise UsageError(message)
    refuse_too_little(histories, frailty=False)
    target = _Target(law, expose(histories, centred=True), Prior() if prior is None else prior)
    mode = ascend(target.jet, target.start(), most_steps=200)
    if not bool(mode.converged):
        message = "the mode of the posterior was not found"
        raise NotConvergedError(message, last=mode.theta.tolist())
    covariance = np.linalg.inv(-mode.hessian).astype(np.float64)
    free, weights = _drawn(target, mode.theta, covariance, seed)
    effective = float(1.0 / np.sum(weights**2))
    if effective < _FEWEST_EFFECTIVE:
        message = f"the points drawn say no more than {effective:.0f} would"
        raise NotConvergedError(message, last=mode.theta.tolist())
    return HazardRegressionPosterior(
        baseline=baseline,
        frailty="none",
        fixed_shape=law.fixed_slope,
        lives=target.lives.lives,
        failures=target.lives.failures,
        exposures=target.lives,
        points=np.array([target.full(each) for each in free]),
        weights=weights,
        effective=effective,
    )


@dataclass(frozen=True, slots=True)
class _Target:
    """The log posterior over (log median, log slope, effects), the median in typical ages."""

    law: Law
    lives: Exposures
    prior: Prior

    @property
    def centre(self) -> FloatArray:
        middle = 0.0
        if self.prior.median_runs is not None:
            middle = float(self.lives.log_age(np.array(self.prior.median_runs)))
        held = self.law.fixed_slope
        return np.array([middle, np.log(self.prior.shape if held is None else held)])

    @property
    def spread(self) -> FloatArray:
        """Prior standard deviations, of effects in the covariates' own standardisation."""
        ratios = LOG_RATIO_SD * self.lives.spread / self.lives.deviation
        return np.concatenate([[self.prior.log_median_sd, self.prior.log_shape_sd], ratios])

    @property
    def free(self) -> IntArray:
        return np.array(
            [0, *([1] if self.law.fixed_slope is None else []), *range(2, self.spread.size)]
        )

    def start(self) -> FloatArray:
        whole = np.concatenate([self.centre, np.zeros(self.lives.columns)])
        return whole[self.free]

    def whole(self, part: FloatArray) -> FloatArray:
        """Return (log median, log slope, effects)."""
        all_of_it = np.concatenate([self.centre, np.zeros(self.lives.columns)])
        all_of_it[self.free] = part
        return all_of_it

    def full(self, part: FloatArray) -> FloatArray:
        """Return the likelihood's parameters."""
        theta = self.whole(part)
        theta[0] = self.law.quantile(0.5) - np.exp(theta[1]) * theta[0]
        return theta

    def away(self, part: FloatArray) -> FloatArray:
        middle = np.concatenate([self.centre, np.zeros(self.lives.columns)])
        at = self.free
        distance: FloatArray = (part - middle[at]) / self.spread[at]
        return distance

    def value(self, part: FloatArray) -> float:
        found = hazard_likelihood.log_likelihood(self.law, None, self.lives, self.full(part))
        return found - float(np.sum(self.away(part) ** 2)) / 2

    def jet(self, part: FloatArray) -> Jet:
        at = self.free
        whole = self.whole(part)
        slope = float(np.exp(whole[1]))
        value, gradient, hessian = hazard_likelihood.derivatives(
            self.law, None, self.lives, self.full(part)
        )
        # Intercept = quantile - slope * log median.
        turn = np.eye(whole.size)
        turn[0, 0], turn[0, 1] = -slope, -slope * whole[0]
        bend = turn.T @ hessian @ turn
        bend[0, 1] -= slope * gradient[0]
        bend[1, 0] -= slope * gradient[0]
        bend[1, 1] -= slope * whole[0] * gradient[0]
        away, spread = self.away(part), self.spread[at]
        first = (turn.T @ gradient)[at] - away / spread
        second = bend[np.ix_(at, at)] - np.diag(spread**-2.0)
        return np.asarray(value - float(np.sum(away**2)) / 2), first, second


def _drawn(
    target: _Target, mode: FloatArray, covariance: FloatArray, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Return points and weights: a multivariate t about the mode, drawn in opposite pairs."""
    rng = np.random.default_rng(seed)
    size = mode.size
    half = rng.standard_normal((POINTS // 2, size))
    wide = np.sqrt(_FREEDOM / rng.chisquare(_FREEDOM, POINTS // 2))[:, None]
    steps = np.concatenate([half * wide, -half * wide])
    points = mode + steps @ np.linalg.cholesky(covariance).T
    drawn = -(_FREEDOM + size) / 2 * np.log1p(np.sum(steps**2, axis=1) / _FREEDOM)
    value_of = partial(_Target.value, target)
    weights = np.array([value_of(point) for point in points]) - drawn
    weights = np.exp(weights - weights.max())
    return points, weights / weights.sum()

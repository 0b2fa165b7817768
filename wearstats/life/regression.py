"""`HazardRegression`: strip life with covariates that may change each run, and unit effects."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import NotConvergedError, NotIdentifiedError
from wearstats.life import hazard_likelihood
from wearstats.life.distributions import Jet, Law, keeps_form, law_named
from wearstats.life.exposures import Exposures, expose
from wearstats.life.fitting import ascend, starting_point, uphill
from wearstats.life.frailties import Frailty, frailty_named
from wearstats.life.hazard_likelihood import Point
from wearstats.life.held import Summit
from wearstats.life.identification import (
    flat_direction,
    refuse_direction,
    refuse_too_little,
    separating_direction,
)
from wearstats.life.likelihood import gather
from wearstats.life.regression_results import LEAST_VARIANCE, HazardRegressionFit
from wearstats.life.strip_life import aicc

if TYPE_CHECKING:
    from wearstats.lives.histories import Histories

_STARTS = (0.1, 1.0)
_HUGE = 100.0
"""A variance beyond which a climb that has not come to rest is on its way to infinity."""

_NONE = 100 * LEAST_VARIANCE
"""A variance below which a climb that has not come to rest is on its way to nought."""

_NEARLY_NONE = 1e-5
"""The variance at which it is asked whether the likelihood falls from nought upwards."""

_FIRST_STEPS, _STEPS = 25, 100
_NO_REST = "the regression did not come to rest at a maximum"


@dataclass(frozen=True, slots=True)
class HazardRegression:
    """A law of strip life whose hazard each run's covariates multiply.

    Parameters
    ----------
    baseline : str
        weibull, exponential, lognormal or loglogistic.
    frailty : str
        none, gamma (mean 1) or lognormal (median 1), shared by the lives of a unit.
    shape : float or None
        Hold the Weibull shape at this value.
    """

    baseline: str = "weibull"
    frailty: str = "none"
    shape: float | None = None

    def __post_init__(self) -> None:
        """Refuse a law or a frailty that does not exist."""
        law_named(self.baseline, self.shape)
        frailty_named(self.frailty)

    def fit(self, histories: "Histories") -> HazardRegressionFit:
        """Fit by maximum likelihood.

        Parameters
        ----------
        histories : Histories

        Raises
        ------
        TooFewError
            Too few failures or units for what is asked.
        NotIdentifiedError
            A covariate that tells nothing, or no finite maximum; `direction` says where.
        NotConvergedError
            A maximum exists and was not found.
        """
        law, frailty = law_named(self.baseline, self.shape), frailty_named(self.frailty)
        refuse_too_little(histories, frailty=frailty is not None)
        lives = expose(histories, centred=keeps_form(law))
        start = _start(law, histories, lives)
        alone = climbed(law, None, lives, start)
        edge = False
        best = alone
        if frailty is not None:
            best = _with_frailty(law, frailty, lives, alone)
            edge = best is alone
        return HazardRegressionFit(
            baseline=self.baseline,
            frailty=self.frailty,
            fixed_shape=law.fixed_slope,
            summit=best,
            without_frailty=alone.value,
            edge=edge,
            log_likelihood=best.value,
            aicc=aicc(best.value, best.free.size + int(edge), lives.lives),
            lives=lives.lives,
            failures=lives.failures,
            units=len(lives.units),
            exposures=lives,
        )


def _start(law: Law, histories: "Histories", lives: Exposures) -> FloatArray:
    rough = starting_point(law, gather(histories.observations))
    return np.concatenate([rough, np.zeros(lives.columns)])


_Leave: TypeAlias = Callable[[float, Point, BoolArray], None]


def _stay(_tau: float, _point: Point, _free: BoolArray) -> None:
    """Let a climb go on."""


def climbed(
    law: Law,
    frailty: Frailty | None,
    lives: Exposures,
    start: FloatArray,
    leave: _Leave = _stay,
) -> Summit:
    """Climb to the maximum from a start, and say so where there is none.

    Parameters
    ----------
    law, frailty, lives, start
        The likelihood, and where to begin.
    leave : function
        Is shown tau and the likelihood at each place tried, and which parameters are free; ends
        the climb by raising an error.

    Raises
    ------
    NotIdentifiedError
        The likelihood keeps rising.
    NotConvergedError
        The top was not reached.
    """
    summed = partial(hazard_likelihood.derivatives, law, frailty, lives)
    likelihood = hazard_likelihood.remembered(summed)
    free = np.ones(start.size, dtype=np.bool_)
    free[1] = law.fixed_slope is None

    def objective(part: FloatArray) -> Jet:
        theta = start.copy()
        theta[free] = part
        value, gradient, hessian = point = likelihood(theta)
        leave(float(theta[-1]), point, free)
        # Where a slope is too large for a float there is no way on.
        known = np.isfinite(gradient).all() and np.isfinite(hessian).all()
        seen = np.asarray(value if known else -np.inf)
        return seen, gradient[free], hessian[np.ix_(free, free)]

    best = ascend(objective, start[free], most_steps=_FIRST_STEPS if frailty else _STEPS)
    if frailty is not None and not bool(best.converged):
        # A variance on its way to nought never comes to rest.
        if best.theta[-1] < frailty.tau(_NONE):
            raise NotConvergedError(_NO_REST, last=best.theta.tolist())
        best = ascend(objective, best.theta, most_steps=_STEPS)
    theta = start.copy()
    theta[free] = best.theta
    value, _, hessian = likelihood(theta)
    if frailty is None:
        _refuse_no_maximum(law, lives, theta, hessian, free)
    if not bool(best.converged) and frailty is not None and frailty.variance(theta[-1]) > _HUGE:
        words = "the variance of the unit effects grows without bound"
        message = f"the unit effects and the law cannot be told apart: {words}"
        raise NotIdentifiedError(message, direction=words, hint="leave the unit effect out")
    if not bool(best.converged):
        raise NotConvergedError(_NO_REST, last=theta.tolist())
    covariance = np.zeros_like(hessian)
    covariance[np.ix_(free, free)] = np.linalg.inv(-hessian[np.ix_(free, free)])
    least = np.full(start.size, -np.inf)
    if frailty is not None:
        least[-1] = frailty.tau(LEAST_VARIANCE)
    return Summit(summed, theta, np.flatnonzero(free), covariance, value, least)


def _refuse_no_maximum(
    law: Law, lives: Exposures, theta: FloatArray, hessian: FloatArray, free: BoolArray
) -> None:
    """Refuse where the likelihood keeps rising: looked into only where it is flat."""
    value_at = partial(hazard_likelihood.log_likelihood, law, None, lives)
    flat = flat_direction(value_at, theta, hessian, free)
    if flat is None:
        return
    direction = separating_direction(law, lives)
    refuse_direction(lives, flat if direction is None else direction)


def _with_frailty(law: Law, frailty: Frailty, lives: Exposures, alone: Summit) -> Summit:
    """Return the maximum with a frailty; `alone` itself where none is to be seen."""
    best = alone
    least = frailty.tau(_NONE)
    edge = np.append(alone.theta, frailty.tau(_NEARLY_NONE))
    slope = hazard_likelihood.derivatives(law, frailty, lives, edge)[1][-1]
    for variance in _STARTS:
        start = np.append(alone.theta, frailty.tau(variance))
        leave = _ToNought(frailty, alone.value) if slope < 0 else _stay
        try:
            found = climbed(law, frailty, lives, start, leave)
        except NotConvergedError as stopped:
            if stopped.last[-1] < least:
                continue
            raise
        except _NoughtError:
            continue
        if found.theta[-1] > least and found.value > best.value + 1e-9:
            best = found
    return best


class _NoughtError(Exception):
    """The climb leads to a variance of nought."""


class _ToNought:
    """Ends a climb that leads to a variance of nought, from where the likelihood falls.

    In the log of the variance such a climb never comes to rest. In the variance itself it soon
    does: Newton's step leads past nought. Two small variances in a row must say so, and be lower.

    Parameters
    ----------
    frailty : Frailty
    edge : float
        The log likelihood at nought.
    """

    def __init__(self, frailty: Frailty, edge: float) -> None:
        self._small = frailty.tau(min(_STARTS))
        self._power = frailty.tau(float(np.e)) - frailty.tau(1.0)
        self._edge = edge
        self._before = False

    def __call__(self, tau: float, point: Point, free: BoolArray) -> None:
        """Look at the likelihood at one place more.

        Raises
        ------
        _NoughtError
        """
        lower = tau <= self._small and point[0] < self._edge
        past = lower and self._past(point, free)
        if past and self._before:
            raise _NoughtError
        self._before = past

    def _past(self, point: Point, free: BoolArray) -> bool:
        """Tell whether Newton's step in the variance, in units of what it is, takes all of it."""
        turn = np.ones(free.sum())
        turn[-1] = self._power
        slope = point[1][free] * turn
        bend = point[2][np.ix_(free, free)] * np.outer(turn, turn)
        bend[-1, -1] -= slope[-1]
        return bool(np.isfinite(bend).all() and uphill(slope, bend)[-1] <= -1.0)

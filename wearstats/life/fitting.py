"""Newton's method with the analytic Hessian, for one likelihood or a batch of them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import NotConvergedError
from wearstats.life.distributions import Jet, Law
from wearstats.life.likelihood import Sample, derivatives

_ROUNDING = 1e-12
"""Relative fall of the objective that is put down to rounding."""

_DECREMENT = 1e-18
"""Newton decrement (squared distance to the maximum in standard errors) at which to stop."""


@dataclass(frozen=True, slots=True, eq=False)
class Ascent:
    """Where Newton's method ended, one entry a member of the batch.

    Parameters
    ----------
    theta : ndarray, shape (..., p)
    value : ndarray, shape (...,)
    gradient : ndarray, shape (..., p)
    hessian : ndarray, shape (..., p, p)
    converged : ndarray of bool, shape (...,)
        Within 1e-9 standard errors of a stationary point.
    """

    theta: FloatArray
    value: FloatArray
    gradient: FloatArray
    hessian: FloatArray
    converged: BoolArray


def ascend(
    objective: Callable[[FloatArray], Jet],
    start: FloatArray,
    *,
    longest_step: float = 2.0,
    most_steps: int = 200,
) -> Ascent:
    """Climb to a maximum of each member of a batch.

    Parameters
    ----------
    objective : function
        theta (..., p) to value (...,), gradient (..., p), Hessian (..., p, p).
    start : ndarray, shape (..., p)
    longest_step : float
        No component moves further in one step than this times (1 + a quarter of its size).
    most_steps : int

    Returns
    -------
    Ascent
        `converged` is False where the steps ran out; the caller decides what that means.

    Notes
    -----
    Where the Hessian is not negative definite its eigenvalues are turned round, so that every
    step climbs; a step that does not climb is halved. One evaluation a step for the whole batch.
    """
    theta = np.array(start, dtype=np.float64)
    value, gradient, hessian = objective(theta)
    step, decrement = _newton(gradient, hessian, longest_step * (1.0 + np.abs(theta) / 4))
    done = decrement <= _DECREMENT
    for _ in range(most_steps):
        if done.all():
            break
        proposal = theta + np.where(done[..., None], 0.0, step)
        new_value, new_gradient, new_hessian = objective(proposal)
        climbs = (new_value >= value - _ROUNDING * (1.0 + np.abs(value))) & ~done
        theta = np.where(climbs[..., None], proposal, theta)
        value = np.where(climbs, new_value, value)
        gradient = np.where(climbs[..., None], new_gradient, gradient)
        hessian = np.where(climbs[..., None, None], new_hessian, hessian)
        new_step, new_decrement = _newton(
            gradient, hessian, longest_step * (1.0 + np.abs(theta) / 4)
        )
        stuck = ~climbs & ~done & (np.abs(step).max(axis=-1) < 1e-14)  # noqa: PLR2004
        step = np.where(climbs[..., None], new_step, step / 2)
        decrement = np.where(climbs, new_decrement, decrement)
        done = done | (decrement <= _DECREMENT) | stuck
    return Ascent(theta, value, gradient, hessian, decrement <= _DECREMENT * 1e4)


def uphill(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Return Newton's step, (..., p), eigenvalues of the Hessian turned round where it must be."""
    if gradient.shape[-1] == 1:
        return gradient / np.maximum(np.abs(hessian[..., 0]), 1e-300)
    curvatures, directions = np.linalg.eigh(hessian)
    floor = np.abs(curvatures).max(axis=-1, keepdims=True) * 1e-14 + 1e-300
    along = (gradient[..., None, :] @ directions)[..., 0, :]
    step: FloatArray = directions @ (along / np.maximum(np.abs(curvatures), floor))[..., None]
    return step[..., 0]


def _newton(
    gradient: FloatArray, hessian: FloatArray, longest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return an uphill step and the Newton decrement."""
    step = uphill(gradient, hessian)
    decrement = np.sum(gradient * step, axis=-1)
    excess = (np.abs(step) / longest).max(axis=-1, keepdims=True)
    return step / np.maximum(excess, 1.0), decrement


def maximise(law: Law, sample: Sample) -> Ascent:
    """Fit intercept and slope (intercept alone where the law fixes the slope).

    Returns
    -------
    Ascent
        theta = (intercept, log slope) in the sample's scaled log age, shape (2,); gradient and
        Hessian of the free parameters only.

    Raises
    ------
    NotConvergedError
        Newton's method did not come to rest; whether a finite maximum exists is for
        `wearstats.life.existence` to say, before.
    """
    start = starting_point(law, sample)
    free = slice(0, 1) if law.fixed_slope is not None else slice(0, 2)

    def objective(part: FloatArray) -> Jet:
        theta = part if free.stop == start.size else np.concatenate([part, start[1:]])
        value, gradient, hessian = derivatives(law, sample, theta)
        return value, gradient[free], hessian[free, free]

    best = ascend(objective, start[free])
    theta = best.theta if free.stop == start.size else np.concatenate([best.theta, start[1:]])
    if not bool(best.converged):
        message = "the fit did not come to rest at a maximum"
        raise NotConvergedError(message, last=theta.tolist())
    return Ascent(theta, best.value, best.gradient, best.hessian, best.converged)


def starting_point(law: Law, sample: Sample) -> FloatArray:
    """Return a rough theta, shape (2,), from the middles of the intervals.

    The slope is that of a Weibull law with the spread of the failed lives' log ages (sd of
    log life = 1.28/slope), the intercept the closed-form maximum for that slope.
    """
    middles = np.concatenate(
        [
            sample.early - np.log(2.0),
            np.log((np.exp(sample.between_lower) + np.exp(sample.between_upper)) / 2),
            sample.exact,
        ]
    )
    weights = np.concatenate([sample.early_weight, sample.between_weight, sample.exact_weight])
    slope = law.fixed_slope
    if slope is None:
        spread = 0.0
        if middles.size:
            centre = np.average(middles, weights=weights)
            spread = float(np.sqrt(np.average((middles - centre) ** 2, weights=weights)))
        slope = float(np.clip(1.28 / max(spread, 0.1), 0.2, 20.0))
    reached = np.concatenate([sample.passed, middles])
    signed = np.concatenate([sample.passed_weight, weights])
    seen = signed @ np.exp(slope * reached)
    intercept = np.log(max(sample.failures, 0.5) / max(float(seen), 1e-12))
    return np.array([intercept, np.log(slope)])

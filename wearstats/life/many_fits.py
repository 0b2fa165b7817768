"""Newton's method for many sets of lives at once; sets at rest leave the next evaluation."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.life.axes import Axis
from wearstats.life.distributions import Jet, Law
from wearstats.life.many import Many, derivatives

_AT_REST = 1e-9
"""Newton decrement (squared standard errors) at which a set is left with one last step."""

_VALUE_AT_REST = 1e-6
"""The same where only the height of the top is asked for: the last step leaves 1e-9 of it open."""

_STUCK = 1e-10

Objective: TypeAlias = Callable[[IntArray, FloatArray], Jet]
"""Which sets, and their points (k, p), to value (k,), gradient (k, p) and Hessian (k, p, p)."""


@dataclass(frozen=True, slots=True, eq=False)
class Climb:
    """Where Newton's method ended: points (b, p), values (b,), and whether they are maxima."""

    theta: FloatArray
    value: FloatArray
    converged: BoolArray


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def climb(
    objective: Objective, start: FloatArray, *, most_steps: int = 100, at_rest: float = _AT_REST
) -> Climb:
    """Climb to a maximum of each set.

    Parameters
    ----------
    objective : function
    start : ndarray, shape (b, p), p = 1 or 2
    most_steps : int
    at_rest : float
        Newton decrement at which a set is left with one last step.
    """
    theta = np.array(start, dtype=np.float64)
    value = np.full(len(theta), -np.inf)
    converged = np.zeros(len(theta), dtype=np.bool_)
    going = np.arange(len(theta))
    here, jet = theta.copy(), objective(going, theta)
    height = jet[0]
    step, decrement = _step(jet[1], jet[2], here)
    for _ in range(most_steps):
        rest = decrement <= at_rest
        stop = rest | ~(np.abs(step).max(axis=1) > _STUCK)
        if stop.any():
            leaving = going[stop]
            theta[leaving] = here[stop] + np.where(rest[stop, None], step[stop], 0.0)
            value[leaving] = height[stop] + np.where(rest[stop], decrement[stop] / 2, 0.0)
            converged[leaving] = decrement[stop] <= _AT_REST * 1e3
            stay = ~stop
            going, here, height = going[stay], here[stay], height[stay]
            step, decrement = step[stay], decrement[stay]
        if not going.size:
            break
        ahead = here + step
        jet = objective(going, ahead)
        climbs = jet[0] >= height - 1e-12 * (1.0 + np.abs(height))
        new_step, new_decrement = _step(jet[1], jet[2], ahead)
        here = np.where(climbs[:, None], ahead, here)
        height = np.where(climbs, jet[0], height)
        step = np.where(climbs[:, None], new_step, step / 2)
        decrement = np.where(climbs, new_decrement, decrement)
    theta[going], value[going] = here, height
    return Climb(theta, value, converged)


def _step(
    gradient: FloatArray, hessian: FloatArray, theta: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return an uphill step and the Newton decrement."""
    gradient, hessian = np.nan_to_num(gradient), np.nan_to_num(hessian)
    if gradient.shape[1] == 1:
        step = gradient / np.maximum(np.abs(hessian[:, 0]), 1e-300)
    else:
        step = _solved(gradient, hessian)
    decrement = np.sum(gradient * step, axis=1)
    longest = 1.0 + np.abs(theta) / 4
    excess = (np.abs(step) / longest).max(axis=1, keepdims=True)
    return step / np.maximum(excess, 1.0), decrement


def _solved(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Solve the 2 by 2 Newton equations, shifted where the Hessian is not negative definite."""
    a, b, c = hessian[:, 0, 0], hessian[:, 0, 1], hessian[:, 1, 1]
    middle, half = (a + c) / 2, np.hypot((a - c) / 2, b)
    top, size = middle + half, np.abs(middle) + half + 1e-300
    shift = np.where(top < -1e-13 * size, 0.0, top + np.maximum(np.abs(top), 1e-8 * size))
    a, c = a - shift, c - shift
    whole = a * c - b * b
    return np.stack(
        [
            (b * gradient[:, 1] - c * gradient[:, 0]) / whole,
            (b * gradient[:, 0] - a * gradient[:, 1]) / whole,
        ],
        axis=1,
    )


def maximise(law: Law, many: Many, start: FloatArray) -> Climb:
    """Fit every set, from one point or one a set; intercept alone where the slope is fixed."""
    first = np.broadcast_to(start, (len(many), 2))
    taken = _taker(many)
    if law.fixed_slope is None:
        return climb(lambda sets, theta: derivatives(law, taken(sets), theta), first)
    held = first[:, 1]

    def objective(sets: IntArray, part: FloatArray) -> Jet:
        theta = np.stack([part[:, 0], held[sets]], axis=1)
        value, gradient, hessian = derivatives(law, taken(sets), theta)
        return value, gradient[:, :1], hessian[:, :1, :1]

    found = climb(objective, first[:, :1])
    theta = np.stack([found.theta[:, 0], held], axis=1)
    return Climb(theta, found.value, found.converged)


def profile(law: Law, many: Many, axis: Axis, c: FloatArray, free: FloatArray) -> Climb:
    """Fit every set with one quantity held; points are those of the free parameter, (b, 1).

    Parameters
    ----------
    law : Law
        With a free slope.
    many : Many
    axis : Axis
        Of one quantity.
    c : ndarray, shape (b,)
        The value to hold it at.
    free : ndarray, shape (b,)
        Where to start.
    """
    taken = _taker(many)

    def objective(sets: IntArray, part: FloatArray) -> Jet:
        held = np.maximum(part[:, 0], axis.least_free)
        curve = axis.curve(c[sets], held)
        theta = np.nan_to_num(curve.theta)
        value, gradient, hessian = derivatives(law, taken(sets), theta)
        reached = np.isfinite(curve.theta).all(axis=1)
        turned = np.einsum("bij,bj->bi", hessian, curve.by_free)
        first = np.sum(gradient * curve.by_free, axis=1)
        second = np.sum(curve.by_free * turned + gradient * curve.by_free_twice, axis=1)
        loose = part[:, 0] >= axis.least_free
        value = np.where(reached, value, -np.inf)
        return value, (first * loose)[:, None], (second * loose)[:, None, None]

    return climb(objective, free[:, None], at_rest=_VALUE_AT_REST)


def _taker(many: Many) -> Callable[[IntArray], Many]:
    """Return a function that takes sets out, and remembers the last it took."""
    last = [(len(many), many)]

    def taken(sets: IntArray) -> Many:
        if len(sets) != last[0][0]:
            last[0] = (len(sets), many.take(sets))
        return last[0][1]

    return taken

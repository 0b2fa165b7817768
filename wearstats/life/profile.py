"""Profile-likelihood intervals for any quantity, many quantities at once.

A quantity is an `Axis`: a coordinate c (log age, log shape, z, ...) and the curve of
parameters on which c keeps its value. Along the curve the likelihood is maximised, which gives
the profile; the interval ends where twice its fall reaches the critical value. Bracketed
Newton steps on the signed root of the fall find the ends, all quantities and both sides in one
batch. Where the profile never falls that far, that side has no end. Mostly no bracket is needed:
Newton steps in both parameters at once lead there (Venzon & Moolgavkar 1988, Applied Statistics
37:87-94; from memory).
"""

from collections.abc import Callable
from functools import partial
from typing import TypeAlias

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError
from wearstats.life.axes import Axis, Curve
from wearstats.life.distributions import Jet, Law
from wearstats.life.ends import SPAN, Ends
from wearstats.life.fitting import Ascent, ascend
from wearstats.life.likelihood import Sample, derivatives

_MOST_STRAIGHT = 12
_NEAR = 1e-5
"""Of a standard error: so near its end Newton's method is left with one last step."""


class _Along:
    """The likelihood along the curves of an axis; knows its last answer, as places come twice."""

    def __init__(self, law: Law, sample: Sample, axis: Axis) -> None:
        self.axis = axis
        self._likelihood = partial(derivatives, law, sample)
        self._last: tuple[FloatArray, FloatArray, _Slopes] | None = None

    def at(self, c: FloatArray, free: FloatArray) -> "_Slopes":
        """Return the jet in the free parameter, the slope in c, and the mixed derivative."""
        last = self._last
        if last is None or not (np.array_equal(last[0], c) and np.array_equal(last[1], free)):
            last = self._last = c, free, self._found(self.axis.curve(c, free))
        return last[2]

    def value(self, c: FloatArray, free: FloatArray) -> FloatArray:
        """Return the log likelihood."""
        return self.at(c, free)[0][0]

    def _found(self, curve: Curve) -> "_Slopes":
        value, gradient, hessian = self._likelihood(curve.theta)
        turned = (hessian @ curve.by_free[..., None])[..., 0]
        first = np.sum(gradient * curve.by_free, axis=-1)
        second = np.sum(curve.by_free * turned + gradient * curve.by_free_twice, axis=-1)
        in_c = np.sum(gradient * curve.by_c, axis=-1)
        mixed = np.sum(turned * curve.by_c + gradient * curve.by_both, axis=-1)
        value = np.where(np.isnan(value), -np.inf, value)
        return (value, np.nan_to_num(first), np.nan_to_num(second)), in_c, mixed


_Slopes: TypeAlias = tuple[Jet, FloatArray, FloatArray]


def profile_at(law: Law, sample: Sample, axis: Axis, c: FloatArray, free: FloatArray) -> Ascent:
    """Maximise the likelihood with the quantities held at c.

    Parameters
    ----------
    law : Law
    sample : Sample
    axis : Axis
    c, free : ndarray, shape (..., k)
        Values to hold, and where to start the free parameter.

    Returns
    -------
    Ascent
        theta of shape (..., k, 1) is the free parameter; `value` is the profile.
    """
    return _held(_Along(law, sample, axis), c, free)


def _held(along: _Along, c: FloatArray, free: FloatArray) -> Ascent:
    axis = along.axis

    def objective(part: FloatArray) -> Jet:
        held = np.maximum(part[..., 0], axis.least_free)
        jet, _, _ = along.at(c, held)
        loose = part[..., 0] >= axis.least_free
        return jet[0], (jet[1] * loose)[..., None], (jet[2] * loose)[..., None, None]

    return ascend(objective, free[..., None], longest_step=1.0, most_steps=80)


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def profile_ends(
    law: Law,
    sample: Sample,
    best: FloatArray,
    axis: Axis,
    critical: float | FloatArray,
    *,
    bounded: tuple[bool, bool] = (True, True),
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the ends of the profile-likelihood intervals of a batch of quantities.

    Parameters
    ----------
    law : Law
        With a free slope.
    sample : Sample
    best : ndarray, shape (2,)
        theta at the maximum.
    axis : Axis
    critical : float or ndarray, shape (k,)
        Twice the fall of the log likelihood at the ends (2.7055 for 90 % by chi-square).
    bounded : (bool, bool)
        False where it is known that the profile never falls so far below, or above.

    Returns
    -------
    centre, low, high : ndarray, shape (k,)
        On the axis; -inf or inf where the profile never falls that far.

    Raises
    ------
    NotConvergedError
        An end exists and was not found.
    """
    target = np.sqrt(np.asarray(critical, dtype=np.float64))
    sign = np.array([[-1.0], [1.0]])
    centre, free = axis.coordinates(best)
    top, spread, drift = _at_centre(law, sample, axis, centre, free)
    ends = Ends(centre, sign, target, SPAN * np.maximum(1.0, spread))
    ends.unbounded |= ~np.array(bounded)[:, None]
    c = centre + sign * target * spread
    known = np.broadcast_to(free, c.shape)
    lean = np.broadcast_to(drift, c.shape)
    guess = known + _within((c - centre) * lean, 2.0 + np.abs(known))
    along = _Along(law, sample, axis)
    if all(bounded):
        straight = _straight(along, ends, (c, guess), top, spread)
        if straight is not None:
            return centre, straight[0], straight[1]
    for _ in range(100):
        guess = _within_reach(partial(along.value, c), guess, known)
        found = _held(along, c, guess)
        free = np.maximum(found.theta[..., 0], axis.least_free)
        jet, in_c, mixed = along.at(c, free)
        fall = np.sqrt(2.0 * np.maximum(top - jet[0], 0.0))
        ahead = ends.take(c, fall, in_c)
        if ends.done:
            break
        # The free parameter is foretold from the last point inside: beyond the end, and where
        # the likelihood is no longer finite, it may have gone anywhere.
        inside = fall < target
        slope = np.nan_to_num(-mixed / jet[2], nan=0.0, posinf=0.0, neginf=0.0)
        known = np.where(inside, np.maximum(free, axis.least_free + 1.0), known)
        lean = np.where(inside, slope, lean)
        guess = known + _within((ahead - ends.inner) * lean, 2.0 + np.abs(known))
        guess = np.where(ends.settled | ends.unbounded, found.theta[..., 0], guess)
        guess = np.where(ends.settled, guess, np.maximum(guess, axis.least_free + 1.0))
        c = ahead
    else:
        message = "the end of a profile-likelihood interval was not found"
        raise NotConvergedError(message, last=best.tolist())
    found_at = np.where(ends.unbounded, sign * np.inf, c)
    return centre, found_at[0], found_at[1]


def _straight(
    along: _Along,
    ends: Ends,
    start: tuple[FloatArray, FloatArray],
    top: FloatArray,
    spread: FloatArray,
) -> FloatArray | None:
    """Return all ends by Newton's method on both conditions at once; None where one fails.

    At an end the likelihood has fallen as far as it may, and is flat in the free parameter.
    """
    c, free = start
    target = np.broadcast_to(ends.target, c.shape)
    for _ in range(_MOST_STRAIGHT):
        (value, first, second), in_c, mixed = along.at(c, free)
        missing = top - target**2 / 2 - value
        whole = in_c * second - first * mixed
        by_c = (missing * second + first**2) / whole
        by_free = -(in_c * first + mixed * missing) / whole
        near = np.abs(missing) < _NEAR * target * (1 + target)
        near &= first**2 < _NEAR**2 * np.abs(second)
        c = c + _within(by_c, 2.0 * spread)
        free = free + _within(by_free, 2.0 + np.abs(free))
        if not (np.isfinite(c).all() and (free > along.axis.least_free).all()):
            return None
        if near.all():
            out = ends.sign * (c - ends.centre)
            fine = (second < 0) & (ends.sign * in_c < 0) & (out > 0) & (out < ends.span)
            return c if fine.all() else None
    return None


def _within_reach(
    value: Callable[[FloatArray], FloatArray], guess: FloatArray, known: FloatArray
) -> FloatArray:
    """Replace starting points at which the quantity cannot have its value."""
    missing = np.isneginf(value(guess))
    for move in (0.0, 0.5, 1.0, 2.0, -1.0):
        if not missing.any():
            break
        trial = np.where(missing, known + move, guess)
        found = missing & ~np.isneginf(value(trial))
        guess = np.where(found, trial, guess)
        missing &= ~found
    return guess


def _within(step: FloatArray, most: FloatArray) -> FloatArray:
    return np.clip(step, -most, most)


def _at_centre(
    law: Law, sample: Sample, axis: Axis, centre: FloatArray, free: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the log likelihood at its top, standard errors in c, and d free/d c there."""
    curve = axis.curve(centre, free)
    _, _, hessian = derivatives(law, sample, curve.theta)
    turn = np.stack([curve.by_c, curve.by_free], axis=-1)
    information = -np.swapaxes(turn, -1, -2) @ hessian @ turn
    try:
        covariance = np.linalg.inv(information)
    except np.linalg.LinAlgError as singular:
        # Far in the tail of a loglogistic law a chance depends on the slope alone.
        message = "the likelihood does not give this chance an interval; the Bayesian fit does"
        raise NotConvergedError(message, last=centre.tolist()) from singular
    top = derivatives(law, sample, curve.theta)[0]
    return top, np.sqrt(covariance[:, 0, 0]), covariance[:, 0, 1] / covariance[:, 0, 0]


def intercept_ends(
    law: Law, sample: Sample, best: FloatArray, critical: float
) -> tuple[float, float]:
    """Return the likelihood interval of the intercept where the slope is fixed.

    Every quantity of such a law is monotone in the intercept, so its interval follows.
    """
    target = float(np.sqrt(critical))
    value, _, hessian = derivatives(law, sample, best)
    spread = float(1.0 / np.sqrt(-hessian[0, 0]))

    def fall(intercept: float) -> tuple[float, float]:
        jet = derivatives(law, sample, np.array([intercept, best[1]]))
        return float(value - jet[0]) * 2.0 - critical, -2.0 * float(jet[1][0])

    ends = []
    for sign in (-1.0, 1.0):
        inner = outer = float(best[0])
        step = target * spread
        while fall(outer)[0] < 0:
            inner, outer, step = outer, outer + sign * step, step * 2
        here = outer
        for _ in range(200):
            excess, slope = fall(here)
            inner, outer = (here, outer) if excess < 0 else (inner, here)
            ahead = here - excess / slope
            if not min(inner, outer) <= ahead <= max(inner, outer):
                ahead = (inner + outer) / 2
            if abs(ahead - here) < 1e-14 * (1 + abs(here)):
                break
            here = ahead
        ends.append(here)
    return ends[0], ends[1]

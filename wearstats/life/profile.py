"""Profile-likelihood intervals for any quantity, many quantities at once.

A quantity is an `Axis`: a coordinate c (log age, log shape, z, ...) and the curve of
parameters on which c keeps its value. Along the curve the likelihood is maximised, which gives
the profile; the interval ends where twice its fall reaches the critical value. Bracketed
Newton steps on the signed root of the fall find the ends, all quantities and both sides in one
batch. Where the profile never falls that far, that side has no end.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError
from wearstats.life.distributions import Jet, Law
from wearstats.life.fitting import Ascent, ascend
from wearstats.life.likelihood import Sample, derivatives, log1mexp

_SPAN = 12.0
"""How far from the estimate an end is sought, in units of the axis (a log, so a factor of
160 000) and in standard errors, before that side counts as unbounded. Further out a cumulative
hazard past entry is the small difference of numbers too large for it."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Parameters theta (..., 2) as a function of (c, free), with derivatives of that shape."""

    theta: FloatArray
    by_free: FloatArray
    by_free_twice: FloatArray
    by_c: FloatArray
    by_both: FloatArray


class Axis(Protocol):
    """A batch of quantities of one kind."""

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return c and the free parameter at theta, shape (2,), each of shape (k,)."""
        ...

    def curve(self, c: FloatArray, free: FloatArray) -> Curve:
        """Return the parameters at (c, free), each of shape (..., k)."""
        ...


def _pair(intercept: FloatArray, log_slope: FloatArray) -> FloatArray:
    return np.stack(np.broadcast_arrays(intercept, log_slope), axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class ShapeAxis:
    """c = log slope; intercept/(1 + slope) is free.

    That is the intercept where the slope is small and minus the log age the lives gather
    about where it is large: what stays put as the slope runs.
    """

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        return theta[1:], theta[:1] / (1.0 + np.exp(theta[1]))

    def curve(self, c: FloatArray, free: FloatArray) -> Curve:
        """See `Axis`."""
        slope = np.exp(c)
        zero, one = np.zeros_like(c), np.ones_like(c)
        return Curve(
            _pair(free * (1.0 + slope), c),
            _pair(1.0 + slope, zero),
            _pair(zero, zero),
            _pair(free * slope, one),
            _pair(slope, zero),
        )


@dataclass(frozen=True, slots=True, eq=False)
class AgeAxis:
    """c = log age at which the law's z is reached; the log slope is free.

    Parameters
    ----------
    z : ndarray, shape (k,)
        Quantiles of the law (0 for its scale).
    """

    z: FloatArray

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        return (self.z - theta[0]) / np.exp(theta[1]), np.full(self.z.shape, theta[1])

    def curve(self, c: FloatArray, free: FloatArray) -> Curve:
        """See `Axis`."""
        slope = np.exp(free)
        zero, one = np.zeros_like(c), np.ones_like(c)
        bend = _pair(-slope * c, zero)
        by_c = _pair(-slope, zero)
        return Curve(_pair(self.z - slope * c, free), _pair(-slope * c, one), bend, by_c, by_c)


@dataclass(frozen=True, slots=True, eq=False)
class SurvivalAxis:
    """c = z at an age; the log slope is free.

    Parameters
    ----------
    log_age : ndarray, shape (k,)
        In the sample's scaled log age.
    """

    log_age: FloatArray

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        z = theta[0] + np.exp(theta[1]) * self.log_age
        return z, np.full(self.log_age.shape, theta[1])

    def curve(self, c: FloatArray, free: FloatArray) -> Curve:
        """See `Axis`."""
        drift = np.exp(free) * self.log_age
        zero, one = np.zeros_like(c), np.ones_like(c)
        none = _pair(zero, zero)
        theta = _pair(c - drift, free)
        return Curve(theta, _pair(-drift, one), _pair(-drift, zero), _pair(one, zero), none)


@dataclass(frozen=True, slots=True, eq=False)
class ChanceAxis:
    """c = log of the cumulative hazard between two ages; the log slope is free.

    Parameters
    ----------
    law : Law
    first, second : ndarray, shape (k,)
        Scaled log ages, first below second.
    """

    law: Law
    first: FloatArray
    second: FloatArray

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        free = np.full(self.first.shape, theta[1])
        return self._added(np.full(self.first.shape, theta[0]), free)[0], free

    def _added(self, intercept: FloatArray, log_slope: FloatArray) -> Jet:
        """Return c with gradient (..., k, 2) and Hessian (..., k, 2, 2) in theta."""
        slope = np.exp(log_slope)
        drift = [slope * self.first, slope * self.second]
        low, low1, low2 = self.law.log_hazard(intercept + drift[0])
        high, high1, high2 = self.law.log_hazard(intercept + drift[1])
        gap = high - low
        ratio = 1.0 / np.expm1(np.minimum(gap, 700.0))
        by_low = _pair(np.ones_like(drift[0]), drift[0])
        by_high = _pair(np.ones_like(drift[1]), drift[1])
        widening = high1[..., None] * by_high - low1[..., None] * by_low
        step = high1[..., None] * by_high + ratio[..., None] * widening
        hessian = (
            _square((1 + ratio) * high2, by_high)
            - _square(ratio * low2, by_low)
            - _square(ratio * (1 + ratio), widening)
        )
        hessian[..., 1, 1] += (1 + ratio) * high1 * drift[1] - ratio * low1 * drift[0]
        return high + log1mexp(gap), step, hessian

    def curve(self, c: FloatArray, free: FloatArray) -> Curve:
        """See `Axis`; the intercept is found by Newton's method, c being increasing in it."""
        slope = np.exp(free)
        intercept = c - slope * self.second - log1mexp(slope * (self.second - self.first))
        for _ in range(100):
            value, gradient, _ = self._added(intercept, free)
            step = np.clip((c - value) / gradient[..., 0], -4.0, 4.0)
            intercept = intercept + step
            if np.abs(step).max() < 1e-13 * (1 + np.abs(intercept).max()):
                break
        value, gradient, hessian = self._added(intercept, free)
        reached = np.abs(value - c) < 1e-8 * (1 + np.abs(c))
        intercept = np.where(reached, intercept, np.nan)
        first = -gradient[..., 1] / gradient[..., 0]
        by_c = 1.0 / gradient[..., 0]
        mixed = hessian[..., 0, 1] + hessian[..., 0, 0] * first
        twice = -(hessian[..., 1, 1] + hessian[..., 0, 1] * first + mixed * first) * by_c
        zero, one = np.zeros_like(c), np.ones_like(c)
        return Curve(
            _pair(intercept, free),
            _pair(first, one),
            _pair(twice, zero),
            _pair(by_c, zero),
            _pair(-mixed * by_c**2, zero),
        )


def _square(weight: FloatArray, vector: FloatArray) -> FloatArray:
    return weight[..., None, None] * vector[..., :, None] * vector[..., None, :]


def _along(law: Law, sample: Sample, curve: Curve) -> tuple[Jet, FloatArray, FloatArray]:
    """Return the likelihood's jet in the free parameter, its slope in c, and the mixed one."""
    value, gradient, hessian = derivatives(law, sample, curve.theta)
    turned = (hessian @ curve.by_free[..., None])[..., 0]
    first = np.sum(gradient * curve.by_free, axis=-1)
    second = np.sum(curve.by_free * turned + gradient * curve.by_free_twice, axis=-1)
    in_c = np.sum(gradient * curve.by_c, axis=-1)
    mixed = np.sum(turned * curve.by_c + gradient * curve.by_both, axis=-1)
    value = np.where(np.isnan(value), -np.inf, value)
    return (value, np.nan_to_num(first), np.nan_to_num(second)), in_c, mixed


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

    def objective(free: FloatArray) -> Jet:
        jet, _, _ = _along(law, sample, axis.curve(c, free[..., 0]))
        return jet[0], jet[1][..., None], jet[2][..., None, None]

    return ascend(objective, free[..., None], longest_step=1.0, most_steps=80)


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def profile_ends(
    law: Law,
    sample: Sample,
    best: FloatArray,
    axis: Axis,
    critical: float,
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
    critical : float
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
    target = float(np.sqrt(critical))
    sign = np.array([[-1.0], [1.0]])
    centre, free = axis.coordinates(best)
    top, spread, drift = _at_centre(law, sample, axis, centre, free)
    span = _SPAN * np.maximum(1.0, spread)
    inner = np.broadcast_to(centre, (2, centre.size)).copy()
    outer = np.full_like(inner, np.inf) * sign
    c = centre + sign * target * spread
    known = np.broadcast_to(free, c.shape)
    lean = np.broadcast_to(drift, c.shape)
    guess = known + _within((c - centre) * lean, 2.0 + np.abs(known))
    settled = np.zeros(c.shape, dtype=np.bool_)
    unbounded = np.broadcast_to(~np.array(bounded)[:, None], c.shape).copy()
    for _ in range(100):
        found = profile_at(law, sample, axis, c, guess)
        jet, in_c, mixed = _along(law, sample, axis.curve(c, found.theta[..., 0]))
        fall = np.sqrt(2.0 * np.maximum(top - jet[0], 0.0))
        settled |= np.abs(fall - target) < 1e-9 * (1 + target)
        inside = fall < target
        inner, outer = np.where(inside, c, inner), np.where(inside, outer, c)
        open_ended = ~np.isfinite(outer)
        unbounded |= open_ended & (np.abs(c - centre) >= span)
        if (settled | unbounded).all():
            break
        step = np.abs((target - fall) * fall / in_c) * np.where(inside, sign, -sign)
        reach = np.abs(c - centre)
        wider = c + sign * np.clip(np.nan_to_num(np.abs(step), nan=np.inf), reach / 4, 2 * reach)
        nearer = c + step
        between = (nearer - inner) * (nearer - outer) < 0
        nearer = np.where(between, nearer, (inner + np.where(open_ended, inner, outer)) / 2)
        ahead = np.where(open_ended, wider, nearer)
        ahead = np.where(settled | unbounded, c, ahead)
        # The free parameter is foretold from the last point inside: beyond the end, and where
        # the likelihood is no longer finite, it may have gone anywhere.
        slope = np.nan_to_num(-mixed / jet[2], nan=0.0, posinf=0.0, neginf=0.0)
        known = np.where(inside, found.theta[..., 0], known)
        lean = np.where(inside, slope, lean)
        guess = known + _within((ahead - inner) * lean, 2.0 + np.abs(known))
        guess = np.where(settled | unbounded, found.theta[..., 0], guess)
        c = ahead
    else:
        message = "the end of a profile-likelihood interval was not found"
        raise NotConvergedError(message, last=best.tolist())
    ends = np.where(unbounded, sign * np.inf, c)
    return centre, ends[0], ends[1]


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
    covariance = np.linalg.inv(information)
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

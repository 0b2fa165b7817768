"""The quantities a profile is taken along: a coordinate, and the curve that keeps it fixed."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.life.distributions import Jet, Law
from wearstats.life.likelihood import log1mexp


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Parameters theta (..., 2) as a function of (c, free), with derivatives of that shape."""

    theta: FloatArray
    by_free: FloatArray
    by_free_twice: FloatArray
    by_c: FloatArray
    by_both: FloatArray


_LEAST_LOG_SLOPE = -12.0
"""Where the profile runs towards a slope of zero it is stopped here: there the power-law limit
is reached to 1e-5, and beyond it cumulative hazards past entry drown in rounding."""


class Axis(Protocol):
    """A batch of quantities of one kind."""

    @property
    def least_free(self) -> float:
        """Where the free parameter is stopped."""
        ...

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return c and the free parameter at theta, shape (..., 2), each of shape (..., k)."""
        ...

    def curve(self, c: FloatArray, free: FloatArray) -> Curve:
        """Return the parameters at (c, free), each of shape (..., k)."""
        ...


def _alike(free: FloatArray, c: FloatArray) -> FloatArray:
    return np.broadcast_to(free, c.shape).copy()


def _pair(intercept: FloatArray, log_slope: FloatArray) -> FloatArray:
    return np.stack(np.broadcast_arrays(intercept, log_slope), axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class ShapeAxis:
    """c = log slope; intercept/(1 + slope) is free.

    That is the intercept where the slope is small and minus the log age the lives gather
    about where it is large: what stays put as the slope runs.
    """

    @property
    def least_free(self) -> float:
        """See `Axis`."""
        return -np.inf

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        return theta[..., 1:], theta[..., :1] / (1.0 + np.exp(theta[..., 1:]))

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

    @property
    def least_free(self) -> float:
        """See `Axis`."""
        return _LEAST_LOG_SLOPE

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        c = (self.z - theta[..., :1]) / np.exp(theta[..., 1:])
        return c, _alike(theta[..., 1:], c)

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

    @property
    def least_free(self) -> float:
        """See `Axis`."""
        return _LEAST_LOG_SLOPE

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        z = theta[..., :1] + np.exp(theta[..., 1:]) * self.log_age
        return z, _alike(theta[..., 1:], z)

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

    @property
    def least_free(self) -> float:
        """See `Axis`."""
        return _LEAST_LOG_SLOPE

    def coordinates(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Axis`."""
        c = self._added(theta[..., :1], theta[..., 1:])[0]
        return c, _alike(theta[..., 1:], c)

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
        for _ in range(60):
            value, gradient, _ = self._added(intercept, free)
            rises = gradient[..., 0] > 1e-9  # noqa: PLR2004 - else c is out of the law's reach
            step = np.where(rises, (c - value) / np.where(rises, gradient[..., 0], 1.0), 0.0)
            intercept = intercept + np.clip(step, -4.0, 4.0)
            if not (np.abs(step) > 1e-13 * (1 + np.abs(intercept))).any():
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

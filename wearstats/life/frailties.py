"""Unit frailties, and the nodes at which they are summed out.

A unit's hazard is z times that of another with the same covariates. The likelihood is an
integral over w = log z. Its integrand is log-concave and analytic, so the trapezoid rule on
w = mode + width (x - exp(-x) + 1)/2 converges exponentially: the width is that of the peak of
each unit's own integrand, the map shortens the long left tail of a gamma law (Takahasi & Mori
1974, Publ. RIMS 9:721-741, for integrals of this kind; from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

import numpy as np
from scipy import special

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import UsageError
from wearstats.life.distributions import Jet

FrailtyName: TypeAlias = Literal["none", "gamma", "lognormal"]
FRAILTIES: tuple[FrailtyName, ...] = ("none", "gamma", "lognormal")

NODES = 96
"""Nodes a unit. The tests hold the log likelihood to 1e-9 from a variance of 1e-6 to 10."""

_FALL = 38.0
"""The integrand is followed until its log has fallen by this: exp(-38) is 3e-17."""

_NEAR = 1e-3
"""Of a width: so far the nodes may stand off the peak."""

_OUTWARD = 1.5 ** np.arange(8)
_IN = np.arange(1, 17) / 16

_LARGE = 40.0
"""From here lgamma is replaced by Stirling's series: the difference of large numbers is lost."""


class Frailty(Protocol):
    """What the likelihood asks of a law of w = log z with parameter tau."""

    @property
    def name(self) -> str:
        """As the user writes it."""
        ...

    def log_density(self, w: FloatArray, tau: float) -> Jet:
        """Log density of w with its derivatives in tau."""
        ...

    def height(self, w: FloatArray, tau: float) -> FloatArray:
        """Log density of w less its greatest value."""
        ...

    def pull(self, w: FloatArray, tau: float) -> tuple[FloatArray, FloatArray]:
        """First and second derivative of the log density in w."""
        ...

    def variance(self, tau: float) -> float:
        """Return the variance that is reported."""
        ...

    def tau(self, variance: float) -> float:
        """Return the parameter for this variance."""
        ...


@dataclass(frozen=True, slots=True)
class GammaFrailty:
    """z is gamma with mean 1; tau is the log of its variance."""

    name: str = "gamma"

    def log_density(self, w: FloatArray, tau: float) -> Jet:
        """Return the log density of log z with its derivatives in tau."""
        a = float(np.exp(-tau))
        constant, first, second = _log_gamma_constant(a)
        tail = w - np.expm1(w)
        value = constant + a * tail
        return value, -a * (first + tail), a * (first + tail) + a * a * second

    def height(self, w: FloatArray, tau: float) -> FloatArray:
        """Return the log density less its greatest value."""
        height: FloatArray = float(np.exp(-tau)) * (w - np.expm1(w))
        return height

    def pull(self, w: FloatArray, tau: float) -> tuple[FloatArray, FloatArray]:
        """Return the derivatives in w."""
        a = float(np.exp(-tau))
        return -a * np.expm1(w), -a * np.exp(w)

    def variance(self, tau: float) -> float:
        """Return the variance of z."""
        return float(np.exp(tau))

    def tau(self, variance: float) -> float:
        """Return the log of the variance."""
        return float(np.log(variance))


@dataclass(frozen=True, slots=True)
class LognormalFrailty:
    """log z is normal with mean 0; tau is the log of its standard deviation."""

    name: str = "lognormal"

    def log_density(self, w: FloatArray, tau: float) -> Jet:
        """Return the log density of log z with its derivatives in tau."""
        square = w**2 * float(np.exp(-2 * tau))
        return -0.5 * np.log(2 * np.pi) - tau - square / 2, square - 1.0, -2.0 * square

    def height(self, w: FloatArray, tau: float) -> FloatArray:
        """Return the log density less its greatest value."""
        height: FloatArray = -0.5 * float(np.exp(-2 * tau)) * w**2
        return height

    def pull(self, w: FloatArray, tau: float) -> tuple[FloatArray, FloatArray]:
        """Return the derivatives in w."""
        precision = float(np.exp(-2 * tau))
        return -precision * w, np.full_like(w, -precision)

    def variance(self, tau: float) -> float:
        """Return the variance of log z."""
        return float(np.exp(2 * tau))

    def tau(self, variance: float) -> float:
        """Return the log of the standard deviation."""
        return float(np.log(variance) / 2)


def frailty_named(frailty: str) -> Frailty | None:
    """Return the frailty of this name, None where there is none.

    Raises
    ------
    UsageError
        No such frailty.
    """
    if frailty not in FRAILTIES:
        message = f"no frailty {frailty!r}; there is {', '.join(FRAILTIES)}"
        raise UsageError(message)
    if frailty == "none":
        return None
    return GammaFrailty() if frailty == "gamma" else LognormalFrailty()


def _log_gamma_constant(a: float) -> tuple[float, float, float]:
    """Return a log a - a - lgamma(a) with its derivatives in a."""
    if a < _LARGE:
        value = a * np.log(a) - a - special.gammaln(a)
        first = np.log(a) - special.digamma(a)
        return float(value), float(first), float(1 / a - special.zeta(2.0, a))
    value = 0.5 * np.log(a / (2 * np.pi)) - 1 / (12 * a) + 1 / (360 * a**3) - 1 / (1260 * a**5)
    first = 1 / (2 * a) + 1 / (12 * a**2) - 1 / (120 * a**4) + 1 / (252 * a**6)
    second = -1 / (2 * a**2) - 1 / (6 * a**3) + 1 / (30 * a**5) - 1 / (42 * a**7)
    return float(value), float(first), float(second)


Lean: TypeAlias = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""w, one a unit, to the first two derivatives of the log integrand in w."""

Height: TypeAlias = Callable[[FloatArray], FloatArray]
"""w, shape (units, k), to the log integrand up to a constant of each unit."""


def nodes(
    lean: Lean, height: Height, start: FloatArray, count: int = NODES
) -> tuple[FloatArray, FloatArray]:
    """Place nodes around the peak of each unit's integrand.

    Parameters
    ----------
    lean, height : function
        Of an integrand that is log-concave in w.
    start : ndarray, shape (units,)
        Where to look for the peaks from.
    count : int

    Returns
    -------
    w, log_weight : ndarray, shape (units, count)
    """
    mode, bend = _modes(lean, start)
    width = 1.0 / np.sqrt(-bend)
    top = height(mode[:, None])

    def fall(x: FloatArray) -> FloatArray:
        return top - height(mode[:, None] + width[:, None] * (x - np.expm1(-x)) / 2)

    low, high = _ends(fall, start.size)
    step = (high - low) / (count - 1)
    x = low[:, None] + step[:, None] * np.arange(count)
    falling = np.exp(-x)
    w = mode[:, None] + width[:, None] * (x - falling + 1.0) / 2
    return w, np.log((step * width)[:, None] * (1.0 + falling) / 2)


def _modes(lean: Lean, start: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return where each unit's integrand peaks, near enough, and its second derivative there."""
    w = start
    for _ in range(200):
        slope, bend = lean(w)
        step = np.clip(-slope / bend, -2.0, 2.0)
        if np.all(np.abs(step) * np.sqrt(-bend) < _NEAR):
            break
        w = w + step
    return w, bend


def _ends(fall: Height, units: int) -> tuple[FloatArray, FloatArray]:
    """Return x on both sides where the log integrand has fallen far enough, or a little more."""
    inner, outer = np.zeros((units, 2)), np.tile([-2.0, 2.0], (units, 1))
    for _ in range(6):
        tried = outer[:, :, None] * _OUTWARD
        inner, outer, found = _first_far(fall, inner, tried)
        if found.all():
            break
    inner, outer, _ = _first_far(fall, inner, inner[:, :, None] + (outer - inner)[:, :, None] * _IN)
    return outer[:, 0], outer[:, 1]


def _first_far(
    fall: Height, inner: FloatArray, tried: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the last x tried before the fall is far enough, the first where it is, and if any.

    Parameters
    ----------
    inner : ndarray, shape (units, 2)
        Nearer than all that are tried.
    tried : ndarray, shape (units, 2, k)
        On each side, outwards.
    """
    far = fall(tried.reshape(len(tried), -1)).reshape(tried.shape) >= _FALL
    found: BoolArray = np.any(far, axis=2)
    place = np.where(found, far.argmax(axis=2), tried.shape[2] - 1)[:, :, None]
    outer = np.take_along_axis(tried, place, 2)[:, :, 0]
    before = np.take_along_axis(tried, np.maximum(place - 1, 0), 2)[:, :, 0]
    return np.where(place[:, :, 0] > 0, before, inner), outer, found

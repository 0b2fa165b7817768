"""The laws of strip life, each stated by its hazard and nothing else.

Every law is a location-scale law of log age. With

    z = intercept + slope * log(age),    slope > 0,

a law states the cumulative hazard H(z), log H(z) and the log hazard log dH/dz, each with
its first and second derivative in z; the likelihood needs no more. z is linear in intercept
and slope, so derivatives in the parameters are products, covariates are further terms of the
sum, and without delayed entry the log likelihood is concave (Burridge 1981, J. R. Statist.
Soc. B 43:41-45; from memory). In the form of the books, mu = -intercept/slope, sigma = 1/slope.
"""

from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError

Jet: TypeAlias = tuple[FloatArray, FloatArray, FloatArray]
"""A function of z with its first and second derivative, all of one shape."""

_STEEPEST = 300.0
"""exp(z) is carried on as a parabola from here: the optimiser needs a finite slope to come
back by, and a survival chance of exp(-exp(300)) is zero either way."""


class Law(Protocol):
    """What the likelihood asks of a law of life; z of any shape."""

    @property
    def name(self) -> str:
        """As the user writes it."""
        ...

    @property
    def fixed_slope(self) -> float | None:
        """The slope where the law has no free shape, else None."""
        ...

    def hazard(self, z: FloatArray) -> Jet:
        """Cumulative hazard H."""
        ...

    def log_hazard(self, z: FloatArray) -> Jet:
        """Log of H, exact where H itself is too small for a float."""
        ...

    def log_rate(self, z: FloatArray) -> Jet:
        """Log of dH/dz."""
        ...

    def quantile(self, failed: float) -> float:
        """Value of z by which this share has failed."""
        ...


@dataclass(frozen=True, slots=True)
class Weibull:
    """H = exp(z): a hazard that grows as a power of age.

    Parameters
    ----------
    fixed_slope : float or None
        The shape where it is not fitted; 1 is the exponential law.
    """

    fixed_slope: float | None = None

    @property
    def name(self) -> str:
        """As the user writes it."""
        return "exponential" if self.fixed_slope == 1.0 else "weibull"

    def hazard(self, z: FloatArray) -> Jet:
        """Return exp(z) with its derivatives."""
        if z.max(initial=0.0) <= _STEEPEST:
            base = np.exp(z)
            return base, base, base
        over = np.maximum(z - _STEEPEST, 0.0)
        base = np.exp(np.minimum(z, _STEEPEST))
        return base * (1 + over + over**2 / 2), base * (1 + over), base

    def log_hazard(self, z: FloatArray) -> Jet:
        """Return z with its derivatives."""
        return z, np.ones_like(z), np.zeros_like(z)

    def log_rate(self, z: FloatArray) -> Jet:
        """Return z with its derivatives."""
        return z, np.ones_like(z), np.zeros_like(z)

    def quantile(self, failed: float) -> float:
        """Return log(-log(1 - failed))."""
        return float(np.log(-np.log1p(-failed)))


@dataclass(frozen=True, slots=True)
class Loglogistic:
    """H = log(1 + exp(z)): a hazard that rises and then falls with age."""

    fixed_slope: None = None

    @property
    def name(self) -> str:
        """As the user writes it."""
        return "loglogistic"

    def hazard(self, z: FloatArray) -> Jet:
        """Return log(1 + exp(z)) with its derivatives."""
        share = special.expit(z)
        return np.logaddexp(0.0, z), share, share * special.expit(-z)

    def log_hazard(self, z: FloatArray) -> Jet:
        """Return log log(1 + exp(z)) with its derivatives; z itself far below 0."""
        low = z < -36.0  # noqa: PLR2004 - exp(-36) is below half a unit in the last place
        value, first, second = self.hazard(np.where(low, 0.0, z))
        slope = first / value
        curve = second / value - slope**2
        return np.where(low, z, np.log(value)), np.where(low, 1.0, slope), np.where(low, 0.0, curve)

    def log_rate(self, z: FloatArray) -> Jet:
        """Return log of the logistic share with its derivatives."""
        share, rest = special.expit(z), special.expit(-z)
        return -np.logaddexp(0.0, -z), rest, -share * rest

    def quantile(self, failed: float) -> float:
        """Return the logit."""
        return float(special.logit(failed))


@dataclass(frozen=True, slots=True)
class Lognormal:
    """H = -log Phi(-z): log life is normal."""

    fixed_slope: None = None

    @property
    def name(self) -> str:
        """As the user writes it."""
        return "lognormal"

    def hazard(self, z: FloatArray) -> Jet:
        """Return -log Phi(-z) with its derivatives."""
        rate = np.exp(_log_normal_rate(z))
        return -special.log_ndtr(-z), rate, rate * (rate - z)

    def log_hazard(self, z: FloatArray) -> Jet:
        """Return log(-log Phi(-z)) with its derivatives; log Phi(z) far below 0."""
        low = z < -8.0  # noqa: PLR2004 - there H and Phi(z) agree to 3e-16 relative
        value = np.where(
            low, special.log_ndtr(z), np.log(-special.log_ndtr(-np.where(low, 0.0, z)))
        )
        log_rate = _log_normal_rate(z)
        slope = np.exp(log_rate - value)
        return value, slope, slope * (np.exp(log_rate) - z - slope)

    def log_rate(self, z: FloatArray) -> Jet:
        """Return log(phi(z)/Phi(-z)) with its derivatives."""
        value = _log_normal_rate(z)
        rate = np.exp(value)
        return value, rate - z, rate * (rate - z) - 1.0

    def quantile(self, failed: float) -> float:
        """Return the normal quantile."""
        return float(special.ndtri(failed))


def _log_normal_rate(z: FloatArray) -> FloatArray:
    """Return log(phi(z)/Phi(-z)); by the scaled erfc above 0, where the parts cancel."""
    high = z > 0
    above = np.log(np.sqrt(2 / np.pi) / special.erfcx(np.where(high, z, 0.0) / np.sqrt(2)))
    low = np.where(high, 0.0, z)
    below = -0.5 * low**2 - 0.5 * np.log(2 * np.pi) - special.log_ndtr(-low)
    rate: FloatArray = np.where(high, above, below)
    return rate


BASELINES = ("weibull", "exponential", "lognormal", "loglogistic")
"""The laws by the name the user writes."""


def law_named(baseline: str, shape: float | None = None) -> Law:
    """Return the law of this name.

    Parameters
    ----------
    baseline : str
        One of `BASELINES`.
    shape : float or None
        A shape to hold fixed; Weibull only.

    Raises
    ------
    UsageError
        No such law, or a shape that cannot be fixed.

    Examples
    --------
    >>> law_named("exponential").fixed_slope
    1.0
    """
    if baseline not in BASELINES:
        message = f"no baseline {baseline!r}; there is {', '.join(BASELINES)}"
        raise UsageError(message)
    if shape is not None:
        if baseline != "weibull":
            message = f"a fixed shape goes with the weibull baseline, not with {baseline}"
            raise UsageError(message)
        if not (np.isfinite(shape) and shape > 0):
            message = f"a shape must be a number above 0, not {shape:g}"
            raise UsageError(message)
        return Weibull(float(shape))
    laws: dict[str, Law] = {
        "weibull": Weibull(),
        "exponential": Weibull(1.0),
        "lognormal": Lognormal(),
        "loglogistic": Loglogistic(),
    }
    return laws[baseline]


def keeps_form(law: Law) -> bool:
    """Tell whether the law keeps its form when its hazard is multiplied.

    Examples
    --------
    >>> keeps_form(law_named("exponential")), keeps_form(law_named("lognormal"))
    (True, False)
    """
    return isinstance(law, Weibull)

"""What a fitted strip life answers, each answer with its profile-likelihood interval."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.life.axes import AgeAxis, Axis, ChanceAxis, ShapeAxis, SurvivalAxis
from wearstats.life.distributions import Law, law_named
from wearstats.life.likelihood import Sample
from wearstats.life.profile import intercept_ends, profile_ends
from wearstats.shown import Column, Readable, Summary, counted, intervals

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.life.calibration import Calibration

HELD = "held fixed, not estimated"
_SHOWN_LEVEL = 0.9
NO_FAILURES = "no failure: a lower bound only, at this confidence"


@dataclass(frozen=True, slots=True, repr=False)
class StripLifeFit(Readable):
    """A maximum-likelihood fit; holds its numbers and the joined lives, no frame.

    Parameters
    ----------
    baseline : str
    fixed_shape : float or None
        The shape where it was held and not estimated (1 for the exponential law).
    mu, sigma : float or None
        Location and scale of log life (age in runs); mu is None where no strip failed.
    covariance : tuple of tuple of float
        Inverse observed information of (mu, log sigma); of mu alone where the shape is held;
        empty where there is no estimate.
    log_likelihood : float
    aicc : float or None
        Akaike's criterion corrected for small samples; None where lives are too few for it.
    lives, failures : float
        Informative lives and failures behind the fit.
    edges : (float, float)
        Limits of the log likelihood as the shape goes to zero and to infinity.
    sample : Sample
        The lives, joined and scaled: the profile likelihood needs them.
    calibration : Calibration or None
        Where the critical values come from; None takes those of chi-square(1).

    Notes
    -----
    Intervals are profile-likelihood intervals; every method takes a critical value of the
    caller's as `critical`. An end that the data do not
    bound is None. With a held shape and no failure the answers are lower bounds: the values
    under which no failure in so many runs has at least the chance 1 - level (Nelson 1985,
    J. Quality Technology 17:140-146; from memory).
    """

    baseline: str
    fixed_shape: float | None
    mu: float | None
    sigma: float
    covariance: tuple[tuple[float, ...], ...]
    log_likelihood: float
    aicc: float | None
    lives: float
    failures: float
    edges: tuple[float, float]
    sample: Sample = field(repr=False, compare=False)
    calibration: "Calibration | None" = field(default=None, repr=False, compare=False)

    @property
    def law(self) -> Law:
        """The law fitted."""
        held = self.fixed_shape if self.baseline == "weibull" else None
        return law_named(self.baseline, held)

    @property
    def standard_errors(self) -> dict[str, float]:
        """Wald standard errors of mu, sigma, shape and scale, where estimated."""
        if not self.covariance or self.mu is None:
            return {}
        mu_error = self.covariance[0][0] ** 0.5
        errors = {"mu": mu_error, "scale": float(np.exp(self.mu)) * mu_error}
        if self.fixed_shape is None:
            relative = self.covariance[1][1] ** 0.5
            errors |= {"sigma": self.sigma * relative, "shape": relative / self.sigma}
        return errors

    @property
    def theta(self) -> FloatArray:
        """Intercept and log slope in the sample's scaled log age, shape (2,)."""
        mu = np.nan if self.mu is None else self.mu - np.log(self.sample.typical_age)
        return np.array([-mu / self.sigma, -np.log(self.sigma)])

    def parameters(self, level: float = 0.9, critical: float | None = None) -> dict[str, Estimate]:
        """Return shape and scale; for the lognormal law mu and sigma.

        The scale is in runs: the age at which 63.2 % have failed for Weibull, the mean life
        for exponential, the median for loglogistic.
        """
        location = self._ages(np.zeros(1), level, critical)[0]
        if self.baseline == "lognormal":
            shape = self._shape(level, critical)
            sigma = Estimate(self.sigma, _inverse(shape.high), _inverse(shape.low), level)
            return {"mu": _in_logs(location), "sigma": sigma}
        return {"shape": self._shape(level, critical), "scale": location}

    def _shape(self, level: float, critical: float | None) -> Estimate:
        if self.fixed_shape is not None:
            return Estimate(self.fixed_shape, None, None, level, note=HELD)
        threshold = float(self._threshold(ShapeAxis(), level, critical)[0])
        bounded = tuple(2 * (self.log_likelihood - edge) > threshold for edge in self.edges)
        centre, low, high = profile_ends(
            self.law,
            self.sample,
            self.theta,
            ShapeAxis(),
            threshold,
            bounded=(bounded[0], bounded[1]),
        )
        return _estimate(np.exp([centre[0], low[0], high[0]]), level)

    def life_at(self, failed: float, level: float = 0.9, critical: float | None = None) -> Estimate:
        """Return the runs by which this share of strips has failed."""
        return self.lives_at([failed], level, critical)[0]

    def lives_at(
        self, failed: Sequence[float], level: float = 0.9, critical: float | None = None
    ) -> list[Estimate]:
        """Return `life_at` for several shares at the price of one."""
        z = np.array([self.law.quantile(check_share(share)) for share in failed])
        return self._ages(z, level, critical) if z.size else []

    def survival(self, runs: float, level: float = 0.9, critical: float | None = None) -> Estimate:
        """Return the chance that new strips last this many runs."""
        return self.survivals([runs], level, critical)[0]

    def survivals(
        self, runs: Sequence[float], level: float = 0.9, critical: float | None = None
    ) -> list[Estimate]:
        """Return `survival` for several ages at the price of one."""
        ages = np.array([check_runs(age) for age in runs], dtype=np.float64)
        if not ages.size:
            return []
        log_age = self.sample.log_age(np.where(ages > 0, ages, 1.0))
        law = self.law
        found = self._ends(SurvivalAxis(log_age), level, critical)
        chances = self._chances(found, lambda z: np.exp(-law.hazard(z)[0]), level)
        return [
            certain(level) if age == 0 else chance
            for age, chance in zip(ages, chances, strict=True)
        ]

    def chance(
        self, age: float, more: float, level: float = 0.9, critical: float | None = None
    ) -> Estimate:
        """Return the chance that strips sound at this age last `more` runs."""
        if check_runs(age) == 0 or check_runs(more) == 0:
            return self.survival(more, level, critical)
        ages = self.sample.log_age(np.array([age, age + more]))
        axis = ChanceAxis(self.law, ages[:1], ages[1:])
        found = self._ends(axis, level, critical)
        return self._chances(found, lambda c: np.exp(-np.exp(np.minimum(c, 700.0))), level)[0]

    def curve(
        self, ages: Sequence[float] | FloatArray, level: float = 0.9, critical: float | None = None
    ) -> "pd.DataFrame":
        """Return runs, survival, low and high for a drawing.

        An end the data do not bound is drawn at 0 or 1; survival is missing where there are
        lower bounds only.
        """
        import pandas as pd

        found = self.survivals([float(age) for age in ages], level, critical)
        return pd.DataFrame(curve_columns([float(age) for age in ages], found))

    def summary(self) -> Summary:
        """Return the parameters and the ages by which 10 % and half have failed, at 90 %."""
        return life_summary(self, "likelihood", _SHOWN_LEVEL)

    def _ages(self, z: FloatArray, level: float, critical: float | None) -> list[Estimate]:
        centre, low, high = self._ends(AgeAxis(z), level, critical)
        ages = np.exp(np.array([centre, low, high])) * self.sample.typical_age
        note = NO_FAILURES if self.mu is None else ""
        return [_estimate(ages[:, place], level, unit="runs", note=note) for place in range(z.size)]

    def _chances(
        self,
        found: tuple[FloatArray, FloatArray, FloatArray],
        chance_of: Callable[[FloatArray], FloatArray],
        level: float,
    ) -> list[Estimate]:
        """Turn centres and ends on an axis into chances, which fall along it."""
        note = NO_FAILURES if self.mu is None else ""
        centre, low, high = (
            np.where(np.isfinite(part), chance_of(np.where(np.isfinite(part), part, 0.0)), np.nan)
            for part in found
        )
        return [
            Estimate(float(value), float(bottom), float(top), level, note=note)
            for value, bottom, top in zip(centre, high, low, strict=True)
        ]

    def _ends(
        self, axis: Axis, level: float, critical: float | None
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return centre and ends on the axis, whatever the law has free."""
        theta = self.theta
        if self.fixed_shape is None:
            threshold = self._threshold(axis, level, critical)
            return profile_ends(self.law, self.sample, theta, axis, threshold)
        if self.mu is None:
            fall = -np.log1p(-level) if critical is None else critical / 2
            steepest = self._steepest(float(fall))
            bound = axis.coordinates(np.array([steepest, theta[1]]))[0]
            unknown = np.full_like(bound, np.nan)
            ends = (bound, unknown) if isinstance(axis, AgeAxis) else (unknown, bound)
            return unknown, *ends
        centre = axis.coordinates(theta)[0]
        common = float(self._threshold(axis, level, critical)[0])
        least, most = intercept_ends(self.law, self.sample, theta, common)
        ends_found = [axis.coordinates(np.array([end, theta[1]]))[0] for end in (least, most)]
        return centre, np.minimum(*ends_found), np.maximum(*ends_found)

    def _threshold(self, axis: Axis, level: float, critical: float | None) -> FloatArray:
        """Return the critical value of each quantity on the axis."""
        size = axis.coordinates(self.theta)[0].shape
        if critical is not None or self.calibration is None:
            return np.full(size, critical_value(level) if critical is None else critical)
        check_level(level)
        return self.calibration.values(axis, level)

    def _steepest(self, fall: float) -> float:
        """Return the intercept at which the cumulative hazard of all runs seen is `fall`."""
        runs = float(self.sample.passed_weight @ np.exp(self.sample.passed / self.sigma))
        return float(np.log(fall / runs))


def critical_value(level: float) -> float:
    """Return the chi-square(1) quantile of the level.

    Examples
    --------
    >>> round(critical_value(0.9), 4)
    2.7055
    """
    return float(special.chdtri(1, 1 - check_level(level)))


def check_level(level: float) -> float:
    """Return a level if it lies between 0 and 1, both left out; else raise UsageError."""
    if not 0 < level < 1:
        message = f"a level lies between 0 and 1, not {level:g}"
        raise UsageError(message)
    return float(level)


def check_share(failed: float) -> float:
    """Return a share if it lies between 0 and 1, both left out; else raise UsageError."""
    if not 0 < failed < 1:
        message = f"a share failed lies between 0 and 1, not {failed:g}"
        raise UsageError(message)
    return float(failed)


def check_runs(runs: float) -> float:
    """Return a number of runs if it is a number from 0 up; else raise UsageError."""
    if not (np.isfinite(runs) and runs >= 0):
        message = f"a number of runs is 0 or more, not {runs:g}"
        raise UsageError(message)
    return float(runs)


def certain(level: float) -> Estimate:
    """Return the chance of lasting no run at all."""
    return Estimate(1.0, 1.0, 1.0, level, note="by definition")


class _Told(Protocol):
    """What every fit of strip life answers."""

    @property
    def baseline(self) -> str: ...
    @property
    def lives(self) -> float: ...
    @property
    def failures(self) -> float: ...

    def parameters(self, level: float) -> dict[str, Estimate]:
        """Return the law's parameters."""

    def life_at(self, failed: float, level: float) -> Estimate:
        """Return the runs by which this share has failed."""


def life_summary(told: _Told, method: str, level: float, notes: tuple[str, ...] = ()) -> Summary:
    """Return what a fit of strip life shows of itself."""
    named = {
        **told.parameters(level),
        "10 % failed by": told.life_at(0.1, level),
        "50 % failed by": told.life_at(0.5, level),
    }
    lives = counted(told.lives, "life", "lives")
    return Summary(
        title=f"Strip life: {told.baseline.capitalize()} law by {method}",
        basis=f"{lives}, {told.failures:g} failed; {intervals(level)}.",
        columns=(Column("name"), Column("estimate", "estimate")),
        rows=tuple(named.items()),
        notes=notes,
    )


def curve_columns(ages: Sequence[float], found: Sequence[Estimate]) -> dict[str, list[float]]:
    """Return the columns of a survival curve; a missing end is drawn at 0 or 1."""
    return {
        "runs": list(ages),
        "survival": [np.nan if one.estimate is None else one.estimate for one in found],
        "low": [0.0 if one.low is None else one.low for one in found],
        "high": [1.0 if one.high is None else one.high for one in found],
    }


def _estimate(parts: FloatArray, level: float, *, unit: str = "", note: str = "") -> Estimate:
    """Make an estimate of (value, low, high), all positive; 0 and infinity are no ends."""
    value, low, high = (float(part) for part in parts)
    return Estimate(value, low if low > 0 else None, high, level, unit, note)


def _inverse(value: float | None) -> float | None:
    return None if value is None else 1.0 / value


def _in_logs(age: Estimate) -> Estimate:
    ends = [
        None if end is None else float(np.log(end)) for end in (age.estimate, age.low, age.high)
    ]
    return Estimate(ends[0], ends[1], ends[2], age.level, note=age.note)

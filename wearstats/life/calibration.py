"""Critical values of profile likelihood from simulated sets of the lives on record.

Twice the fall of the log likelihood from its top to the true value of a quantity follows the
chi-square law of one degree of freedom only with many failures; with a dozen it runs larger, and
intervals cut at the chi-square value cover less than they say. So lives are simulated from the
fit under the looks on record (`wearstats.life.resampling`), the fall is worked out in each
set, where the truth is known, and the critical value is its quantile.

Three choices, with what they did in simulation in docs/methods/small-samples.md:

- Each set is simulated from a law of its own, the laws lying about the fit as the truth may: lives
  are simulated from the fit, refitted, and each refit is mirrored in the fit (log shape and log
  median life). The laws' middle is then the fit corrected for its median bias, their spread the
  fit's error. One law for all sets, be it the fit, covers too much for some truths and too
  little for others.
- A simulated set without a finite maximum counts half, with its fall from the limit its
  likelihood rises to: on record such a set would get no interval of this kind, yet how often they
  come is known only by the fit. Sets whose likelihood grows beyond every bound (a failure at a
  known age that outlived all other lives) are left out. Both are counted.
- A critical value never falls below that of chi-square: it would where the fit came out steep for
  want of looks, and there the simulated sets know least.

Holding a life's share failed at an age, or the age of a share failed, is the same constraint: a
point on the fitted law. Its critical values are worked out at steps of half a unit of z from -8 to
2.5 and read off in between (a straight line); further out the last one holds.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypedDict

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.life.axes import AgeAxis, Axis, ChanceAxis, ShapeAxis, SurvivalAxis
from wearstats.life.bootstrap import RESAMPLES, Refits, simulated
from wearstats.life.distributions import Law
from wearstats.life.many import Many, derivatives
from wearstats.life.many_fits import profile

if TYPE_CHECKING:
    from wearstats.life.results import StripLifeFit
    from wearstats.lives.observations import Observations

MOST_FAILURES = 200
"""From here on chi-square is taken: its shortfall (7 % of the critical value at 30 lives, falling
as one over the failures) is a small part of the error of a quantile of a thousand sets."""

MOST_LIVES = 1000
"""Above, chi-square is taken too: a thousand sets of more lives are a matter of seconds and of
hundreds of megabytes."""

_FEWEST = 99
"""Sets with a highest likelihood below which no quantile is read off."""

_FARTHEST = 2.0
"""Log shapes and log median lives simulated from lie no further from the fit's (a factor of 7):
refits of one or two failures run wild."""

_WITHOUT_MAXIMUM = 0.5
"""Weight of a set without a finite maximum. Measured at six lives in benchmarks/calibration.py: at
1 intervals of steep laws hold too often, at 0 those of some too seldom."""

_STEP, _LOWEST, _HIGHEST = 0.5, -8.0, 2.5


@dataclass(frozen=True, slots=True)
class Critical:
    """A calibrated critical value.

    Parameters
    ----------
    value : float
        Of twice the fall of the log likelihood.
    standard_error : float
        From the number of sets.
    level : float
    resamples : int
        Sets simulated.
    without_maximum : int
        Of these, sets whose likelihood has no finite maximum.
    """

    value: float
    standard_error: float
    level: float
    resamples: int
    without_maximum: int

    def as_dict(self) -> "CriticalDict":
        """Return the value as plain data."""
        return {
            "critical_value": self.value,
            "standard_error": self.standard_error,
            "level": self.level,
            "resamples": self.resamples,
            "without_maximum": self.without_maximum,
        }


class CriticalDict(TypedDict):
    """The stable JSON form of a calibrated critical value."""

    critical_value: float
    standard_error: float
    level: float
    resamples: int
    without_maximum: int


def worth_it(fit: "StripLifeFit") -> bool:
    """Say whether critical values are simulated for this fit; else chi-square's is taken."""
    return fit.mu is not None and fit.failures < MOST_FAILURES and fit.lives <= MOST_LIVES


class Calibration:
    """Critical values for one fit, worked out when asked for and then kept.

    Parameters
    ----------
    fit : StripLifeFit
        With an estimate.
    observations : Observations
        The lives it was fitted to.
    resamples : int
    seed : int

    Notes
    -----
    The same fit, lives and seed give the same values whatever is asked for first.
    """

    def __init__(
        self,
        fit: "StripLifeFit",
        observations: "Observations",
        *,
        resamples: int = RESAMPLES,
        seed: int = 0,
    ) -> None:
        self._fit = fit
        self._observations = observations
        self._seed = seed
        self.resamples = resamples
        self._kept: dict[tuple[object, ...], FloatArray] = {}

    @property
    def refits(self) -> Refits:
        """The simulated sets, each from its own law, and their fits."""
        return self._simulated[0]

    @property
    def laws(self) -> FloatArray:
        """The laws simulated from: intercept and log slope of each set, shape (b, 2)."""
        return self._simulated[1]

    @cached_property
    def _simulated(self) -> tuple[Refits, FloatArray]:
        fit, observations = self._fit, self._observations
        laws = np.broadcast_to(fit.theta, (self.resamples, 2))
        first, second = np.random.default_rng(self._seed).spawn(2)
        found = simulated(fit, observations, laws, first)
        if fit.fixed_shape is not None:
            return found, laws
        laws = mirrored(fit, found)
        return simulated(fit, observations, laws, second), laws

    @property
    def usable(self) -> bool:
        """Whether enough sets have a highest likelihood."""
        return int(np.isfinite(self.refits.top).sum()) >= _FEWEST

    def values(self, axis: Axis, level: float) -> FloatArray:
        """Return the critical value of each quantity on the axis, shape (k,)."""
        from wearstats.life.results import critical_value

        least = critical_value(level)
        if not self.usable:
            return np.full(axis.coordinates(self._fit.theta)[0].shape, least)
        return np.maximum(self._quantiles(axis, level), least)

    def _quantiles(self, axis: Axis, level: float) -> FloatArray:
        if self._fit.fixed_shape is not None:
            size = axis.coordinates(self._fit.theta)[0].shape
            return np.full(size, self._quantile(self._of_intercept(), level)[0])
        if isinstance(axis, AgeAxis):
            return self._read_off(axis.z, level)
        if isinstance(axis, SurvivalAxis):
            return self._read_off(axis.coordinates(self._fit.theta)[0], level)
        if isinstance(axis, ChanceAxis):
            places = zip(axis.first.tolist(), axis.second.tolist(), strict=True)
            return np.array([self._quantile(self._of_chance(*pair), level)[0] for pair in places])
        return np.array([self._quantile(self._of_shape(), level)[0]])

    def words(self, level: float) -> str:
        """Return one sentence: how many sets, and what they changed."""
        from wearstats.life.results import critical_value

        plain = critical_value(level)
        if not self.usable:
            return (
                f"{100 * level:g} % intervals are not calibrated: too few of {self.refits.count} "
                "simulated sets of these lives have a highest likelihood"
            )
        found = self.stated(AgeAxis(np.array([self._fit.law.quantile(0.1)])), level)
        return (
            f"{100 * level:g} % intervals are calibrated by {found.resamples} simulated sets of "
            f"these lives under these looks: critical value {found.value:.3g} for the life at "
            f"10 % failed, where chi-square says {plain:.3g}"
        )

    def stated(self, axis: Axis, level: float) -> Critical:
        """Return the critical value of the first quantity on the axis with its error."""
        value = float(self.values(axis, level)[0])
        refits = self.refits
        error = self._quantile(self._nearest(axis), level)[1] if self.usable else 0.0
        return Critical(value, error, level, refits.count, refits.without_maximum)

    def _nearest(self, axis: Axis) -> FloatArray:
        if self._fit.fixed_shape is not None:
            return self._of_intercept()
        if isinstance(axis, ShapeAxis):
            return self._of_shape()
        if isinstance(axis, ChanceAxis):
            return self._of_chance(float(axis.first[0]), float(axis.second[0]))
        z = axis.z if isinstance(axis, AgeAxis) else axis.coordinates(self._fit.theta)[0]
        return self._of_point(round((float(z[0]) - _LOWEST) / _STEP))

    def _read_off(self, z: FloatArray, level: float) -> FloatArray:
        places = (np.clip(z, _LOWEST, _HIGHEST) - _LOWEST) / _STEP
        below = np.floor(places).astype(np.int64)
        needed = np.unique(np.concatenate([below, below + (places > below)]))
        known = [self._quantile(self._of_point(int(place)), level)[0] for place in needed]
        read: FloatArray = np.interp(places, needed, known)
        return read

    def _of_point(self, place: int) -> FloatArray:
        """Return the falls where the law is held to go through the point z of the fit."""
        z = np.array([min(max(_LOWEST + place * _STEP, _LOWEST), _HIGHEST)])
        return self._falls(("point", place), AgeAxis(z))

    def _of_chance(self, first: float, second: float) -> FloatArray:
        axis = ChanceAxis(self._fit.law, np.array([first]), np.array([second]))
        return self._falls(("chance", first, second), axis)

    def _of_shape(self) -> FloatArray:
        return self._falls(("shape",), ShapeAxis())

    def _falls(self, name: tuple[object, ...], axis: Axis) -> FloatArray:
        """Return twice the fall to the truth in each set that has a highest likelihood."""
        if name not in self._kept:
            refits = self.refits
            kept = np.flatnonzero(np.isfinite(refits.top))
            sets, top = refits.sets.take(kept), refits.top[kept]
            laws = self.laws[kept]
            peaks, bends = self._peaks
            start = foretold(axis, peaks[kept], bends[kept], laws)
            self._kept[name] = falls(self._fit.law, sets, top, axis, laws, start=start)
        return self._kept[name]

    @cached_property
    def _peaks(self) -> tuple[FloatArray, FloatArray]:
        """Where each set's likelihood is highest and its Hessian there; NaN where it has no top."""
        theta = self.refits.theta
        some = np.nan_to_num(theta)
        return theta, derivatives(self._fit.law, self.refits.sets, some)[2]

    def _quantile(self, found: FloatArray, level: float) -> tuple[float, float]:
        finite = self.refits.finite[np.isfinite(self.refits.top)]
        return quantile(found, level, np.where(finite, 1.0, _WITHOUT_MAXIMUM))

    def _of_intercept(self) -> FloatArray:
        refits = self.refits
        value = derivatives(self._fit.law, refits.sets, self.laws)[0]
        return np.maximum(2.0 * (refits.top - value), 0.0)[np.isfinite(refits.top)]


def mirrored(fit: "StripLifeFit", refits: Refits) -> FloatArray:
    """Return laws as far from the fit as its refits are, to the other side, shape (b, 2).

    Log shape and log median life are mirrored. Refits with a finite maximum are used in turn.
    """
    found = np.flatnonzero(refits.finite)
    if not found.size:
        return np.broadcast_to(fit.theta, (refits.count, 2))
    middle = AgeAxis(np.array([fit.law.quantile(0.5)]))
    medians, slopes = middle.coordinates(refits.theta[np.resize(found, refits.count)])
    median, slope = middle.coordinates(fit.theta)
    log_slopes = slope + np.clip(slope - slopes, -_FARTHEST, _FARTHEST)
    log_medians = median + np.clip(median - medians, -_FARTHEST, _FARTHEST)
    laws: FloatArray = np.hstack([middle.z - log_medians * np.exp(log_slopes), log_slopes])
    return laws


def falls(
    law: Law,
    sets: Many,
    top: FloatArray,
    axis: Axis,
    theta: FloatArray,
    *,
    start: FloatArray | None = None,
) -> FloatArray:
    """Return twice the fall of each set's log likelihood to the quantity's value in its law.

    Parameters
    ----------
    law : Law
    sets : Many
        Of b sets.
    top : ndarray, shape (b,)
        Where each set's log likelihood is highest.
    axis : Axis
        Of one quantity.
    theta : ndarray, shape (b, 2)
        The laws.
    start : ndarray, shape (b,), or None
        Where to start the free parameter; its value in the law where None.
    """
    c, free = axis.coordinates(theta)
    held = profile(law, sets, axis, c[:, 0], free[:, 0] if start is None else start)
    return np.maximum(2.0 * (top - held.value), 0.0)


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def foretold(axis: Axis, peaks: FloatArray, bends: FloatArray, laws: FloatArray) -> FloatArray:
    """Return the free parameter at the quantity's value in each law, were the peaks parabolas.

    Parameters
    ----------
    axis : Axis
        Of one quantity.
    peaks, laws : ndarray, shape (b, 2)
    bends : ndarray, shape (b, 2, 2)
        Hessians at the peaks.
    """
    c, plain = axis.coordinates(laws)
    top, free = axis.coordinates(peaks)
    curve = axis.curve(top, free)
    by_free, by_c = curve.by_free[:, 0], curve.by_c[:, 0]
    turned = np.einsum("bij,bj->bi", bends, by_free)
    drift = -np.sum(by_c * turned, axis=1) / np.sum(by_free * turned, axis=1)
    ahead = free[:, 0] + np.clip(drift * (c - top)[:, 0], -1.0, 1.0)
    return np.where(np.isfinite(ahead), np.maximum(ahead, axis.least_free), plain[:, 0])


def quantile(
    falls: FloatArray, level: float, weight: FloatArray | None = None
) -> tuple[float, float]:
    """Return the level's quantile and its standard error, from the order of the falls.

    Where all b falls weigh 1 the quantile is the ceil((b + 1) level)-th smallest; the error is
    half the distance of those one binomial standard deviation of ranks to either side.

    Parameters
    ----------
    falls : ndarray, shape (b,)
    level : float
    weight : ndarray, shape (b,), or None
        1 each where None.
    """
    order = np.argsort(falls, kind="stable")
    passed = np.cumsum(np.ones(falls.size) if weight is None else weight[order])
    goal = (passed[-1] + 1.0) * level - 1e-9
    away = np.sqrt(passed[-1] * level * (1 - level))
    places = np.searchsorted(passed, [goal - away, goal, goal + away])
    low, middle, high = falls[order][np.minimum(places, falls.size - 1)]
    return float(middle), float(high - low) / 2

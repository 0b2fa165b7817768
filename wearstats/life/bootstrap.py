"""A thousand refits at once: of lives drawn again, or simulated from a fitted law."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import UsageError
from wearstats.life.distributions import Law
from wearstats.life.existence_many import limits_of
from wearstats.life.many import Many, arrange
from wearstats.life.many_fits import maximise
from wearstats.life.resampling import drawn_again, simulate, watch_of

if TYPE_CHECKING:
    from wearstats.life.results import StripLifeFit
    from wearstats.lives.observations import Observations

Kind: TypeAlias = Literal["parametric", "cases"]

RESAMPLES = 999
_STRETCH = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Refits:
    """Sets of lives and the fit of each.

    Parameters
    ----------
    theta : ndarray, shape (b, 2)
        Intercept and log slope in scaled log age; missing where `finite` is False.
    top : ndarray, shape (b,)
        Highest log likelihood, or the limit above everything.
    finite : ndarray of bool, shape (b,)
        Whether a finite maximum exists.
    typical_age : float, runs
        Ages are scaled by it.
    sets : Many
        The lives.
    """

    theta: FloatArray
    top: FloatArray
    finite: BoolArray
    typical_age: float
    sets: Many = field(repr=False)

    @property
    def count(self) -> int:
        """Number of sets."""
        return len(self.top)

    @property
    def without_maximum(self) -> int:
        """Sets whose likelihood has no finite maximum; they have no shape and no scale."""
        return int(np.sum(~self.finite))

    @property
    def shape(self) -> FloatArray:
        """Shape (1/sigma of log life) of each set that has one."""
        shape: FloatArray = np.exp(self.theta[self.finite, 1])
        return shape

    @property
    def mu(self) -> FloatArray:
        """Location of log life (runs) of each set that has one."""
        mu: FloatArray = np.log(self.typical_age) - self.theta[self.finite, 0] / self.shape
        return mu


def refit(
    law: Law,
    entry: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
    weight: FloatArray,
    *,
    typical_age: float,
    start: FloatArray,
) -> Refits:
    """Fit many sets of lives.

    Parameters
    ----------
    law : Law
    entry : ndarray, shape (n,), runs
    lower, upper : ndarray, shape (n,) or (b, n), runs
    weight : ndarray, shape (b, n)
        0 leaves a life out.
    typical_age : float, runs
    start : ndarray, shape (2,)
        theta to start from.
    """
    sets = arrange(entry, lower, upper, weight, typical_age)
    limits = limits_of(law, entry, lower, upper, weight)
    theta = np.full((len(sets), 2), np.nan)
    top, finite = limits.value.copy(), ~limits.settles
    inside = np.flatnonzero(finite)
    if inside.size:
        found = maximise(law, sets.take(inside), start)
        edge = limits.value[inside]
        above = found.value - edge > _STRETCH * (1.0 + np.abs(found.value))
        finite[inside] = found.converged & above
        theta[inside] = np.where(finite[inside, None], found.theta, np.nan)
        top[inside] = np.maximum(found.value, edge)
    return Refits(theta, top, finite, typical_age, sets)


def bootstrap(
    fit: "StripLifeFit",
    observations: "Observations",
    *,
    kind: Kind = "parametric",
    resamples: int = RESAMPLES,
    seed: int = 0,
) -> Refits:
    """Refit resamples of the lives behind a fit.

    Parameters
    ----------
    fit : StripLifeFit
        With an estimate.
    observations : Observations
        The lives it was fitted to.
    kind : str
        parametric simulates lives from the fit under the looks on record; cases draws lives
        again. `wearstats.life.resampling` says how.
    resamples : int
    seed : int

    Raises
    ------
    UsageError
        No such kind; or a fit without an estimate.

    Examples
    --------
    >>> import numpy as np
    >>> from wearstats.life import StripLife
    >>> from wearstats.lives.observations import Observations
    >>> looks = Observations(np.zeros(5), np.array([3.0, 5, 6, 8, 9]),
    ...                      np.array([4.0, 7, np.inf, 10, np.inf]), np.ones(5), tuple("abcde"))
    >>> refits = bootstrap(StripLife().fit(looks), looks, resamples=99)
    >>> refits.count, refits.shape.size == 99 - refits.without_maximum
    (99, True)
    """
    if kind not in ("parametric", "cases"):
        message = f"no kind of bootstrap {kind!r}; there is parametric, cases"
        raise UsageError(message)
    if fit.mu is None:
        message = "nothing to resample from: the fit has no estimate"
        raise UsageError(message)
    rng = np.random.default_rng(seed)
    if kind == "parametric":
        return simulated(fit, observations, np.broadcast_to(fit.theta, (resamples, 2)), rng)
    entry, lower, upper, weight = drawn_again(observations, resamples, rng)
    return refit(
        fit.law,
        entry,
        lower,
        upper,
        weight,
        typical_age=fit.sample.typical_age,
        start=fit.theta,
    )


def simulated(
    fit: "StripLifeFit", observations: "Observations", theta: FloatArray, rng: np.random.Generator
) -> Refits:
    """Refit lives simulated under the looks on record, each set from a law of its own.

    Parameters
    ----------
    fit : StripLifeFit
        Says the family of laws and the scale of ages.
    observations : Observations
    theta : ndarray, shape (b, 2)
        Intercept and log slope each set is simulated from, in the fit's scaled log age.
    rng : numpy.random.Generator
    """
    watch = watch_of(observations)
    slope = np.exp(theta[:, 1:])
    line = (theta[:, :1] - slope * np.log(fit.sample.typical_age), slope)
    lower, upper = simulate(fit.law, watch, line, sets=len(theta), rng=rng)
    return refit(
        fit.law,
        watch.entry,
        lower,
        upper,
        np.broadcast_to(watch.weight, lower.shape),
        typical_age=fit.sample.typical_age,
        start=fit.theta,
    )

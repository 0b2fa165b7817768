"""Does the likelihood have a finite maximum? Decided from the data, before any fit.

An optimiser's own verdict does not tell: on a likelihood that rises for ever towards a limit
Newton's method comes to rest at a shape of some hundred. So the limits are compared instead.
Every law here can leave its parameter space in these ways only:

- slope to infinity: all lives end at one age c. Each life allows the c in [lower, upper] (any
  c up to `upper` where it was never seen to last past its entry);
- slope to zero: a fixed share fails at age 0, the rest never;
- intercept to plus infinity with late entries: survival a power of age/entry;
- no failure at all: life grows without bound.

Without late entries the log likelihood is concave in (intercept, slope), and a limit that is
finite settles the matter: there is no maximum. With late entries the limit has to be compared
with the best point inside.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.errors import NotConvergedError
from wearstats.life.distributions import Law, Weibull
from wearstats.life.fitting import Ascent, maximise
from wearstats.life.likelihood import Sample, gather

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations

_STRETCH = 1e-9


@dataclass(frozen=True, slots=True)
class Limit:
    """What the likelihood tends to where its parameters run away.

    Parameters
    ----------
    direction : str
        Which parameter runs where, and what in the records makes it so.
    log_likelihood : float
        The limit; -inf where none is reached, inf where it grows without bound.
    settles : bool
        True where no finite maximum exists whatever the inside looks like.
    """

    direction: str
    log_likelihood: float
    settles: bool


_NONE = Limit("", -np.inf, settles=False)


def limit_of(law: Law, observations: "Observations") -> Limit:
    """Return the highest limit at the edge of the parameter space.

    Examples
    --------
    One interval that every life shares:

    >>> from wearstats.life.distributions import law_named
    >>> from wearstats.lives.observations import Observations
    >>> import numpy as np
    >>> lives = Observations(np.zeros(2), np.array([3.0, 4.0]), np.array([6.0, 5.0]),
    ...                      np.ones(2), ("K1 build 1", "K2 build 1"))
    >>> limit_of(law_named("weibull"), lives).direction.split(":")[0]
    'the shape grows without bound'
    """
    plainly = _plainly_none(observations)
    if plainly.settles or law.fixed_slope is not None:
        return plainly
    return _highest(_limits(observations))


def _plainly_none(observations: "Observations") -> Limit:
    """Return the limit that no law escapes: no failure, or nothing but failures at first look."""
    if not np.isfinite(observations.upper).any():
        return Limit("life grows without bound: no strip failed", 0.0, settles=True)
    if not (observations.lower > observations.entry).any():
        words = "life falls to zero: every strip had failed by the first look at it"
        return Limit(words, 0.0, settles=True)
    return _NONE


def _limits(observations: "Observations") -> tuple[Limit, Limit, Limit]:
    return _one_age(observations), _fixed_share(observations), _late_entries(observations)


def _highest(limits: tuple[Limit, ...]) -> Limit:
    return max(limits, key=lambda limit: (limit.settles, limit.log_likelihood))


def finite_maximum(
    law: Law, observations: "Observations", sample: Sample
) -> tuple[Ascent | Limit, tuple[float, float]]:
    """Return the maximum where it is finite, else the limit that lies above everything.

    Returns
    -------
    outcome : Ascent or Limit
    edges : (float, float)
        Limits of the profile log likelihood as the shape goes to zero and to infinity: an
        interval for the shape has no end on a side whose limit lies above its threshold.

    Raises
    ------
    NotConvergedError
        A finite maximum exists and was not found.
    """
    limit, edges = _plainly_none(observations), (-np.inf, -np.inf)
    if law.fixed_slope is None and not limit.settles:
        limits = _limits(observations)
        limit, edges = _highest(limits), _edges(law, limits)
    if limit.settles:
        return limit, edges
    try:
        best = maximise(law, sample)
    except NotConvergedError:
        if np.isfinite(limit.log_likelihood):
            return limit, edges
        raise
    above = float(best.value) - limit.log_likelihood
    return (best if above > _STRETCH * (1.0 + abs(float(best.value))) else limit), edges


def _edges(law: Law, limits: tuple[Limit, Limit, Limit]) -> tuple[float, float]:
    one_age, fixed_share, late_entries = (limit.log_likelihood for limit in limits)
    # the power-law limit of the loglogistic law is one of scale, not of shape
    flat = fixed_share if law.name == "loglogistic" else max(fixed_share, late_entries)
    return flat, one_age


def _one_age(observations: "Observations") -> Limit:
    """Slope to infinity: every life ends at one age."""
    lower, upper, weight = observations.lower, observations.upper, observations.weight
    lasted = lower > observations.entry
    least, most = float(lower[lasted].max()), float(upper.min())
    if least > most:
        return _NONE
    age = f"age {most:g}" if least == most else f"an age between {least:g} and {most:g}"
    words = f"the shape grows without bound: every life may have ended at {age}"
    if least < most:
        return Limit(words, 0.0, settles=True)
    if (upper == lower).any():
        return Limit(words, np.inf, settles=True)
    dead = float(weight[upper == most].sum())
    sound = float(weight[lasted & (lower == least)].sum())
    value = _two_way(dead, sound)
    return Limit(words, value, settles=not bool((observations.entry > 0).any()))


def _fixed_share(observations: "Observations") -> Limit:
    """Slope to zero: possible where every failure was found at the first look at new strips."""
    entry, lower, upper = observations.entry, observations.lower, observations.upper
    failed = np.isfinite(upper)
    new = entry == 0
    if (lower[failed] > 0).any():
        return _NONE
    sound = ~failed & new & (lower > 0)
    weight = observations.weight
    value = _two_way(float(weight[failed].sum()), float(weight[sound].sum()))
    words = "the shape falls to zero: failed strips were looked at no later than sound ones"
    if not new.all():
        return Limit(words, value, settles=False)
    late = np.average(np.log(upper[failed]), weights=weight[failed])
    early = np.average(np.log(lower[sound]), weights=weight[sound])
    return Limit(words, value, settles=bool(late <= early))


def _late_entries(observations: "Observations") -> Limit:
    """Intercept to infinity: survival past entry a power of age/entry."""
    entry, lower, upper = observations.entry, observations.lower, observations.upper
    late = entry > 0
    if not late.any() or (lower[~late] > 0).any():
        return _NONE
    tells = late & observations.informative
    if not np.isfinite(upper[tells]).any() or not (lower > entry)[tells].any():
        return _NONE
    words = "shape and scale fall to zero: all lives entered late, and wear slowed with age"
    log_ages = type(observations)(
        entry=np.zeros(int(tells.sum())),
        lower=np.log(lower[tells] / entry[tells]),
        upper=np.log(upper[tells] / entry[tells]),
        weight=observations.weight[tells],
        labels=tuple(np.asarray(observations.labels)[tells].tolist()),
    )
    exact = tells & (lower == upper)
    value = float(maximise(Weibull(1.0), gather(log_ages)).value)
    value -= float(np.sum(observations.weight[exact] * np.log(upper[exact])))
    return Limit(words, value, settles=False)


def _two_way(first: float, second: float) -> float:
    """Log likelihood of a share at its best value."""
    whole = first + second
    return sum(part * float(np.log(part / whole)) for part in (first, second) if part > 0)

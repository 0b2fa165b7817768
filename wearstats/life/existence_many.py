"""Where many sets of lives have no finite maximum: `wearstats.life.existence`, for all at once."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.life.distributions import Law, Weibull
from wearstats.life.many import arrange
from wearstats.life.many_fits import maximise


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What each set's likelihood tends to at the edge of the parameter space.

    Parameters
    ----------
    value : ndarray, shape (b,)
        The highest limit; -inf where none is reached, inf where it grows without bound.
    settles : ndarray of bool, shape (b,)
        True where no finite maximum exists whatever the inside looks like.
    """

    value: FloatArray
    settles: BoolArray


def limits_of(
    law: Law, entry: FloatArray, lower: FloatArray, upper: FloatArray, weight: FloatArray
) -> Limits:
    """Return the limits of many sets; shapes as in `wearstats.life.many.arrange`."""
    lower, upper = np.broadcast_to(lower, weight.shape), np.broadcast_to(upper, weight.shape)
    there = weight > 0
    failed = np.isfinite(upper) & there
    lasted = (lower > entry) & there
    plainly = np.logical_not(np.any(failed, axis=1) & np.any(lasted, axis=1))
    value = np.where(plainly, 0.0, -np.inf)
    settles = plainly.copy()
    if law.fixed_slope is not None:
        return Limits(value, settles)
    sets = _Sets(entry, lower, upper, weight, failed, lasted, there)
    for limit, settled in (_one_age(sets), _fixed_share(sets), _late_entries(sets)):
        better = ~plainly & ((settled & ~settles) | ((settled == settles) & (limit > value)))
        value = np.where(better, limit, value)
        settles = np.where(better, settled, settles)
    return Limits(value, settles)


@dataclass(frozen=True, slots=True, eq=False)
class _Sets:
    entry: FloatArray
    lower: FloatArray
    upper: FloatArray
    weight: FloatArray
    failed: BoolArray
    lasted: BoolArray
    there: BoolArray

    def total(self, mask: BoolArray) -> FloatArray:
        total: FloatArray = np.sum(np.where(mask, self.weight, 0.0), axis=1)
        return total


def _one_age(sets: _Sets) -> tuple[FloatArray, BoolArray]:
    """Slope to infinity: every life ends at one age."""
    least = np.where(sets.lasted, sets.lower, -np.inf).max(axis=1)
    most = np.where(sets.there, sets.upper, np.inf).min(axis=1)
    exact = (sets.failed & (sets.upper == sets.lower)).any(axis=1)
    dead = sets.total(sets.failed & (sets.upper == most[:, None]))
    sound = sets.total(sets.lasted & (sets.lower == least[:, None]))
    met = np.where(exact, np.inf, _two_way(dead, sound))
    value = np.where(least < most, 0.0, np.where(least == most, met, -np.inf))
    late = (sets.there & (sets.entry > 0)).any(axis=1)
    return value, (least < most) | ((least == most) & (exact | ~late))


def _fixed_share(sets: _Sets) -> tuple[FloatArray, BoolArray]:
    """Slope to zero: possible where every failure was found at the first look at new strips."""
    none = (sets.failed & (sets.lower > 0)).any(axis=1)
    new = sets.entry == 0
    sound = sets.there & ~sets.failed & new & (sets.lower > 0)
    value = np.where(none, -np.inf, _two_way(sets.total(sets.failed), sets.total(sound)))
    all_new = (new | ~sets.there).all(axis=1)
    late = _mean_log(sets.upper, sets.failed, sets.weight)
    early = _mean_log(sets.lower, sound, sets.weight)
    return value, ~none & all_new & (late <= early)


def _mean_log(ages: FloatArray, mask: BoolArray, weight: FloatArray) -> FloatArray:
    counted = np.where(mask, weight, 0.0)
    logs = np.log(np.where(mask, ages, 1.0))
    mean: FloatArray = np.sum(counted * logs, axis=1) / np.maximum(counted.sum(axis=1), 1e-300)
    return mean


def _late_entries(sets: _Sets) -> tuple[FloatArray, BoolArray]:
    """Intercept to infinity: survival past entry a power of age/entry."""
    never = np.zeros(len(sets.weight), dtype=np.bool_)
    late = sets.entry > 0
    tells = late & (sets.lasted | sets.failed)
    applies = (
        ~(sets.there & ~late & (sets.lower > 0)).any(axis=1)
        & (tells & sets.failed).any(axis=1)
        & (tells & sets.lasted).any(axis=1)
    )
    value = np.full(len(never), -np.inf)
    if not applies.any():
        return value, never
    since = np.where(late, sets.entry, 1.0)
    weight = np.where(tells, sets.weight, 0.0)[applies]
    lower = np.where(late, np.log(np.maximum(sets.lower, since) / since), 0.0)[applies]
    upper = np.where(late, np.log(np.maximum(sets.upper, since) / since), 1.0)[applies]
    reached = np.where(np.isfinite(upper), (lower + upper) / 2, lower)
    typical = float(np.average(reached, weights=weight))
    many = arrange(np.zeros_like(sets.entry), lower, upper, weight, typical)
    best = maximise(Weibull(1.0), many, np.zeros(2))
    exact = (tells & sets.failed & (sets.lower == sets.upper))[applies]
    jacobian = np.sum(
        np.where(exact, weight * np.log(np.where(exact, sets.upper[applies], 1.0)), 0.0), axis=1
    )
    value[applies] = best.value - jacobian
    return value, never


def _two_way(first: FloatArray, second: FloatArray) -> FloatArray:
    """Log likelihood of a share at its best value."""
    whole = np.maximum(first + second, 1e-300)
    parts = [
        np.where(part > 0, part * np.log(np.maximum(part, 1e-300) / whole), 0.0)
        for part in (first, second)
    ]
    return parts[0] + parts[1]

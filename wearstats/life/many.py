"""Many sets of lives at once: their likelihoods and their maxima, for resampling.

The likelihood is that of `wearstats.life.likelihood`, in fewer operations: with B the hazard
added between two looks, r = 1/(exp(B) - 1), a life found failed adds -log(1 + r), whose slope in
B is r and whose curvature is -r(1 + r). That is exact but for ages between which almost no hazard
is added, which simulated looks do not have; `tests/properties/test_bootstrap.py` holds the two
together.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.life.distributions import Jet, Law

_CELLS = 100_000
"""Lives times sets evaluated at once: as much as stays in the cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Log ages, shape (m,) where all sets share them or (b, m), with weights (b, m)."""

    at: FloatArray
    weight: FloatArray

    def take(self, sets: IntArray | slice) -> "Points":
        """Return these sets only."""
        shared = self.at.ndim == 1
        return Points(self.at if shared else self.at[sets], self.weight[sets])


@dataclass(frozen=True, slots=True, eq=False)
class Many:
    """Sets of lives, arranged by what is known of them.

    Parameters
    ----------
    passed : Points
        Where cumulative hazard enters plainly: + lives, - entries.
    exact : Points
        Failed exactly then.
    lower, upper : Points
        Looks between which a strip failed. Weights of `lower` count those lives whose hazard up
        to it was lived through under watch, those of `upper` all.
    old : ndarray
        0 where `lower` is age 0, else 1; shaped as the ages.
    constant : ndarray, shape (b,)
        Jacobian of the log age, summed over exact failures.
    """

    passed: Points
    exact: Points
    lower: Points
    upper: Points
    old: FloatArray
    constant: FloatArray

    def __len__(self) -> int:
        """Return the number of sets."""
        return len(self.constant)

    @property
    def rows(self) -> int:
        """Lives in a set, about."""
        parts = self.passed, self.upper, self.upper, self.exact
        return sum(int(part.at.shape[-1]) for part in parts)

    def take(self, sets: IntArray | slice) -> "Many":
        """Return these sets only."""
        parts = [each.take(sets) for each in (self.passed, self.exact, self.lower, self.upper)]
        old = self.old if self.old.ndim == 1 else self.old[sets]
        return Many(parts[0], parts[1], parts[2], parts[3], old, self.constant[sets])


def arrange(
    entry: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
    weight: FloatArray,
    typical_age: float,
) -> Many:
    """Arrange sets of lives.

    Parameters
    ----------
    entry : ndarray, shape (n,), runs
    lower, upper : ndarray, shape (n,) or (b, n), runs
        As in `Observations`.
    weight : ndarray, shape (b, n)
        0 leaves a life out of a set.
    typical_age : float, runs
    """
    failed = np.isfinite(upper)
    exact = failed & (upper == lower)
    found = failed & ~exact
    lasted = lower > entry
    entries = Points(_logs(entry, typical_age), -weight * (lasted & (entry > 0)))
    log_lower, log_upper = _logs(lower, typical_age), _logs(upper, typical_age)
    plain = _packed(lasted & ~found, weight, log_lower)[0]
    then = _packed(exact, weight, log_lower)[0]
    new = np.where(lower > 0, 1.0, 0.0)
    under_watch = np.where(lasted, 1.0, 0.0)
    high, *rest = _packed(found, weight, log_upper, log_lower, new, under_watch)
    low, old, watched = rest[0].at, rest[1].at, rest[2].at
    if old.ndim > 1:
        # What fills a set up to the common width has no weight, and must not spoil the sum.
        old = np.where(high.weight > 0, old, 0.0)
    return Many(
        passed=_beside(plain, _compact(entries)),
        exact=then,
        lower=Points(low, high.weight * watched),
        upper=high,
        old=old,
        constant=-np.sum(then.weight * (then.at + np.log(typical_age)), axis=-1),
    )


def _logs(age: FloatArray, typical_age: float) -> FloatArray:
    """Log ages; 0 for those that are 0 or infinite, whose weight is 0."""
    fine = (age > 0) & np.isfinite(age)
    return np.log(np.where(fine, age, typical_age) / typical_age)


def _compact(points: Points) -> Points:
    used = (points.weight != 0).any(axis=0)
    return Points(points.at[used], points.weight[:, used])


def _packed(mask: BoolArray, weight: FloatArray, *values: FloatArray) -> list[Points]:
    """Return the marked lives of each set, one `Points` for each of the values."""
    if mask.ndim == 1:
        return [Points(value[mask], weight[:, mask]) for value in values]
    used = mask & (weight > 0)
    width = int(used.sum(axis=1).max(initial=0))
    places = np.argsort(~used, axis=1, kind="stable")[:, :width]
    kept = np.take_along_axis(np.where(used, weight, 0.0), places, axis=1)
    return [
        Points(np.take_along_axis(np.broadcast_to(value, mask.shape), places, axis=1), kept)
        for value in values
    ]


def _beside(first: Points, second: Points) -> Points:
    if not second.at.size:
        return first
    weight = np.concatenate([first.weight, second.weight], axis=1)
    shape = (len(weight), second.at.size)
    other = second.at if first.at.ndim == 1 else np.broadcast_to(second.at, shape)
    return Points(np.concatenate([first.at, other], axis=-1), weight)


def _moments(weights: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the sums of weights times 1, age and age squared, over lives."""
    if at.ndim == 1:
        sums = weights @ np.stack([np.ones_like(at), at, at**2], axis=1)
        return sums[:, 0], sums[:, 1], sums[:, 2]
    turned = weights * at
    return weights.sum(axis=1), turned.sum(axis=1), np.einsum("bm,bm->b", turned, at)


class _Sums:
    """Value, gradient and Hessian in (intercept, slope), gathered part by part."""

    def __init__(self, sets: int) -> None:
        self.value = np.zeros(sets)
        self.first = np.zeros((2, sets))
        self.second = np.zeros((3, sets))

    def add(self, weight: FloatArray, at: FloatArray, jet: Jet, sign: float = 1.0) -> None:
        """Add a function of z at each life."""
        slopes = _moments(weight * jet[1], at)
        bends = slopes if jet[2] is jet[1] else _moments(weight * jet[2], at)
        heights = slopes[0] if jet[0] is jet[1] else np.einsum("bm,bm->b", weight, jet[0])
        self.value += sign * heights
        self.first += sign * np.stack(slopes[:2])
        self.second += sign * np.stack(bends)


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def derivatives(law: Law, many: Many, theta: FloatArray) -> Jet:
    """Return each set's log likelihood with gradient (b, 2) and Hessian (b, 2, 2) in theta.

    Parameters
    ----------
    law : Law
    many : Many
    theta : ndarray, shape (b, 2)
        Intercept and log slope in scaled log age, one point a set.
    """
    size = max(1, _CELLS // max(many.rows, 1))
    if len(many) <= size:
        return _block(law, many, theta)
    firsts = range(0, len(many), size)
    places = [slice(first, first + size) for first in firsts]
    parts = [_block(law, many.take(place), theta[place]) for place in places]
    value, gradient, hessian = (np.concatenate(part) for part in zip(*parts, strict=True))
    return value, gradient, hessian


def _block(law: Law, many: Many, theta: FloatArray) -> Jet:
    slope = np.exp(theta[:, 1])
    sums = _Sums(len(theta))

    def at(log_age: FloatArray) -> FloatArray:
        return theta[:, :1] + slope[:, None] * log_age

    if many.passed.at.size:
        jet = law.hazard(at(many.passed.at))
        sums.add(many.passed.weight, many.passed.at, jet, -1.0)
    if many.exact.at.size:
        jet = law.hazard(at(many.exact.at))
        rate = law.log_rate(at(many.exact.at))
        sums.add(many.exact.weight, many.exact.at, rate)
    if many.upper.at.size:
        _add_found(law, many, at, sums)
    exact = many.exact.weight.sum(axis=1)
    value = sums.value + many.constant + exact * theta[:, 1]
    by_slope = sums.first[1] * slope
    gradient = np.stack([sums.first[0], by_slope + exact], axis=1)
    mixed, bend = sums.second[1] * slope, sums.second[2] * slope**2 + by_slope
    hessian = np.stack([sums.second[0], mixed, mixed, bend], axis=1).reshape(-1, 2, 2)
    return np.where(np.isnan(value), -np.inf, value), gradient, hessian


def _add_found(law: Law, many: Many, at: Callable[[FloatArray], FloatArray], sums: _Sums) -> None:
    """Add lives found failed at a look."""
    x_low, x_high, weight = many.lower.at, many.upper.at, many.upper.weight
    low = law.hazard(at(x_low))
    high = law.hazard(at(x_high))
    alike = low[1] is low[0] and low[2] is low[1]
    first_low = low[0] * many.old
    low = (first_low,) * 3 if alike else (first_low, low[1] * many.old, low[2] * many.old)
    sums.add(many.lower.weight, x_low, low, -1.0)
    ratio = 1.0 / np.expm1(np.minimum(high[0] - low[0], 700.0))
    rise_low, rise_high = low[1] * x_low, high[1] * x_high
    by_intercept, by_slope = high[1] - low[1], rise_high - rise_low
    pull, tug = ratio * by_intercept, ratio * by_slope
    bend_low, bend_high = (rise_low, rise_high) if alike else (low[2] * x_low, high[2] * x_high)
    bend = pull if alike else ratio * (high[2] - low[2])
    twist = tug if alike else ratio * (bend_high - bend_low)
    curl = ratio * (bend_high * x_high - bend_low * x_low)
    sums.value -= _summed(weight, np.log1p(ratio))
    sums.first += np.stack([_summed(weight, pull), _summed(weight, tug)])
    sums.second += np.stack(
        [
            _summed(weight, bend - pull * (by_intercept + pull)),
            _summed(weight, twist - pull * (by_slope + tug)),
            _summed(weight, curl - tug * (by_slope + tug)),
        ]
    )


def _summed(weight: FloatArray, term: FloatArray) -> FloatArray:
    """Sum over lives; a life that is not in a set does not spoil it."""
    total: FloatArray = np.einsum("bm,bm->b", weight, term)
    return total

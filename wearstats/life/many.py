"""Many sets of lives at once: their likelihoods and their maxima, for resampling.

The likelihood is that of `wearstats.life.likelihood`, in fewer operations: with B the hazard
added between two looks, r = 1/(exp(B) - 1), a life found failed adds -log(1 + r), whose slope in
B is r and whose curvature is -r(1 + r). That is exact but for ages between which almost no hazard
is added, which simulated looks do not have; `tests/properties/test_bootstrap.py` holds the two
together. Newton's method leaves sets that have come to rest out of the next evaluation.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.life.axes import Axis
from wearstats.life.distributions import Jet, Law

_AT_REST = 1e-9
"""Newton decrement (squared standard errors) at which a set is left with one last step."""

_CELLS = 40_000
"""Lives times sets evaluated at once: as much as stays in the cache."""

_STUCK = 1e-10

Objective: TypeAlias = Callable[[IntArray, FloatArray], Jet]
"""Which sets, and their points (k, p), to value (k,), gradient (k, p) and Hessian (k, p, p)."""


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Log ages, shape (m,) where all sets share them or (b, m), with weights (b, m)."""

    at: FloatArray
    weight: FloatArray

    def take(self, sets: IntArray) -> "Points":
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

    def take(self, sets: IntArray) -> "Many":
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
    places = [np.arange(first, min(first + size, len(many))) for first in firsts]
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


@dataclass(frozen=True, slots=True, eq=False)
class Climb:
    """Where Newton's method ended: points (b, p), values (b,), and whether they are maxima."""

    theta: FloatArray
    value: FloatArray
    converged: BoolArray


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def climb(objective: Objective, start: FloatArray, *, most_steps: int = 100) -> Climb:
    """Climb to a maximum of each set.

    Parameters
    ----------
    objective : function
    start : ndarray, shape (b, p), p = 1 or 2
    most_steps : int
    """
    theta = np.array(start, dtype=np.float64)
    value = np.full(len(theta), -np.inf)
    converged = np.zeros(len(theta), dtype=np.bool_)
    going = np.arange(len(theta))
    here, jet = theta.copy(), objective(going, theta)
    height = jet[0]
    step, decrement = _step(jet[1], jet[2], here)
    for _ in range(most_steps):
        rest = decrement <= _AT_REST
        stop = rest | ~(np.abs(step).max(axis=1) > _STUCK)
        if stop.any():
            leaving = going[stop]
            theta[leaving] = here[stop] + np.where(rest[stop, None], step[stop], 0.0)
            value[leaving] = height[stop] + np.where(rest[stop], decrement[stop] / 2, 0.0)
            converged[leaving] = decrement[stop] <= _AT_REST * 1e3
            stay = ~stop
            going, here, height = going[stay], here[stay], height[stay]
            step, decrement = step[stay], decrement[stay]
        if not going.size:
            break
        ahead = here + step
        jet = objective(going, ahead)
        climbs = jet[0] >= height - 1e-12 * (1.0 + np.abs(height))
        new_step, new_decrement = _step(jet[1], jet[2], ahead)
        here = np.where(climbs[:, None], ahead, here)
        height = np.where(climbs, jet[0], height)
        step = np.where(climbs[:, None], new_step, step / 2)
        decrement = np.where(climbs, new_decrement, decrement)
    theta[going], value[going] = here, height
    return Climb(theta, value, converged)


def _step(
    gradient: FloatArray, hessian: FloatArray, theta: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return an uphill step and the Newton decrement."""
    gradient, hessian = np.nan_to_num(gradient), np.nan_to_num(hessian)
    if gradient.shape[1] == 1:
        step = gradient / np.maximum(np.abs(hessian[:, 0]), 1e-300)
    else:
        step = _solved(gradient, hessian)
    decrement = np.sum(gradient * step, axis=1)
    longest = 1.0 + np.abs(theta) / 4
    excess = (np.abs(step) / longest).max(axis=1, keepdims=True)
    return step / np.maximum(excess, 1.0), decrement


def _solved(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Solve the 2 by 2 Newton equations, shifted where the Hessian is not negative definite."""
    a, b, c = hessian[:, 0, 0], hessian[:, 0, 1], hessian[:, 1, 1]
    middle, half = (a + c) / 2, np.hypot((a - c) / 2, b)
    top, size = middle + half, np.abs(middle) + half + 1e-300
    shift = np.where(top < -1e-13 * size, 0.0, top + np.maximum(np.abs(top), 1e-8 * size))
    a, c = a - shift, c - shift
    whole = a * c - b * b
    return np.stack(
        [
            (b * gradient[:, 1] - c * gradient[:, 0]) / whole,
            (b * gradient[:, 0] - a * gradient[:, 1]) / whole,
        ],
        axis=1,
    )


def maximise(law: Law, many: Many, start: FloatArray) -> Climb:
    """Fit every set, from one point or one a set; intercept alone where the slope is fixed."""
    first = np.broadcast_to(start, (len(many), 2))
    taken = _taker(many)
    if law.fixed_slope is None:
        return climb(lambda sets, theta: derivatives(law, taken(sets), theta), first)
    held = first[:, 1]

    def objective(sets: IntArray, part: FloatArray) -> Jet:
        theta = np.stack([part[:, 0], held[sets]], axis=1)
        value, gradient, hessian = derivatives(law, taken(sets), theta)
        return value, gradient[:, :1], hessian[:, :1, :1]

    found = climb(objective, first[:, :1])
    theta = np.stack([found.theta[:, 0], held], axis=1)
    return Climb(theta, found.value, found.converged)


def profile(law: Law, many: Many, axis: Axis, c: float, free: FloatArray) -> Climb:
    """Fit every set with one quantity held; points are those of the free parameter, (b, 1).

    Parameters
    ----------
    law : Law
        With a free slope.
    many : Many
    axis : Axis
        Of one quantity.
    c : float
        The value to hold it at.
    free : ndarray, shape (b,)
        Where to start.
    """
    taken = _taker(many)

    def objective(sets: IntArray, part: FloatArray) -> Jet:
        held = np.maximum(part[:, 0], axis.least_free)
        curve = axis.curve(np.full(len(sets), c), held)
        theta = np.nan_to_num(curve.theta)
        value, gradient, hessian = derivatives(law, taken(sets), theta)
        reached = np.isfinite(curve.theta).all(axis=1)
        turned = np.einsum("bij,bj->bi", hessian, curve.by_free)
        first = np.sum(gradient * curve.by_free, axis=1)
        second = np.sum(curve.by_free * turned + gradient * curve.by_free_twice, axis=1)
        loose = part[:, 0] >= axis.least_free
        value = np.where(reached, value, -np.inf)
        return value, (first * loose)[:, None], (second * loose)[:, None, None]

    return climb(objective, free[:, None])


def _taker(many: Many) -> Callable[[IntArray], Many]:
    """Return a function that takes sets out, and remembers the last it took."""
    last = [(len(many), many)]

    def taken(sets: IntArray) -> Many:
        if len(sets) != last[0][0]:
            last[0] = (len(sets), many.take(sets))
        return last[0][1]

    return taken

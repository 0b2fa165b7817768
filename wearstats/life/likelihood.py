"""The likelihood of strip lives, once, for every kind of knowledge and every law.

With cumulative hazard H a life known sound at `entry` and `lower` and failed by `upper` adds

    -(H(lower) - H(entry)) + log(1 - exp(-(H(upper) - H(lower))))

or, where the failing age is known exactly, -(H(upper) - H(entry)) + log h(upper), or, where
it has not failed, -(H(lower) - H(entry)). It is a density in age (the Jacobian of the log is
in) and no constant is dropped.

Parameters are theta = (intercept, log slope) of `wearstats.life.distributions`, on axis -1;
all leading axes are a batch. The arrays of a `Sample` may carry the same leading axes, so that
many data sets (or many weightings of one) are evaluated at once.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import TooFewError
from wearstats.life.distributions import Jet, Law

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations

_LOG_TWO = float(np.log(2.0))


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Lives sorted by what is known of them, equal rows joined, ages scaled.

    Parameters
    ----------
    typical_age : float, runs
        Log ages below are those of age/typical_age, so that the likelihood is well scaled
        whatever ages are counted in.
    passed, passed_weight : ndarray, shape (..., m)
        Log ages at which the cumulative hazard enters plainly, with its weight: + a life last
        seen sound (or failed exactly) there, - a life that entered there.
    early, early_weight : ndarray
        Log ages of first looks that found a strip failed which was new at entry.
    between_lower, between_upper, between_weight : ndarray
        Failed between two looks.
    exact, exact_weight : ndarray
        Failed exactly then.
    lives, failures : float
        Informative lives and failures, by weight.
    truncated : bool
        True where a life entered after age 0.
    """

    typical_age: float
    passed: FloatArray
    passed_weight: FloatArray
    early: FloatArray
    early_weight: FloatArray
    between_lower: FloatArray
    between_upper: FloatArray
    between_weight: FloatArray
    exact: FloatArray
    exact_weight: FloatArray
    lives: float
    failures: float
    truncated: bool

    @property
    def rows(self) -> int:
        """Number of distinct ages and intervals."""
        parts = (self.passed, self.early, self.between_lower, self.between_upper, self.exact)
        return sum(part.shape[-1] for part in parts)

    def log_age(self, age: float | FloatArray) -> FloatArray:
        """Return log(age/typical age), -inf at 0."""
        with np.errstate(divide="ignore"):
            return np.log(np.asarray(age, dtype=np.float64) / self.typical_age)


def gather(observations: "Observations") -> Sample:
    """Sort lives by kind of knowledge and join equal rows.

    Raises
    ------
    TooFewError
        No life says anything: none was seen to last past its entry or to fail.
    """
    tells = observations.informative
    if not tells.any():
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise TooFewError(message, have=0, need=1)
    entry, lower = observations.entry[tells], observations.lower[tells]
    upper, weight = observations.upper[tells], observations.weight[tells]
    failed = np.isfinite(upper)
    exact = failed & (upper == lower)
    early = failed & (lower == 0)
    between = failed & ~exact & ~early
    typical = typical_age(observations)

    passed = np.concatenate([lower, entry])
    passed_weight = np.concatenate([weight, -weight])
    past_zero = passed > 0
    passed, passed_weight = _joined(passed[past_zero], passed_weight[past_zero])
    looked = np.column_stack([lower, upper])[between]
    pairs, places = np.unique(looked, axis=0, return_inverse=True)
    first, first_weight = _joined(upper[early], weight[early])
    then, then_weight = _joined(upper[exact], weight[exact])
    return Sample(
        typical_age=typical,
        passed=np.log(passed / typical),
        passed_weight=passed_weight,
        early=np.log(first / typical),
        early_weight=first_weight,
        between_lower=np.log(pairs[:, 0] / typical),
        between_upper=np.log(pairs[:, 1] / typical),
        between_weight=_counted(places.ravel(), weight[between], len(pairs)),
        exact=np.log(then / typical),
        exact_weight=then_weight,
        lives=float(weight.sum()),
        failures=float(weight[failed].sum()),
        truncated=bool((entry > 0).any()),
    )


def typical_age(observations: "Observations") -> float:
    """Return the geometric mean of the ages the lives reached.

    A failed life counts with the middle of its interval, a sound one with its last look. The
    prior is centred on it, and it scales the ages; only informative lives count.
    """
    tells = observations.informative
    lower, upper = observations.lower[tells], observations.upper[tells]
    reached = np.where(np.isfinite(upper), (lower + upper) / 2, lower)
    weight = observations.weight[tells]
    return float(np.exp(np.sum(weight * np.log(reached)) / weight.sum()))


def _joined(ages: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    found, places = np.unique(ages, return_inverse=True)
    total = _counted(places, weights, len(found))
    kept = total != 0
    return found[kept], total[kept]


def _counted(places: IntArray, weights: FloatArray, size: int) -> FloatArray:
    """Sum of the weights at each place; 0.0 and not a whole number where there are none."""
    return np.bincount(places, weights, size).astype(np.float64)


def log_likelihood(law: Law, sample: Sample, theta: FloatArray) -> FloatArray:
    """Return the log likelihood, shape (...,), at theta, shape (..., 2)."""
    return _sum(law, sample, theta, with_derivatives=False)[0]


def derivatives(law: Law, sample: Sample, theta: FloatArray) -> Jet:
    """Return the log likelihood with gradient (..., 2) and Hessian (..., 2, 2) in theta."""
    return _sum(law, sample, theta, with_derivatives=True)


def log_likelihood_by_life(
    law: Law, observations: "Observations", intercept: float, slope: float
) -> FloatArray:
    """Return each life's own log likelihood, shape (n,), weights not applied.

    Parameters
    ----------
    law : Law
    observations : Observations
    intercept, slope : float
        z = intercept + slope * log(age), age in runs (not scaled).
    """

    def at(age: FloatArray) -> FloatArray:
        return intercept + slope * np.log(np.where(age > 0, age, 1.0))

    entry, lower, upper = observations.entry, observations.lower, observations.upper
    failed = np.isfinite(upper)
    exact = failed & (upper == lower)
    between = failed & ~exact
    new = lower == 0
    value = np.where(entry > 0, law.hazard(at(entry))[0], 0.0)
    value = value - np.where(new, 0.0, law.hazard(at(lower))[0])
    z_upper = at(np.where(failed, upper, 1.0))
    rate = law.log_rate(z_upper)[0] + np.log(slope) - np.log(np.where(exact, upper, 1.0))
    value = value + np.where(exact, rate, 0.0)
    log_added = _log_added(law.log_hazard(at(lower))[0], law.log_hazard(z_upper)[0], ~between, new)
    return value + np.where(between, log_failed(log_added)[0], 0.0)


def _log_added(lower: FloatArray, upper: FloatArray, skip: BoolArray, new: BoolArray) -> FloatArray:
    """Return log(H(upper) - H(lower)) from the logs."""
    gap = np.where(skip | new, 1.0, upper - lower)
    return np.where(new, upper, upper + log1mexp(gap))


def log1mexp(gap: FloatArray) -> FloatArray:
    """Return log(1 - exp(-gap)) for gap > 0 without cancellation.

    Source: Maechler 2012, "Accurately computing log(1 - exp(-|a|))", R package Rmpfr
    (from memory).
    """
    small = gap < _LOG_TWO
    near = np.log(-np.expm1(-np.where(small, gap, 1.0)))
    return np.where(small, near, np.log1p(-np.exp(-np.where(small, 1.0, gap))))


def log_share_failed(log_added: FloatArray) -> FloatArray:
    """Return log(1 - exp(-B)) from log B."""
    tiny = log_added < -700.0  # noqa: PLR2004 - below, B is no normal float and the log is log B
    return np.where(tiny, log_added, log1mexp(np.exp(np.clip(log_added, -700.0, 700.0))))


def log_failed(log_added: FloatArray) -> Jet:
    """Return log(1 - exp(-B)) and its derivatives in log B, from log B."""
    tiny = log_added < -700.0  # noqa: PLR2004 - below, B is no normal float and the log is log B
    added = np.exp(np.clip(log_added, -700.0, 700.0))
    lasted, failed = np.exp(-added), -np.expm1(-added)
    # As in log1mexp, whose exponentials the derivatives need too.
    small = added < _LOG_TWO
    value = np.where(small, np.log(failed), np.log1p(-np.where(small, 0.0, lasted)))
    share = added * lasted / failed
    return np.where(tiny, log_added, value), share, share * (1.0 - added - share)


def _design(log_age: FloatArray) -> FloatArray:
    return np.stack([np.ones_like(log_age), log_age], axis=-1)


def _outer(weight: FloatArray, left: FloatArray, right: FloatArray) -> FloatArray:
    """Sum of weight * left right' over the lives: (..., m), (..., m, p), (..., m, q)."""
    product: FloatArray = np.swapaxes(left, -1, -2) @ (weight[..., None] * right)
    return product


def _sum(law: Law, sample: Sample, theta: FloatArray, *, with_derivatives: bool) -> Jet:
    intercept, slope = theta[..., 0], np.exp(theta[..., 1])

    def at(log_age: FloatArray) -> FloatArray:
        return intercept[..., None] + slope[..., None] * log_age

    value = np.zeros(theta.shape[:-1])
    gradient = np.zeros(theta.shape)
    hessian = np.zeros((*theta.shape, theta.shape[-1]))
    for log_age, weight, jet in _points(law, sample, at):
        value = value + np.sum(weight * jet[0], axis=-1)
        if with_derivatives:
            design = _design(log_age)
            gradient = gradient + ((weight * jet[1])[..., None, :] @ design)[..., 0, :]
            hessian = hessian + _outer(weight * jet[2], design, design)
    if sample.exact.size:
        count = np.sum(sample.exact_weight, axis=-1)
        logs = np.sum(sample.exact_weight * sample.exact, axis=-1)
        value = value + count * (theta[..., 1] - np.log(sample.typical_age)) - logs
    if sample.between_lower.size:
        ends = at(sample.between_lower), at(sample.between_upper)
        terms = _between(law, sample, *ends, with_derivatives=with_derivatives)
        value, gradient, hessian = value + terms[0], gradient + terms[1], hessian + terms[2]
    if not with_derivatives:
        return value, gradient, hessian
    return value, *_in_log_slope(sample, slope, gradient, hessian)


def _points(
    law: Law, sample: Sample, at: Callable[[FloatArray], FloatArray]
) -> Iterator[tuple[FloatArray, FloatArray, Jet]]:
    """Yield log ages, weights and jets in z of all that is known at one age."""
    if sample.passed.size:
        yield sample.passed, -sample.passed_weight, law.hazard(at(sample.passed))
    if sample.exact.size:
        yield sample.exact, sample.exact_weight, law.log_rate(at(sample.exact))
    if sample.early.size:
        log_hazard, first, second = law.log_hazard(at(sample.early))
        failed, share, bend = log_failed(log_hazard)
        jet = (failed, share * first, share * second + bend * first**2)
        yield sample.early, sample.early_weight, jet


def _between(
    law: Law, sample: Sample, z_lower: FloatArray, z_upper: FloatArray, *, with_derivatives: bool
) -> Jet:
    """Sum over lives that failed between two looks, with derivatives in (intercept, slope)."""
    weight = sample.between_weight
    low, low1, low2 = law.log_hazard(z_lower)
    high, high1, high2 = law.log_hazard(z_upper)
    gap = high - low
    log_added = high + log1mexp(gap)
    value, share, bend = log_failed(log_added)
    value = np.sum(weight * value, axis=-1)
    if not with_derivatives:
        return value, np.zeros(1), np.zeros((1, 1))
    design_low, design_high = _design(sample.between_lower), _design(sample.between_upper)
    ratio = 1.0 / np.expm1(np.minimum(gap, 700.0))
    step_high = high1[..., None] * design_high
    widening = step_high - low1[..., None] * design_low
    step = step_high + ratio[..., None] * widening
    gradient = ((weight * share)[..., None, :] @ step)[..., 0, :]
    pull = weight * share
    hessian = (
        _outer(pull * (1.0 + ratio) * high2, design_high, design_high)
        - _outer(pull * ratio * low2, design_low, design_low)
        - _outer(pull * ratio * (1.0 + ratio), widening, widening)
        + _outer(weight * bend, step, step)
    )
    return value, gradient, hessian


def _in_log_slope(
    sample: Sample, slope: FloatArray, gradient: FloatArray, hessian: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Turn derivatives in (intercept, slope) into those in (intercept, log slope)."""
    turn = np.ones_like(gradient)
    turn[..., 1] = slope
    hessian = hessian * turn[..., :, None] * turn[..., None, :]
    gradient = gradient * turn
    hessian[..., 1, 1] += gradient[..., 1]
    gradient[..., 1] += np.sum(sample.exact_weight, axis=-1)
    return gradient, hessian

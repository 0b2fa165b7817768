"""The likelihood of the run-by-run hazard, once, for every law, frailty and kind of knowledge.

    H(a) = z_u * sum over stretches k of [H0(a_k) - H0(a_(k-1))] * exp(x_k' beta)

A life known sound at `lower` and failed by `upper` adds, given z, -(H(lower) - H(entry)) and
log(1 - exp(-(H(upper) - H(lower)))); with an exact failure the log hazard; and a unit's lives
are summed over z. No frailty is the same sum with one node at z = 1. Lives that entered late
condition their whole unit on having lasted until the entries,

    integral of prod[S(entry|z) L(z)] f(z) dz / integral of prod[S(entry|z)] f(z) dz,

because units that wear strips out fast are rarer among those that were still sound.

Parameters are theta = (intercept, log slope, beta, tau), tau only with a frailty; ages are in
units of `typical_age` and covariates standardised as `Exposures` says. Derivatives hold the
nodes, so they are the quadrature of the derivatives and as accurate as the value.
"""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.life.distributions import Law
from wearstats.life.exposures import Exposures, Segments
from wearstats.life.frailties import Frailty
from wearstats.life.likelihood import log1mexp
from wearstats.life.mixtures import Gathered, Hazards, Looked, Mixture, summed

Point: TypeAlias = tuple[float, FloatArray, FloatArray]
"""A value with its gradient (q,) and Hessian (q, q)."""


def log_gathered(law: Law, segments: Segments, theta: FloatArray) -> Hazards:
    """Return the log hazard each segment adds at z = 1, with derivatives."""
    slope = np.exp(theta[1])
    beta = theta[2 : 2 + segments.covariates.shape[1]]
    new = np.isneginf(segments.start)
    stop, start = slope * segments.stop, slope * np.where(new, 0.0, segments.start)
    high, high1, high2 = law.log_hazard(theta[0] + stop)
    low, low1, low2 = law.log_hazard(theta[0] + start)
    gap = np.where(new, 1.0, np.maximum(high - low, 1e-300))
    log = high + np.where(new, 0.0, log1mexp(gap)) + segments.covariates @ beta
    ratio = np.where(new, 0.0, 1.0 / np.expm1(np.minimum(gap, 700.0)))
    ends = np.stack([np.ones_like(stop), stop], axis=1)
    begins = np.stack([np.ones_like(start), start], axis=1)
    up, down = (1.0 + ratio)[:, None], ratio[:, None]
    widening = high1[:, None] * ends - low1[:, None] * begins
    first = up * high1[:, None] * ends - down * low1[:, None] * begins
    second = (
        (up * high2[:, None] * ends)[:, :, None] * ends[:, None, :]
        - (down * low2[:, None] * begins)[:, :, None] * begins[:, None, :]
        - (down * up * widening)[:, :, None] * widening[:, None, :]
    )
    second[:, 1, 1] += first[:, 1]
    return Hazards(log, np.hstack([first, segments.covariates]), second)


def _log_rates(law: Law, exact: Segments, theta: FloatArray, typical: float) -> Hazards:
    """Return the log hazard at exact failures, a density in age, at z = 1."""
    slope = np.exp(theta[1])
    step = slope * exact.stop
    value, rate1, rate2 = law.log_rate(theta[0] + step)
    beta = theta[2 : 2 + exact.covariates.shape[1]]
    log = value + theta[1] - exact.stop - np.log(typical) + exact.covariates @ beta
    design = np.stack([np.ones_like(step), step], axis=1)
    first = rate1[:, None] * design
    second = (rate2[:, None] * design)[:, :, None] * design[:, None, :]
    second[:, 1, 1] += first[:, 1]
    first[:, 1] += 1.0
    return Hazards(log, np.hstack([first, exact.covariates]), second)


def log_likelihood(law: Law, frailty: Frailty | None, lives: Exposures, theta: FloatArray) -> float:
    """Return the log likelihood; -inf where the hazard is too large for a float."""
    return _sum(law, frailty, lives, theta, with_derivatives=False)[0]


def derivatives(law: Law, frailty: Frailty | None, lives: Exposures, theta: FloatArray) -> Point:
    """Return the log likelihood with gradient (q,) and Hessian (q, q) in theta."""
    return _sum(law, frailty, lives, theta, with_derivatives=True)


def remembered(likelihood: Callable[[FloatArray], Point]) -> Callable[[FloatArray], Point]:
    """Return the same function, which knows its last answer: climbs ask at one place again."""
    last: list[tuple[FloatArray, Point]] = []

    def at(theta: FloatArray) -> Point:
        if not last or not np.array_equal(last[0][0], theta):
            last[:] = [(theta.copy(), likelihood(theta))]
        return last[0][1]

    return at


@np.errstate(over="ignore", invalid="ignore", under="ignore", divide="ignore")
def _sum(
    law: Law,
    frailty: Frailty | None,
    lives: Exposures,
    theta: FloatArray,
    *,
    with_derivatives: bool,
) -> Point:
    value, gradient, hessian = 0.0, np.zeros(theta.size), np.zeros((theta.size,) * 2)
    if lives.exact.group.size:
        rates = _log_rates(law, lives.exact, theta, lives.typical_age)
        value = float(lives.exact.weight @ rates.log)
        linear = rates.first.shape[1]
        gradient[:linear] = lives.exact.weight @ rates.first
        hessian[:linear, :linear] = rates.curvature(lives.exact.weight, raised=False)
    mixture = _mixture(law, frailty, lives, theta)
    value += mixture.log
    if not np.isfinite(value):
        return -np.inf, np.full_like(gradient, np.nan), np.full_like(hessian, np.nan)
    if with_derivatives:
        first, second = mixture.derivatives(theta.size)
        gradient, hessian = gradient + first, hessian + second
    return value, gradient, hessian


def _mixture(law: Law, frailty: Frailty | None, lives: Exposures, theta: FloatArray) -> Mixture:
    """Return the integrals over z; those up to the entries are taken away."""
    sure, entered, between = lives.sure, lives.entered, lives.between
    hazards = log_gathered(law, _joined(sure, entered, between), theta)
    ends = np.cumsum([sure.group.size, entered.group.size])
    by_kind = [hazards.some(part) for part in _slices(ends)]
    alone = frailty is None
    units = 1 if alone else len(lives.units)

    def unit_of(group: IntArray) -> IntArray:
        return np.zeros_like(group) if alone else group

    def gathered(kind: int, segments: Segments, unit: IntArray) -> Gathered:
        return Gathered(by_kind[kind], segments.weight * np.exp(by_kind[kind].log), unit)

    looked = Looked(by_kind[2], between.group, lives.looked_weight, unit_of(lives.looked_unit))
    count = summed(unit_of(lives.exact.group), units, lives.exact.weight)
    parts = [gathered(0, sure, unit_of(sure.group))]
    if alone or not entered.group.size:
        return Mixture.of(frailty, theta, parts, count, looked)
    # Of a unit with late entries there is one more: itself up to them.
    place = np.cumsum(np.append(0, entered.group[1:] != entered.group[:-1]))
    late = int(place[-1]) + 1
    parts += [gathered(1, entered, entered.group), gathered(1, entered, units + place)]
    count = np.concatenate([count, np.zeros(late)])
    return Mixture.of(frailty, theta, parts, count, looked, taken_away=late)


def _joined(*parts: Segments) -> Segments:
    return Segments(
        np.concatenate([part.start for part in parts]),
        np.concatenate([part.stop for part in parts]),
        np.concatenate([part.covariates for part in parts]),
        np.concatenate([part.group for part in parts]),
        np.concatenate([part.weight for part in parts]),
    )


def _slices(ends: IntArray) -> list[slice]:
    """Return the parts of what is joined, from where all but the last end."""
    return [
        slice(begin, end)
        for begin, end in zip([0, *ends.tolist()], [*ends.tolist(), None], strict=True)
    ]

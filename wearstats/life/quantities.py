"""Quantities of a regression that intervals are asked for, each with its derivatives.

A quantity is a function of theta that moves one way with one parameter, its pivot, all
others held. It is stated on a scale on which it has no bounds: log hazard ratio, log life,
log(-log chance).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.life.distributions import Law
from wearstats.life.exposures import Segments
from wearstats.life.frailties import Frailty
from wearstats.life.hazard_likelihood import Point, log_gathered
from wearstats.life.mixtures import Gathered, Looked, Mixture, nothing_looked


class Quantity(Protocol):
    """A function of theta."""

    @property
    def pivot(self) -> int:
        """The parameter it is solved for."""
        ...

    def point(self, theta: FloatArray) -> Point:
        """Return value, gradient and Hessian."""
        ...


@dataclass(frozen=True, slots=True)
class Coordinate:
    """A parameter itself."""

    pivot: int

    def point(self, theta: FloatArray) -> Point:
        """Return value, gradient and Hessian."""
        gradient = np.zeros(theta.size)
        gradient[self.pivot] = 1.0
        return float(theta[self.pivot]), gradient, np.zeros((theta.size,) * 2)


@dataclass(frozen=True, slots=True)
class Acceleration:
    """Log of the factor on life of one unit of a covariate, -beta/shape (Weibull)."""

    pivot: int

    def point(self, theta: FloatArray) -> Point:
        """Return value, gradient and Hessian."""
        step = -float(np.exp(-theta[1]))
        value = float(theta[self.pivot]) * step
        gradient, hessian = np.zeros(theta.size), np.zeros((theta.size,) * 2)
        gradient[self.pivot], gradient[1] = step, -value
        hessian[self.pivot, 1] = hessian[1, self.pivot] = -step
        hessian[1, 1] = value
        return value, gradient, hessian


@dataclass(frozen=True, slots=True, eq=False)
class LogHazard:
    """Log of -log of the chance to last `ahead`, given that `past` was lasted.

    Parameters
    ----------
    law : Law
    frailty : Frailty or None
        With one, the chance is that of a unit not seen before, summed over z; `past` tells of
        it. Without one the past says nothing more.
    past, ahead : Segments
        Of one life.
    """

    law: Law
    frailty: Frailty | None
    past: Segments
    ahead: Segments
    pivot: int = 0

    @np.errstate(over="ignore", invalid="ignore", under="ignore", divide="ignore")
    def point(self, theta: FloatArray) -> Point:
        """Return value, gradient and Hessian."""
        if self.frailty is None:
            return self._plain(theta)
        both = self._lasted(theta, [self.past, self.ahead])
        if self.past.group.size:
            before = self._lasted(theta, [self.past])
            both = (both[0] - before[0], both[1] - before[1], both[2] - before[2])
        return _log_of((-both[0], -both[1], -both[2]))

    def _plain(self, theta: FloatArray) -> Point:
        hazards = log_gathered(self.law, self.ahead, theta)
        one = np.ones(1)
        looked = Looked(hazards, self.ahead.group, one, np.zeros(1, dtype=np.intp))
        value, first, share = looked.pooled()
        hessian = hazards.curvature(share, raised=True) - first.T @ first
        return float(value[0]), first[0], hessian

    def _lasted(self, theta: FloatArray, segments: Sequence[Segments]) -> Point:
        """Return the log chance to last, summed over z."""
        parts = []
        for segment in segments:
            hazards = log_gathered(self.law, segment, theta)
            parts.append(Gathered(hazards, np.exp(hazards.log), segment.group))
        none = nothing_looked(theta.size - 1)
        mixture = Mixture.of(self.frailty, theta, parts, np.zeros(1), none)
        return mixture.log, *mixture.derivatives(theta.size)


@dataclass(frozen=True, slots=True, eq=False)
class LogLife:
    """Log of the age, in typical ages, by which a share has failed at fixed covariates.

    Parameters
    ----------
    law : Law
    frailty : Frailty or None
    covariates : ndarray, shape (p,)
        Standardised.
    failed : float
    """

    law: Law
    frailty: Frailty | None
    covariates: FloatArray
    failed: float
    pivot: int = 0

    def point(self, theta: FloatArray) -> Point:
        """Return value, gradient and Hessian, by the implicit function."""
        slope = float(np.exp(theta[1]))
        target = float(np.log(-np.log1p(-self.failed)))
        log_age = (self.law.quantile(self.failed) - float(theta[0])) / slope
        for _ in range(100):
            value, first, second = self._hazard(log_age, theta)
            step = (target - value) / (slope * first[0])
            log_age += float(np.clip(step, -5.0 / slope, 5.0 / slope))
            if abs(step) * slope < 1e-13 * (1 + abs(target)):
                break
        by_age = slope * first[0]
        mixed = slope * second[0]
        mixed[1] += by_age
        turn = np.outer(mixed, -first / by_age)
        gradient = -first / by_age
        bend = slope**2 * second[0, 0] * np.outer(gradient, gradient)
        return log_age, gradient, -(second + turn + turn.T + bend) / by_age

    def _hazard(self, log_age: float, theta: FloatArray) -> Point:
        none = steady(np.zeros(0), np.zeros(0), self.covariates)
        new = steady(np.array([-np.inf]), np.array([log_age]), self.covariates)
        return LogHazard(self.law, self.frailty, none, new).point(theta)


def steady(start: FloatArray, stop: FloatArray, covariates: FloatArray) -> Segments:
    """Return stretches of one life, log ages, all with the same covariates or each its own."""
    size = start.size
    rows = np.broadcast_to(covariates, (size, covariates.shape[-1]))
    return Segments(start, stop, rows, np.zeros(size, dtype=np.intp), np.ones(size))


def _log_of(point: Point) -> Point:
    value, first, second = point
    step = first / value
    return float(np.log(value)), step, second / value - np.outer(step, step)

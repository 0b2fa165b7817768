"""Sums over a unit's frailty: the log integrals, and their derivatives with the nodes held."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.life.frailties import Frailty, nodes
from wearstats.life.likelihood import log_failed, log_share_failed


@dataclass(frozen=True, slots=True, eq=False)
class Hazards:
    """Log hazard gathered over each segment, with derivatives in (intercept, log slope, beta).

    Parameters
    ----------
    log : ndarray, shape (s,)
    first : ndarray, shape (s, q)
    second : ndarray, shape (s, 2, 2)
        In intercept and log slope; it is 0 in beta.
    """

    log: FloatArray
    first: FloatArray
    second: FloatArray

    def some(self, part: slice) -> "Hazards":
        """Return those of some segments."""
        return Hazards(self.log[part], self.first[part], self.second[part])

    def curvature(self, weight: FloatArray, *, raised: bool) -> FloatArray:
        """Sum weight * (second + raised * first first'), shape (q, q)."""
        total = np.zeros((self.first.shape[1],) * 2)
        if raised:
            total += self.first.T @ (weight[:, None] * self.first)
        total[:2, :2] += (weight @ self.second.reshape(-1, 4)).reshape(2, 2)
        return total


def summed(group: IntArray, size: int, values: FloatArray) -> FloatArray:
    """Sum rows by group, shape (size, ...); groups stand in rising order."""
    out = np.zeros((size, *values.shape[1:]))
    if group.size:
        begins = _begins(group)
        out[group[begins]] = np.add.reduceat(values, begins, axis=0)
    return out


def _begins(group: IntArray) -> IntArray:
    """Return where each group begins."""
    new = np.ones(group.size, dtype=np.bool_)
    np.not_equal(group[1:], group[:-1], out=new[1:])
    return new.nonzero()[0]


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """Hazard gathered while nothing failed.

    Parameters
    ----------
    hazards : Hazards
    amount : ndarray, shape (s,)
        Hazard of each segment times its weight.
    unit : ndarray of int, shape (s,)
    """

    hazards: Hazards
    amount: FloatArray
    unit: IntArray

    def by_unit(self, units: int) -> tuple[FloatArray, FloatArray]:
        """Return the amount of each unit, shape (u,), and its gradient, shape (u, q)."""
        first = self.amount[:, None] * self.hazards.first
        return summed(self.unit, units, self.amount), summed(self.unit, units, first)


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """Hazard between the two looks of lives that failed there.

    Parameters
    ----------
    hazards : Hazards
    group : ndarray of int, shape (s,)
        Which of the m lives.
    weight : ndarray, shape (m,)
    unit : ndarray of int, shape (m,)
    """

    hazards: Hazards
    group: IntArray
    weight: FloatArray
    unit: IntArray

    def pooled(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the log hazard of each life (m,), its gradient (m, q), segment shares (s,)."""
        lives = self.weight.size
        if not lives:
            return np.zeros(0), np.zeros((0, self.hazards.first.shape[1])), np.zeros(0)
        begins = _begins(self.group)
        most = np.maximum.reduceat(self.hazards.log, begins)
        scaled = np.exp(self.hazards.log - most[self.group])
        total = summed(self.group, lives, scaled)
        share = scaled / total[self.group]
        first = summed(self.group, lives, share[:, None] * self.hazards.first)
        return most + np.log(total), first, share


def nothing_looked(parameters: int) -> Looked:
    """Return no lives that failed between two looks."""
    none, whole = np.zeros(0), np.zeros(0, dtype=np.intp)
    hazards = Hazards(none, np.zeros((0, parameters)), np.zeros((0, 2, 2)))
    return Looked(hazards, whole, none, whole)


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """The log of an integral over z, summed over units.

    Parameters
    ----------
    log : float
    sign : ndarray, shape (u, 1)
        -1 for units whose log is taken away, else 1.
    parts : tuple of Gathered
    looked : Looked
    looked_first, looked_share : ndarray, shape (m, q), (s,)
    share, z : ndarray, shape (u, k)
        Each node's share in its unit's integral, and its z.
    failed1, failed2 : ndarray, shape (m, k)
        Derivatives of log(1 - exp(-z B)) in log B at the nodes.
    tau1, tau2 : ndarray, shape (u, k), or None
        Derivatives of the log density in tau; None without a frailty.
    """

    log: float
    sign: FloatArray
    parts: tuple[Gathered, ...]
    looked: Looked
    looked_first: FloatArray
    looked_share: FloatArray
    share: FloatArray
    z: FloatArray
    failed1: FloatArray
    failed2: FloatArray
    tau1: FloatArray | None
    tau2: FloatArray | None

    @classmethod
    def of(
        cls,
        frailty: Frailty | None,
        theta: FloatArray,
        parts: Sequence[Gathered],
        count: FloatArray,
        looked: Looked,
        *,
        taken_away: int = 0,
    ) -> "Mixture":
        """Integrate.

        Parameters
        ----------
        frailty : Frailty or None
            None is one node at z = 1.
        theta : ndarray
        parts : sequence of Gathered
        count : ndarray, shape (u,)
            Exact failures.
        looked : Looked
        taken_away : int
            How many of the last units are taken away and not added; none of them looked.
        """
        units = count.size
        sign = np.ones((units, 1))
        sign[units - taken_away :] = -1.0
        log_looked, looked_first, looked_share = looked.pooled()
        total = np.zeros(units)
        for part in parts:
            total = total + summed(part.unit, units, part.amount)

        by_unit = partial(summed, looked.unit, units)

        def kept(w: FloatArray, failed: FloatArray) -> FloatArray:
            looks = by_unit(looked.weight[:, None] * failed)
            return count[:, None] * w - np.exp(w) * total[:, None] + looks

        tau = float(theta[-1])
        w = log_weight = np.zeros((units, 1))
        tau1 = tau2 = None
        if frailty is not None and np.isfinite(total).all():

            def height(w: FloatArray) -> FloatArray:
                failed = log_share_failed(w[looked.unit] + log_looked[:, None])
                return kept(w, failed) + frailty.height(w, tau)

            def lean(w: FloatArray) -> tuple[FloatArray, FloatArray]:
                _, first, second = log_failed(w[looked.unit] + log_looked)
                looks = by_unit(looked.weight[:, None] * np.column_stack([first, second]))
                pull, taken = frailty.pull(w, tau), np.exp(w) * total
                return count - taken + looks[:, 0] + pull[0], looks[:, 1] - taken + pull[1]

            # Where little hazard came between two looks, a failure there counts as one known
            # exactly at half of it.
            between = np.minimum(np.exp(np.minimum(log_looked, 1.0)) / 2, 1.0)
            found = by_unit(
                looked.weight[:, None] * np.column_stack([np.ones_like(between), between])
            )
            held = 1.0 / np.clip(frailty.variance(tau), 1e-12, 1e12)
            start = np.log(held + count + found[:, 0]) - np.log(held + total + found[:, 1])
            w, log_weight = nodes(lean, height, start)
            density, tau1, tau2 = frailty.log_density(w, tau)
            log_weight = log_weight + density
        failed = log_failed(w[looked.unit] + log_looked[:, None])
        terms = kept(w, failed[0]) + log_weight
        most = terms.max(axis=1, initial=-np.inf)
        share = np.exp(terms - most[:, None])
        whole = share.sum(axis=1)
        log = most + np.log(whole)
        share /= whole[:, None]
        return cls(
            float(sign[:, 0] @ log),
            sign,
            tuple(parts),
            looked,
            looked_first,
            looked_share,
            share,
            np.exp(w),
            failed[1],
            failed[2],
            tau1,
            tau2,
        )

    def derivatives(self, parameters: int) -> tuple[FloatArray, FloatArray]:
        """Return gradient and Hessian in all parameters, tau last where there is a frailty."""
        looked, first = self.looked, self.looked_first
        units, linear = self.share.shape[0], first.shape[1]
        signed = self.sign * self.share
        z_mean = np.sum(signed * self.z, axis=1)
        at_looked = self.share[looked.unit]
        pull = looked.weight * np.sum(at_looked * self.failed1, axis=1)
        bend = looked.weight * np.sum(at_looked * self.failed2, axis=1)
        gradient, hessian = np.zeros(parameters), np.zeros((parameters, parameters))
        block = hessian[:linear, :linear]
        by_unit = np.zeros((units, linear))
        for part in self.parts:
            by_unit += part.by_unit(units)[1]
            block -= part.hazards.curvature(z_mean[part.unit] * part.amount, raised=True)
        gradient[:linear] = pull @ first - z_mean @ by_unit
        weight = pull[looked.group] * self.looked_share
        block += looked.hazards.curvature(weight, raised=True)
        block += first.T @ ((bend - pull)[:, None] * first)
        if self.tau1 is not None and self.tau2 is not None:
            gradient[-1] = np.sum(signed * self.tau1)
            hessian[-1, -1] = np.sum(signed * self.tau2)
            hessian += self._spread(by_unit, self.tau1)
        return gradient, hessian

    def _spread(self, by_unit: FloatArray, tau1: FloatArray) -> FloatArray:
        """Return the sum over units of the covariance of the nodes' gradients."""
        looked, (units, count) = self.looked, self.share.shape
        linear = by_unit.shape[1]
        steps = np.empty((units, count, linear + 1))
        pull = looked.weight[:, None] * self.failed1
        for column in range(linear):
            looks = summed(looked.unit, units, pull * self.looked_first[:, column, None])
            steps[:, :, column] = looks - self.z * by_unit[:, column, None]
        steps[:, :, linear] = tau1
        steps -= np.einsum("uk,ukq->uq", self.share, steps)[:, None, :]
        weighed = (self.sign * self.share)[:, :, None] * steps
        flat = steps.reshape(-1, linear + 1)
        spread: FloatArray = flat.T @ weighed.reshape(-1, linear + 1)
        return spread

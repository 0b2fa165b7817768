"""Cox's partial likelihood over stretches, ties by Efron's rule: its sums over risk sets.

lifelines finds the coefficients (`cox`); these sums verify them and give what it cannot give for
covariates that change: errors that are robust to clusters, and the proportionality test.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray

_CELLS = 2_000_000
"""Stretches times failing ages that are worked on at once."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Stretches (start, stop] with covariates, and which of them end in a failure.

    Parameters
    ----------
    start, stop : ndarray, shape (s,), runs
    fails : ndarray of bool, shape (s,)
    covariates : ndarray, shape (s, p)
    """

    start: FloatArray
    stop: FloatArray
    fails: BoolArray
    covariates: FloatArray

    @property
    def ages(self) -> FloatArray:
        """Ages at which anything fails, rising."""
        return np.unique(self.stop[self.fails])

    def blocks(self) -> Iterator[tuple[FloatArray, BoolArray, BoolArray]]:
        """Yield failing ages (k,), who is at risk and who fails then, both (k, s)."""
        ages = self.ages
        step = max(1, _CELLS // max(1, self.stop.size))
        for first in range(0, ages.size, step):
            some = ages[first : first + step]
            watched = (self.start < some[:, None]) & (some[:, None] <= self.stop)
            yield some, watched, watched & self.fails & (self.stop == some[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class Partial:
    """The partial likelihood at one point.

    Parameters
    ----------
    value : float
        Log partial likelihood.
    score : ndarray, shape (p,)
    information : ndarray, shape (p, p)
        Minus the Hessian.
    residuals : ndarray, shape (s, p)
        Score residuals of the stretches; they sum to the score.
    age, failed : ndarray, shape (d,)
        Ages of failure and how many failed then.
    excess : ndarray, shape (d, p)
        Schoenfeld residuals summed over the failures of each age.
    spread : ndarray, shape (d, p, p)
        What each age adds to the information.
    """

    value: float
    score: FloatArray
    information: FloatArray
    residuals: FloatArray
    age: FloatArray
    failed: IntArray
    excess: FloatArray
    spread: FloatArray


def partial(stretches: Stretches, beta: FloatArray) -> Partial:
    """Return the partial likelihood and its parts.

    Efron 1977, JASA 72:557-565 (ties); Therneau & Grambsch 2000, Modeling Survival Data,
    chapters 3 and 7 (residuals; from memory).

    Parameters
    ----------
    stretches : Stretches
    beta : ndarray, shape (p,)
    """
    x = stretches.covariates
    eta = x @ beta
    shift = float(eta.max(initial=0.0))
    risk = np.exp(eta - shift)
    value = 0.0
    residuals = np.zeros(x.shape)
    ages, counts, excess, spread = [], [], [], []
    for some, watched, failing in stretches.blocks():
        for at, age in enumerate(some):
            inside, dead = watched[at], failing[at]
            one = _at_age(x, risk, inside, dead)
            value += float(np.sum(eta[dead]) - np.sum(np.log(one.total) + shift))
            residuals[inside] -= one.expected
            residuals[dead] += x[dead] - one.mean.mean(axis=0)
            ages.append(age)
            counts.append(int(dead.sum()))
            excess.append(x[dead].sum(axis=0) - one.mean.sum(axis=0))
            spread.append(one.spread)
    gathered = np.array(spread)
    return Partial(
        value=value,
        score=np.array(excess).sum(axis=0),
        information=gathered.sum(axis=0),
        residuals=residuals,
        age=np.array(ages),
        failed=np.array(counts, dtype=np.int64),
        excess=np.array(excess),
        spread=gathered,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _AtAge:
    """At one failing age: Efron's d risk sets, and what the stretches in them were to expect."""

    total: FloatArray
    mean: FloatArray
    spread: FloatArray
    expected: FloatArray


def _at_age(x: FloatArray, risk: FloatArray, inside: BoolArray, dead: BoolArray) -> _AtAge:
    count = int(dead.sum())
    gone = np.arange(count) / count
    inner, falls = x[inside], dead[inside]
    weight = risk[inside]
    # Of the l-th of d ties the tied ones are counted less by l/d.
    share = weight * (1.0 - gone[:, None] * falls)
    total = share.sum(axis=1)
    mean = (share @ inner) / total[:, None]
    second = np.einsum("ls,sp,sq->pq", share / total[:, None], inner, inner)
    hazard = share / total[:, None]
    expected = hazard.sum(axis=0)[:, None] * inner - hazard.T @ mean
    return _AtAge(total, mean, second - mean.T @ mean, expected)

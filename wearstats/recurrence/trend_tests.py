"""Do failures come faster with total runs? Tests of one unit, and of several pooled.

Laplace's and the handbook's test ask whether failures come at an even rate (a homogeneous
Poisson process). Strips that wear make gaps more even than that, and these two then reject less
often than their level says; failures in clusters make them reject more often. Lewis and Robinson's
test, the reversals and the order of the gaps ask only whether the gaps follow one law in any order
(a renewal process): the fairer question where every failure ends in new strips.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import TooFewError
from wearstats.recurrence.histories import History

_LISTED_AT_MOST = 50_000
"""So many orders of the gaps are listed one by one; beyond it, the normal law."""
_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class TrendTest:
    """The outcome of one test.

    Parameters
    ----------
    name : str
    statistic : float
        See the function that made it for its sign.
    p_value : float
        Two-sided.
    lean : int
        1 where failures came faster later on, -1 slower, 0 neither.
    failures : int
        Failures the test rests on.
    reference : str
        The law the statistic is held against.
    """

    name: str
    statistic: float
    p_value: float
    lean: int
    failures: int
    reference: str


def laplace(histories: Sequence[History]) -> TrendTest:
    """Test for an even rate by the mean age at failure; positive where failures crowd late.

    The sum over histories of age minus half the span, over its standard deviation: for one unit
    (mean(t) / T - 1/2) * sqrt(12 m). A failure at the very end of a history is left out.

    Raises
    ------
    TooFewError
        No failure before the end of its history.

    Notes
    -----
    Cox and Lewis 1966, The Statistical Analysis of Series of Events, section 3.3 (from memory).
    Normal reference, good from three or four failures on.
    """
    excess = variance = 0.0
    count = 0
    for history in histories:
        ages = _inner(history)
        excess += sum(ages) - len(ages) * history.end / 2
        variance += len(ages) * history.end**2 / 12
        count += len(ages)
    _need(count, 1, "Laplace's test")
    z = excess / math.sqrt(variance)
    return TrendTest("Laplace", z, _two_sided(z), _sign(z), count, "standard normal")


def handbook(histories: Sequence[History]) -> TrendTest:
    """Test for an even rate against the power law; small where failures crowd late.

    2 * sum of log(T / t), chi-square on twice the number of failures (those at the very end of
    a history left out: their term is nought).

    Raises
    ------
    TooFewError
        No failure before the end of its history.

    Notes
    -----
    MIL-HDBK-189; Crow 1974, in Reliability and Biometry (SIAM), 379-410 (from memory).
    """
    logs = [math.log(history.end / age) for history in histories for age in _inner(history)]
    _need(len(logs), 1, "the handbook's test")
    statistic = 2 * math.fsum(logs)
    below = float(special.chdtr(2 * len(logs), statistic))
    above = float(special.chdtrc(2 * len(logs), statistic))
    p_value = min(1.0, 2 * min(below, above))
    reference = f"chi-square on {2 * len(logs)} degrees of freedom"
    return TrendTest("handbook", statistic, p_value, _sign(above - below), len(logs), reference)


def lewis_robinson(history: History) -> TrendTest:
    """Test for one law of gaps: Laplace's statistic over the gaps' coefficient of variation.

    Raises
    ------
    TooFewError
        Fewer than three gaps.

    Notes
    -----
    Lewis and Robinson 1974, in Reliability and Biometry (SIAM), 363-378 (from memory). Divisor
    n - 1. The normal reference is poor with few gaps; see `gap_order` for an exact one.
    """
    gaps = np.array(history.gaps)
    _need(gaps.size, 3, "Lewis and Robinson's test")
    variation = float(gaps.std(ddof=1) / gaps.mean()) if gaps.mean() > 0 else 0.0
    centred = laplace([history]).statistic
    # Gaps all alike: no trend whatever, not an infinite one.
    z = centred / variation if variation > _TIE else 0.0
    return TrendTest("Lewis-Robinson", z, _two_sided(z), _sign(z), gaps.size, "standard normal")


def reversals(history: History) -> TrendTest:
    """Count the pairs of gaps of which the later is the longer; many where failures slow down.

    Raises
    ------
    TooFewError
        Fewer than two gaps.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, chapter 8 ("reverse arrangement test"; from
    memory). The p-value is Kendall's: exact where no two gaps are alike and, with up to eight
    gaps, where some are; else normal, with the variance for ties and a continuity correction.
    """
    gaps = np.array(history.gaps)
    _need(gaps.size, 2, "the count of reversals")
    rises, falls = _rises_and_falls(gaps)
    later_longer, later_shorter = int(rises), int(falls)
    lead = abs(later_longer - later_shorter)
    if np.unique(gaps).size == gaps.size:
        from scipy import stats

        p_value = float(stats.kendalltau(np.arange(gaps.size), gaps).pvalue)
    elif math.factorial(gaps.size) <= _LISTED_AT_MOST:
        every_rise, every_fall = _rises_and_falls(gaps[_orders(gaps.size)])
        p_value = float(np.mean(np.abs(every_rise - every_fall) >= lead))
    else:
        alike = np.unique(gaps, return_counts=True)[1]
        variance = _kendall_variance(np.array([gaps.size])) - _kendall_variance(alike)
        p_value = _two_sided(max(lead - 1, 0) / math.sqrt(variance)) if variance > 0 else 1.0
    lean = _sign(later_shorter - later_longer)
    pairs = gaps.size * (gaps.size - 1) // 2
    return TrendTest(
        "reversals", float(later_longer), p_value, lean, gaps.size, f"orders of {pairs} pairs"
    )


def gap_order(gaps: Sequence[Sequence[float]]) -> TrendTest:
    """Test for one law of gaps by listing every order they could have come in.

    The statistic sums, over units and gaps, place of the gap (centred) times gap over the unit's
    mean gap: negative where gaps grow shorter. If nothing changes, every order of one unit's
    complete gaps is as likely as any other, whatever their law and wherever the watch ended, so
    that the p-value is exact for any number of gaps. It is twice the share of orders that go at
    least as far, on the side they lean to.

    Parameters
    ----------
    gaps : sequence of sequences of float
        Of each unit, in order.

    Raises
    ------
    TooFewError
        No unit has two gaps.

    Notes
    -----
    The permutation form of Lewis and Robinson's test. More than 50 000 orders are not listed:
    the normal law with the same variance is taken.
    """
    used = [np.array(each) / np.mean(each) for each in gaps if len(each) > 1 and sum(each) > 0]
    count = sum(each.size for each in used)
    _need(count, 2, "the order of the gaps")
    seen = sum(float(_places(each.size) @ each) for each in used)
    if orders_of(gaps) <= _LISTED_AT_MOST:
        every = np.zeros(1)
        for each in used:
            drawn = each[_orders(each.size)] @ _places(each.size)
            every = (every[:, None] + drawn).ravel()
        tails = (np.mean(every <= seen + _TIE), np.mean(every >= seen - _TIE))
        p_value = min(1.0, 2 * float(min(tails)))
        reference = f"all {every.size} orders"
    else:
        variance = sum(float(_places(each.size) @ _places(each.size) * each.var(ddof=1))
                       for each in used)  # fmt: skip
        p_value = _two_sided(seen / math.sqrt(variance)) if variance > _TIE else 1.0
        reference = "normal, with the variance over all orders"
    lean = 0 if abs(seen) <= _TIE else -_sign(seen)
    return TrendTest("order of gaps", seen, p_value, lean, count, reference)


def orders_of(gaps: Sequence[Sequence[float]]) -> int:
    """Return the number of orders that gaps could have come in within their units.

    Examples
    --------
    >>> orders_of([(5.0, 3.0, 2.0), (4.0, 6.0)])
    12
    """
    return math.prod(math.factorial(len(each)) for each in gaps)


def _places(count: int) -> FloatArray:
    return np.arange(count, dtype=np.float64) - np.float64((count - 1) / 2)


@lru_cache(maxsize=8)
def _orders(count: int) -> np.ndarray:
    return np.array(list(itertools.permutations(range(count))))


def _rises_and_falls(gaps: FloatArray) -> tuple[IntArray, IntArray]:
    """Count the pairs of which the later is longer, and shorter; gaps along the last axis."""
    early, late = np.triu_indices(gaps.shape[-1], 1)
    step = gaps[..., late] - gaps[..., early]
    return (step > 0).sum(axis=-1), (step < 0).sum(axis=-1)


def _kendall_variance(sizes: IntArray) -> float:
    return float((sizes * (sizes - 1) * (2 * sizes + 5)).sum() / 18)


def _inner(history: History) -> tuple[float, ...]:
    """Return the ages at failure, one at the very end left out."""
    return history.found[:-1] if history.ends_in_failure else history.found


def _two_sided(z: float) -> float:
    return float(2 * special.ndtr(-abs(z)))


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


def _need(have: int, need: int, what: str) -> None:
    if have < need:
        message = f"{what} needs {need} failures within a history; there are {have}"
        raise TooFewError(message, have=have, need=need)

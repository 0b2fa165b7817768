"""Cost per run of restripping after T runs: arrays in, arrays out.

Age replacement at whole numbers of runs (method: Barlow & Proschan 1965, Mathematical Theory of
Reliability, chapter 4). A cycle ends at a restrip. A burn-through in run k ends it after k runs;
that run counts in full. By the renewal-reward theorem the long-run cost per run is the cost of a
cycle over its expected runs:

    [c_p S(T) + c_f F(T) + c_b sum_{k=1..T} S(k-1) loss(k)] / sum_{k=0..T-1} S(k)
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError, UsageError

HORIZON = 1_000_000
"""Runs beyond which a plan stops telling ages apart: no set of strips gets there."""

_STEP = 1.02
_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class CycleCosts:
    """What ends and fills a cycle.

    Parameters
    ----------
    planned : float
        A planned restrip.
    failed : float
        A restrip after a burn-through, all told (planned cost and what it costs beyond).
    lost_psi : float
        One psi of boost lost over one run.

    Raises
    ------
    UsageError
        A cost is negative or not finite.
    """

    planned: float
    failed: float
    lost_psi: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no cost."""
        for name in ("planned", "failed", "lost_psi"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                message = f"the cost {name!r} must be a number not below 0, not {value}"
                raise UsageError(message)


def age_grid(every_run_to: int) -> FloatArray:
    """Return ages 0, 1, ... `every_run_to`, then whole ages in 2 % steps to the horizon.

    Examples
    --------
    >>> grid = age_grid(256)
    >>> int(grid[256]), int(grid[-1])
    (256, 1000000)
    """
    fine = np.arange(0, min(every_run_to, HORIZON - 1) + 1, dtype=np.float64)
    steps = math.ceil(math.log(HORIZON / fine[-1]) / math.log(_STEP)) + 1
    coarse = np.unique(np.rint(np.geomspace(fine[-1], HORIZON, steps)))
    return np.concatenate([fine, coarse[coarse > fine[-1]]])


def sums_up_to(ages: FloatArray, values: FloatArray) -> FloatArray:
    """Return sum_{k=0..a-1} of `values` for every age a, shape of `values`.

    Exact where the ages lie one run apart; linear between ages further apart.

    Examples
    --------
    >>> sums_up_to(np.array([0.0, 1.0, 2.0]), np.array([[1.0, 0.8, 0.5]])).tolist()
    [[0.0, 1.0, 1.8]]
    """
    runs = np.diff(ages)
    blocks = runs * values[:, :-1] + (runs - 1) / 2 * np.diff(values, axis=1)
    return np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(blocks, axis=1)], axis=1)


def cost_per_run(
    ages: FloatArray,
    survival: FloatArray,
    costs: CycleCosts,
    loss_psi: Callable[[FloatArray], FloatArray] | None = None,
) -> FloatArray:
    """Return the long-run cost per run of restripping at each age above 0.

    Parameters
    ----------
    ages : ndarray, shape (m,), runs
        Whole, rising, from 0; see `age_grid`.
    survival : ndarray, shape (n, m)
    costs : CycleCosts
    loss_psi : callable, optional
        Boost lost against a fresh build, psi, over the k-th run of a build, for k of shape (m,).

    Returns
    -------
    ndarray, shape (n, m - 1)
        For T = ages[1:]. The last stands for never restripping sound strips.
    """
    cycle = costs.planned * survival + costs.failed * (1 - survival)
    if loss_psi is not None and costs.lost_psi > 0:
        loss = np.asarray(loss_psi(ages + 1), dtype=np.float64)
        if loss.shape != ages.shape or not bool(np.all(np.isfinite(loss))):
            message = "the boost lost by age must give one finite number of psi for each age"
            raise PlanError(message)
        cycle = cycle + costs.lost_psi * sums_up_to(ages, survival * loss)
    return np.asarray(cycle[:, 1:] / sums_up_to(ages, survival)[:, 1:])


def best_ages(ages: FloatArray, costs: FloatArray) -> FloatArray:
    """Return for each row the first age of least cost, infinity where none beats the last.

    Parameters
    ----------
    ages : ndarray, shape (m,), runs
    costs : ndarray, shape (n, m)

    Returns
    -------
    ndarray, shape (n,), runs
    """
    least = np.argmin(costs, axis=1)
    gained = np.min(costs, axis=1) < costs[:, -1] * (1 - _TIE)
    return np.where(gained, ages[least], np.inf)


def ranges_within(
    ages: FloatArray, costs: FloatArray, most: float
) -> tuple[tuple[int, int | None], ...]:
    """Return the stretches of ages whose cost is at most `most`; None: no upper end.

    Examples
    --------
    >>> ranges_within(np.array([1.0, 2, 3, 4]), np.array([5.0, 3, 3.1, 6]), 3.2)
    ((2, 3),)
    >>> ranges_within(np.array([1.0, 2, 3, 4]), np.array([5.0, 3, 3.1, 3]), 3.2)
    ((2, None),)
    """
    inside = np.concatenate([[False], costs <= most, [False]])
    turns = np.flatnonzero(np.diff(inside.astype(np.int8)))
    last = ages.size - 1
    return tuple(
        (int(ages[start]), None if stop - 1 == last else int(ages[stop - 1]))
        for start, stop in zip(turns[::2], turns[1::2], strict=True)
    )

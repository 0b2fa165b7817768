"""Sharing runs and restrips out among the units, whenever they are made: dynamic programming.

Unit by unit, the least cost of n runs and m restrips among the units so far. The next-best way
differs from the best in the runs or restrips of some unit: the cheapest of the ways in which one
unit, each in turn, is kept from its share.
"""

from collections.abc import Sequence
from operator import itemgetter

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.plans.meet_ways import Cheapest, Split

Shares = tuple[tuple[int, int], ...]
"""Runs and restrips of each unit."""


def share_out(
    tables: Sequence[Cheapest], runs: int, restrips: int, unlike: Shares | None = None
) -> tuple[Split, ...] | None:
    """Return the cheapest splits; None where there are none.

    Parameters
    ----------
    tables : sequence of Cheapest
        One a unit.
    runs, restrips : int
        Runs of the meet, and the most restrips.
    unlike : Shares, optional
        Another way of sharing out runs and restrips is wanted.
    """
    costs = [table.cost[: restrips + 1, : runs + 1] for table in tables]
    kept: list[Sequence[FloatArray]] = [costs]
    if unlike is not None:
        kept = [_without(costs, unit, share) for unit, share in enumerate(unlike)]
    found = min((_cheapest_of(each, runs) for each in kept), key=itemgetter(0))
    if not np.isfinite(found[0]):
        return None
    return tuple(table.split(*share) for table, share in zip(tables, found[1], strict=True))


def worth_asking(
    tables: Sequence[Cheapest], runs: int, restrips: int, most: float
) -> tuple[tuple[int, int], ...]:
    """Return for each unit the most runs and restrips that a plan costing at most `most` has."""
    costs = [table.cost[: restrips + 1, : runs + 1] for table in tables]
    empty = np.full(costs[0].shape, np.inf)
    empty[0, 0] = 0.0
    before, after = [empty], [empty]
    for own, other in zip(costs, reversed(costs), strict=True):
        before.append(_with_one_more(before[-1], own)[0])
        after.append(_with_one_more(after[-1], other)[0])
    found = []
    for unit, own in enumerate(costs):
        others = _with_one_more(before[unit], after[len(costs) - 1 - unit])[0]
        # Of the others, at most so many restrips: the least over fewer.
        fewest = np.minimum.accumulate(others, axis=0)
        total = own + fewest[::-1, ::-1]
        fitted, made = np.nonzero(total <= most)
        found.append((int(made.max(initial=0)), int(fitted.max(initial=0))))
    return tuple(found)


def _without(
    costs: Sequence[FloatArray], unit: int, share: tuple[int, int]
) -> Sequence[FloatArray]:
    barred = costs[unit].copy()
    made, fitted = share
    barred[fitted, made] = np.inf
    return [*costs[:unit], barred, *costs[unit + 1 :]]


def _cheapest_of(costs: Sequence[FloatArray], runs: int) -> tuple[float, Shares]:
    """Return the least cost of all runs, and the shares."""
    total = np.full(costs[0].shape, np.inf)
    total[0, 0] = 0.0
    steps: list[IntArray] = []
    for own in costs:
        total, taken = _with_one_more(total, own)
        steps.append(taken)
    fitted = int(np.argmin(total[:, -1]))
    width = runs + 1
    made = runs
    least = float(total[fitted, made])
    shares: list[tuple[int, int]] = []
    if np.isfinite(least):
        for taken in reversed(steps):
            own_fitted, own_made = divmod(int(taken[fitted, made]), width)
            shares.append((own_made, own_fitted))
            fitted, made = fitted - own_fitted, made - own_made
    return least, tuple(reversed(shares))


def _with_one_more(total: FloatArray, own: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the least costs with one more unit, and which of its shares gives them."""
    deep, width = own.shape
    best = np.full(own.shape, np.inf)
    taken = np.zeros(own.shape, dtype=np.int64)
    for fitted, made in np.argwhere(np.isfinite(own)).tolist():
        rows, columns = deep - fitted, width - made
        each = total[:rows, :columns] + own[fitted, made]
        better = each < best[fitted:, made:]
        best[fitted:, made:] = np.where(better, each, best[fitted:, made:])
        taken[fitted:, made:][better] = fitted * width + made
    return best, taken

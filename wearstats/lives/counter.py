"""What the entered runs-since-restrip says, beside what is counted.

An entered counter includes its own run. It agrees if it equals the entry age plus the number
of runs, or plus their summed load; people keep either.
"""

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray

LOAD_PARTS = 1_000_000_000
"""Loads are summed as whole parts of a run, so that a sum does not depend on what stands
before it and is the same for any order of the rows."""

TOLERANCE_RUNS = 1e-6
_DECIMALS = 9


def entry_candidates(
    counter: FloatArray, number: FloatArray, load: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the entry ages an entered counter allows, the likelier first.

    Parameters
    ----------
    counter : ndarray, shape (n,), runs
        As entered on one run of each build.
    number, load : ndarray, shape (n,), runs
        Runs in the build up to and with that run: their number, and their summed load.

    Returns
    -------
    likelier, other : ndarray, shape (n,), runs
        A whole counter is first read as a number of runs, a fractional one as summed load.
        NaN where the counter is below what has been run since.
    """
    by_number = counter - number
    by_load = counter - load
    whole = np.abs(counter - np.rint(counter)) <= TOLERANCE_RUNS
    likelier = np.where(whole, by_number, by_load)
    other = np.where(whole, by_load, by_number)
    likelier, other = _no_less_than_none(likelier), _no_less_than_none(other)
    return np.where(np.isnan(likelier), other, likelier), other


def _no_less_than_none(entry: FloatArray) -> FloatArray:
    rounded = np.round(entry, _DECIMALS) + 0.0
    rounded = np.where(np.abs(rounded) <= TOLERANCE_RUNS, 0.0, rounded)
    return np.where(rounded < 0, np.nan, rounded)


def disagrees(
    counter: FloatArray, entry: FloatArray, number: FloatArray, load: FloatArray
) -> BoolArray:
    """Mark entered counters that agree with neither count; blanks agree, shape (n,)."""
    by_number = np.abs(counter - entry - number) <= TOLERANCE_RUNS
    by_load = np.abs(counter - entry - load) <= TOLERANCE_RUNS
    return np.asarray(~(by_number | by_load | np.isnan(counter)), dtype=np.bool_)


def counters_agree(
    counter: FloatArray, load_parts: IntArray, *, entry: float | None, since: int = 0
) -> bool:
    """Tell whether consecutive runs, taken as one build, agree with their entered counters.

    Parameters
    ----------
    counter : ndarray, shape (n,), runs
    load_parts : ndarray, shape (n,)
    entry : float or None
        Age before the first of them; None: whatever its first counter says.
    since : int
        Only counters from this run on are judged.
    """
    filled = np.flatnonzero(~np.isnan(counter))
    if not len(filled):
        return True
    number = np.asarray(filled + 1, dtype=np.float64)
    load = np.asarray(np.cumsum(load_parts)[filled] / LOAD_PARTS, dtype=np.float64)
    written = counter[filled]
    judged = filled >= since
    if entry is not None:
        entries = [entry]
    else:
        likelier, other = entry_candidates(written[:1], number[:1], load[:1])
        entries = [float(likelier[0]), float(other[0])]
    return any(
        not np.isnan(start)
        and not disagrees(written, np.full(len(filled), start), number, load)[judged].any()
        for start in entries
    )

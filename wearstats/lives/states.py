"""The state of the strips as it was known at each run."""

import numpy as np
import pandas as pd

from wearstats.arrays import IntArray


def last_seen(runs: pd.DataFrame) -> np.ndarray:
    """Return what the last look in the same build, up to and with each run, saw.

    Parameters
    ----------
    runs : DataFrame
        `StripLives.runs`.

    Returns
    -------
    ndarray of object, shape (n,)
        None before the first look.
    """
    row = np.arange(len(runs))
    seen = np.where(runs["strips"].notna().to_numpy(), row, -1)
    last = np.maximum.accumulate(seen) if len(row) else seen
    here = last >= build_starts(runs)
    state = np.full(len(row), None, dtype=object)
    state[here] = runs["strips"].to_numpy(dtype=object)[last[here]]
    return state


def build_starts(runs: pd.DataFrame) -> IntArray:
    """Return for each run the row of the first run in its build, shape (n,)."""
    row = np.arange(len(runs))
    fresh = np.ones(len(row), dtype=bool)
    unit, build = runs["unit"].to_numpy(dtype=object), runs["build"].to_numpy()
    fresh[1:] = (unit[1:] != unit[:-1]) | (build[1:] != build[:-1])
    starts = np.where(fresh, row, 0)
    return np.asarray(np.maximum.accumulate(starts) if len(row) else starts, dtype=np.int64)

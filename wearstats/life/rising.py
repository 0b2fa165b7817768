"""A direction along which no row falls and some rise, by linear programming."""

from collections.abc import Sequence

import numpy as np

from wearstats.arrays import FloatArray

_TOLERANCE = 1e-6
_RISES = 1e-4


def rising_direction(
    rows: FloatArray, bounds: Sequence[tuple[float, float]] | None = None
) -> FloatArray | None:
    """Return b, shape (q,), with d @ b >= 0 for every row d and more for some, or None.

    Parameters
    ----------
    rows : ndarray, shape (k, q)
    bounds : sequence of (float, float), length q, or None
        Within which b is sought; -1 to 1 each where left out.

    Notes
    -----
    A likelihood that gains along every row rises along b without end (Albert & Anderson 1984,
    Biometrika 71:1-10, for logistic regression; from memory).
    """
    from scipy.optimize import linprog

    lengths = np.abs(rows).max(axis=1, initial=0.0)
    told = np.unique(rows[lengths > 0] / lengths[lengths > 0, None], axis=0)
    if not told.size:
        return None
    best = linprog(
        -told.sum(axis=0),
        A_ub=-told,
        b_ub=np.zeros(told.shape[0]),
        bounds=(-1.0, 1.0) if bounds is None else list(bounds),
        method="highs",
    )
    if best.x is None:
        return None
    along = told @ best.x
    # The solver keeps its limits to about 1e-7 only.
    rises = along.max() > _RISES and along.min() > -_TOLERANCE
    return np.asarray(best.x, dtype=np.float64) if rises else None

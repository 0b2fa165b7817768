"""The nearest values that never fall: means of neighbours, pooled where they would."""

import numpy as np

from wearstats.arrays import FloatArray


def rising(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the never falling values nearest by weighted least squares, shape (m,).

    By pooling neighbours that violate the order (Ayer, Brunk, Ewing, Reid & Silverman 1955,
    Annals of Mathematical Statistics 26:641-647; from memory). A library has it too; loading that
    takes longer than a fleet's lives.

    Examples
    --------
    >>> rising(np.array([1.0, 3.0, 2.0, 4.0]), np.array([1.0, 1.0, 3.0, 1.0])).tolist()
    [1.0, 2.25, 2.25, 4.0]
    """
    means: list[float] = []
    weights: list[float] = []
    counts: list[int] = []
    for value, heavy in zip(values.tolist(), weight.tolist(), strict=True):
        mean, total, count = value, heavy, 1
        while means and means[-1] >= mean:
            other = weights.pop()
            mean = (means.pop() * other + mean * total) / (other + total)
            total, count = total + other, count + counts.pop()
        means.append(mean)
        weights.append(total)
        counts.append(count)
    return np.repeat(means, counts)

"""Single lives looked at now and then, for studies and tests that need no whole season."""

import numpy as np

from wearstats.arrays import FloatArray

MOST_BETWEEN = 4
"""Looks follow one another after one to so many runs, each gap as likely."""


def looked_at(
    fails: float, end: float, rng: np.random.Generator, *, last_look: bool = True
) -> tuple[float, float]:
    """Return the last age at which a life was seen sound, and the first at which it had failed.

    Parameters
    ----------
    fails, end : float, runs
        When it fails, and how long it is watched.
    rng : numpy.random.Generator
    last_look : bool
        Whether the watch ends with a look; else the last look may come after its end.

    Returns
    -------
    lower, upper : float, runs
        `upper` is infinite where no look found it failed.

    Examples
    --------
    >>> looked_at(7.5, 20.0, np.random.default_rng(1))
    (5.0, 9.0)
    """
    sound = 0.0
    while sound < end:
        ahead = sound + float(rng.integers(1, MOST_BETWEEN + 1))
        ahead = min(ahead, end) if last_look else ahead
        if ahead >= fails:
            return sound, ahead
        sound = ahead
    return sound, np.inf


def all_looked_at(
    fails: FloatArray, ends: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return lower and upper ages of lives one after another, each watch ended by a look."""
    pairs = zip(fails.tolist(), ends.tolist(), strict=True)
    lower, upper = np.array([looked_at(fail, end, rng) for fail, end in pairs]).reshape(-1, 2).T
    return lower, upper

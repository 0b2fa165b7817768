"""How good forecasts of yes or no were: arrays in, numbers out.

Each row carries two weights: how much it counts as happened, and as not happened. A known
outcome is (1, 0) or (0, 1). An outcome that is not known is shared between the two, or left out
while the known ones are weighed up for it (`inverse_chance_weights`).
"""

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError
from wearstats.estimates import Estimate

_LEAST_GROUPS = 3


def brier(chance: FloatArray, happened: FloatArray, not_happened: FloatArray) -> FloatArray:
    """Return the squared error of each forecast, shape (n,); 0 is best.

    Source: Brier 1950, Monthly Weather Review 78:1-3, in the form of Graf et al. 1999,
    Statistics in Medicine 18:2529-2545 (from memory).

    Examples
    --------
    >>> brier(np.array([0.8]), np.array([1.0]), np.array([0.0])).round(2).tolist()
    [0.04]
    """
    return np.asarray(happened * (1.0 - chance) ** 2 + not_happened * chance**2)


def log_score(chance: FloatArray, happened: FloatArray, not_happened: FloatArray) -> FloatArray:
    """Return minus the log of the chance given to what came, shape (n,); 0 is best.

    Source: Good 1952, Journal of the Royal Statistical Society B 14:107-114 (from memory).
    """
    with np.errstate(divide="ignore"):
        yes, no = -np.log(chance), -np.log1p(-chance)
    # A chance of nought given to what cannot be costs nothing.
    return np.asarray(
        np.where(happened > 0, happened * np.where(happened > 0, yes, 0.0), 0.0)
        + np.where(not_happened > 0, not_happened * np.where(not_happened > 0, no, 0.0), 0.0)
    )


def inverse_chance_weights(
    time: FloatArray, failed: BoolArray, at: FloatArray, lost: BoolArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Weigh right-censored outcomes by the inverse chance of having been watched so long.

    Parameters
    ----------
    time : ndarray, shape (n,)
        When it failed, or was last seen sound.
    failed : ndarray of bool, shape (n,)
    at : ndarray, shape (n,)
        Time by which the forecast says it fails.
    lost : ndarray of bool, shape (n,), optional
        Those lost from watch, whom G describes; None: all that have not failed. The others left
        it as it was set to end.

    Returns
    -------
    happened, not_happened : ndarray, shape (n,)
        1/G(time) for failures at or before `at`, 1/G(at) for those watched past it, 0 for the
        rest. G is the product-limit curve of the censoring times, in which failures leave the
        risk set before censorings at the same time; it is read at the time itself.

    Raises
    ------
    ObservationError
        Nobody is watched long enough for a weight.

    Notes
    -----
    Source: Graf et al. 1999 (from memory); conventions as in tests/reference/test_brier.py.
    """
    gone = ~failed if lost is None else lost
    censored, leaving = np.unique(time[gone], return_counts=True)
    everyone, failures = np.sort(time), np.sort(time[failed])
    beforehand = np.searchsorted(everyone, censored)
    same_time = np.searchsorted(failures, censored, "right") - np.searchsorted(failures, censored)
    present = time.size - beforehand - same_time
    steps = np.cumprod(1.0 - leaving / present) if censored.size else np.zeros(0)
    curve = np.concatenate([[1.0], steps])

    def watched(age: FloatArray) -> FloatArray:
        return np.asarray(curve[np.searchsorted(censored, age, side="right")])

    happened, beyond = failed & (time <= at), time > at
    chance = np.where(happened, watched(time), watched(at))
    if np.any((happened | beyond) & (chance <= 0)):
        message = "nobody is watched long enough to weigh these outcomes"
        raise ObservationError(message)
    weight = np.divide(1.0, chance, out=np.zeros(time.size), where=chance > 0)
    return np.where(happened, weight, 0.0), np.where(beyond, weight, 0.0)


def mean_by_group(values: FloatArray, groups: np.ndarray, level: float) -> Estimate:
    """Return the mean with an interval that takes values of one group as belonging together.

    Parameters
    ----------
    values : ndarray, shape (n,)
    groups : ndarray, shape (n,)
    level : float

    Returns
    -------
    Estimate
        Student's t on groups less one (Liang & Zeger 1986, Biometrika 73:13-22, from memory);
        no interval below three groups.
    """
    from scipy.special import stdtrit

    mean = float(values.mean())
    _, place = np.unique(groups, return_inverse=True)
    sums = np.bincount(place, values - mean)
    count = sums.size
    if count < _LEAST_GROUPS:
        return Estimate(mean, None, None, level)
    spread = float(np.sqrt(count / (count - 1) * (sums**2).sum())) / values.size
    reach = float(stdtrit(count - 1, 0.5 + level / 2)) * spread
    return Estimate(mean, mean - reach, mean + reach, level)

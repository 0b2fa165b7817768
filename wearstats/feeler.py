"""What a feeler reading says: an interval, its middle and its standard uncertainty."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError

BLADE_STEP_THOU = 1.0
"""Step between blades: what a single written number can resolve."""
FEEL_U_THOU = 0.25
"""Feel, leaf tolerance and rotor position: 0.25 to 0.5 thou that no averaging removes (common
practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class FeelerReadings:
    """Go / no-go readings as numbers.

    Parameters
    ----------
    mean_thou : ndarray
        Middle of the interval; NaN where it has none.
    u_thou : ndarray
        Standard uncertainty of the middle, width / sqrt(12); infinite where one-sided above.
    censoring : ndarray of str
        "interval"; "exact" (one number written); "left" (the thinnest blade did not enter: from
        0 up to it); "right" (the thickest blade entered: no upper end, never to be averaged);
        "none" (no reading).
    """

    mean_thou: FloatArray
    u_thou: FloatArray
    censoring: NDArray[np.str_]


def feeler(
    low_thou: ArrayLike, high_thou: ArrayLike, *, step_thou: float = BLADE_STEP_THOU
) -> FeelerReadings:
    """Turn go / no-go readings into a middle and its uncertainty.

    Parameters
    ----------
    low_thou, high_thou : array_like
        Thickest blade that enters and thinnest that does not; NaN where there is none.
    step_thou : float
        What a single written number resolves; 0 for a micrometer.

    Returns
    -------
    FeelerReadings

    Raises
    ------
    ObservationError
        A reading whose low end lies above its high end.

    Notes
    -----
    Uniform within the interval (JCGM 100:2008, 4.3.7). `FEEL_U_THOU` is not in it.
    """
    low, high = np.broadcast_arrays(np.asarray(low_thou, float), np.asarray(high_thou, float))
    if (low > high).any():
        first = np.flatnonzero((low > high).ravel())[0]
        message = (
            f"a reading from {low.ravel()[first]:g} to {high.ravel()[first]:g} thou is upside "
            "down: the blade that enters must be the thinner one"
        )
        raise ObservationError(message)
    no_low, no_high = np.isnan(low), np.isnan(high)
    censoring = np.select(
        [no_low & no_high, no_high, no_low, low == high],
        ["none", "right", "left", "exact"],
        default="interval",
    )
    floor = np.where(no_low & ~no_high, 0.0, low)
    width = np.where(censoring == "exact", step_thou, high - floor)
    uncertainty = np.where(censoring == "right", np.inf, width / math.sqrt(12.0))
    return FeelerReadings(np.asarray((floor + high) / 2.0), uncertainty, censoring)

"""What both regressions ask of their rows."""

from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import ObservationError

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations

_WHOLE = 1e-9
_ROUNDING = 1e-12


def whole_weights(observations: "Observations") -> IntArray:
    """Return how many lives each stands for.

    Raises
    ------
    ObservationError
        A weight is no whole number.
    """
    nearest = np.rint(observations.weight)
    odd = np.abs(observations.weight - nearest) > _WHOLE
    if odd.any():
        at = int(np.argmax(odd))
        message = (
            f"{observations.labels[at]}: weight {observations.weight[at]:g} is no whole number of "
            "lives; hazard ratios without a law of life take whole lives"
        )
        raise ObservationError(message)
    return nearest.astype(np.int64)


def covariates_that_vary(covariates: FloatArray, names: tuple[str, ...]) -> FloatArray:
    """Return the standard deviation of each covariate.

    Raises
    ------
    ObservationError
        There is none, or one is the same throughout.
    """
    if not names:
        message = "no covariate: there is no hazard ratio to tell"
        raise ObservationError(message)
    spread = covariates.std(axis=0)
    size = np.abs(covariates).max(axis=0)
    for name, wide, large, one in zip(names, spread, size, covariates[0], strict=True):
        if wide <= _ROUNDING * large or wide == 0.0:
            message = f"{name} is {one:g} throughout: its hazard ratio cannot be told"
            raise ObservationError(message)
    return np.asarray(spread, dtype=np.float64)

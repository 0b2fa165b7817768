"""What the life models see: entry, lower, upper and weight of each life, and nothing else."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError


@dataclass(frozen=True, slots=True)
class Observations:
    """Lives of one failure mode, as half-open intervals (lower, upper].

    Parameters
    ----------
    entry : ndarray, shape (n,), runs
        Age at which the life came under observation, known sound.
    lower : ndarray, shape (n,), runs
        Last age known sound; `entry` where nobody looked since.
    upper : ndarray, shape (n,), runs
        First age known failed: infinite where right-censored, equal to `lower` where the
        failure was seen exactly then.
    weight : ndarray, shape (n,)
        Number of lives alike this row stands for, above 0.
    labels : tuple of str, length n
        A name for each life, for messages.

    Raises
    ------
    ObservationError
        Lengths differ, a number is missing, or not 0 <= entry <= lower <= upper with
        upper > entry; the message names the first life at fault.
    """

    entry: FloatArray
    lower: FloatArray
    upper: FloatArray
    weight: FloatArray
    labels: tuple[str, ...]

    def __post_init__(self) -> None:
        """Copy, freeze and check the arrays."""
        for name in ("entry", "lower", "upper", "weight"):
            values = np.array(getattr(self, name), dtype=np.float64)
            if values.shape != (len(self.labels),):
                message = f"{len(self.labels)} labels but {name} has shape {values.shape}"
                raise ObservationError(message)
            values.flags.writeable = False
            object.__setattr__(self, name, values)
        fine = (
            (self.entry >= 0)
            & (self.lower >= self.entry)
            & np.isfinite(self.lower)
            & (self.upper >= self.lower)
            & (self.upper > self.entry)
            & (self.weight > 0)
            & np.isfinite(self.weight)
        )
        if not fine.all():
            at = int(np.flatnonzero(~fine)[0])
            message = (
                f"{self.labels[at]}: entry {self.entry[at]:g}, lower {self.lower[at]:g}, upper "
                f"{self.upper[at]:g}, weight {self.weight[at]:g} is no life; expected "
                "0 <= entry <= lower <= upper, upper above entry, weight above 0"
            )
            raise ObservationError(message)

    @property
    def failed(self) -> BoolArray:
        """Lives that ended in failure, shape (n,)."""
        return np.isfinite(self.upper)

    @property
    def informative(self) -> BoolArray:
        """Lives that say anything at all: seen sound after entry, or failed; shape (n,)."""
        return (self.lower > self.entry) | self.failed

    @property
    def count(self) -> float:
        """Number of lives (sum of weights)."""
        return float(self.weight.sum())

    @property
    def failures(self) -> float:
        """Number of failures (sum of weights)."""
        return float(self.weight[self.failed].sum())

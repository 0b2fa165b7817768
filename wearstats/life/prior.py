"""What is believed of strip life before the records speak."""

import math
from dataclasses import dataclass
from typing import TypedDict

from wearstats.errors import UsageError


class PriorDict(TypedDict):
    """The stable JSON form of a prior."""

    log_shape: dict[str, float]
    log_median_runs: dict[str, float]
    spread_left: dict[str, float]
    words: str


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of strip life before the records speak; normal on log scales.

    Parameters
    ----------
    shape : float
        Middle of the prior of the shape (1/sigma of log life).
    log_shape_sd : float
    median_runs : float or None
        Middle of the prior of the median life; None takes the geometric mean of the ages the
        lives reached, so that the prior is at home in the records' own range.
    log_median_sd : float
        1.0 lets the median life be five times more or less, nine times in ten. Wider, and a fleet
        of which little is known yet is said to last far longer than strips do.

    Raises
    ------
    UsageError
        A number that is not above 0.
    """

    shape: float = 2.0
    log_shape_sd: float = 0.6
    median_runs: float | None = None
    log_median_sd: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what is not above 0."""
        for name in ("shape", "log_shape_sd", "median_runs", "log_median_sd"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                message = f"the prior's {name} must be a number above 0, not {value:g}"
                raise UsageError(message)

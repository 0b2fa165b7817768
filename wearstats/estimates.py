"""An estimate is never a bare number: it carries its interval, level and unit."""

import math
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, TypedDict

from wearstats.numbers import level, plain, quantity

if TYPE_CHECKING:
    import pandas as pd


class EstimateDict(TypedDict):
    """The stable JSON form of an estimate; null where the data give no finite end."""

    estimate: float | None
    low: float | None
    high: float | None
    level: float


def _finite_or_none(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


@dataclass(frozen=True, slots=True, repr=False)
class Estimate:
    """A number with its interval.

    Parameters
    ----------
    estimate : float or None
        None where the data give a bound and no estimate.
    low, high : float or None
        Ends of the interval; None where the data do not bound that side.
    level : float
        Nominal coverage, 0 to 1.
    unit : str
        Unit in words ("runs", "thou", "psi"), empty for a pure number.
    note : str
        What the reader must know about this number, or empty.

    Examples
    --------
    >>> Estimate(8.0, 6.0, 11.0, 0.9, "runs")
    <Estimate: 8 runs (6 to 11), interval 90 %>
    >>> Estimate(8.0, 6.0, 11.0, 0.9, "runs").as_dict()
    {'estimate': 8.0, 'low': 6.0, 'high': 11.0, 'level': 0.9}
    """

    estimate: float | None
    low: float | None
    high: float | None
    level: float
    unit: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        """Turn non-finite numbers into None and refuse an interval that is upside down."""
        for name in ("estimate", "low", "high"):
            object.__setattr__(self, name, _finite_or_none(getattr(self, name)))
        if self.low is not None and self.high is not None and self.low > self.high:
            message = f"an interval cannot run from {self.low} to {self.high}"
            raise ValueError(message)

    def __str__(self) -> str:
        said = f"{quantity(self)}, interval {level(self.level)}"
        return plain(f"{said}; {self.note}" if self.note else said)

    def __repr__(self) -> str:
        return f"<Estimate: {self}>"

    def _repr_html_(self) -> str:
        return f"<span>{escape(str(self))}</span>"

    def to_frame(self) -> "pd.DataFrame":
        """Return one row: estimate, low, high (NaN where not known), level, unit, note."""
        import pandas as pd

        frame = pd.DataFrame([{**self.as_dict(), "unit": self.unit, "note": self.note}])
        ends = ["estimate", "low", "high"]
        frame[ends] = frame[ends].astype("float64")
        return frame

    def as_dict(self) -> EstimateDict:
        """Return the stable JSON form."""
        return {
            "estimate": self.estimate,
            "low": self.low,
            "high": self.high,
            "level": self.level,
        }

    def scaled(self, factor: float, unit: str) -> "Estimate":
        """Return the same estimate in another unit; `factor` must be positive."""
        if factor <= 0:
            message = f"a unit's factor must be positive, not {factor}"
            raise ValueError(message)

        def times(value: float | None) -> float | None:
            return None if value is None else value * factor

        return Estimate(
            times(self.estimate), times(self.low), times(self.high), self.level, unit, self.note
        )

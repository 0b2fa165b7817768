"""How many runs until a restrip costs least."""

from dataclasses import dataclass

from wearstats_reports.answers import Answer


@dataclass(frozen=True, slots=True)
class CostPoint:
    """Cost per run when restripping every `runs` runs."""

    runs: float
    cost: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Interval:
    """The restrip interval.

    Parameters
    ----------
    best : Answer
    near_low, near_high : float or None
        Every interval in this range costs within 2 % of the least.
    basis : str
        One sentence: by cost, or by a bound on the chance of burn-through.
    curve : tuple of CostPoint
        Empty without costs.
    currency : str
    """

    best: Answer
    near_low: float | None
    near_high: float | None
    basis: str
    curve: tuple[CostPoint, ...]
    currency: str

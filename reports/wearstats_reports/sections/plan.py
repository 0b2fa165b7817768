"""How many runs until a restrip costs least."""

from dataclasses import dataclass

from wearstats_reports.answers import Answer


@dataclass(frozen=True, slots=True)
class PlanPoint:
    """What restripping every `runs` runs comes to.

    Parameters
    ----------
    value : float
        Cost per run where the basis is "cost", else the chance of still being sound.
    """

    runs: float
    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Runs `low` to `high`, both included; `high` None where there is no upper end."""

    low: int
    high: int | None


@dataclass(frozen=True, slots=True)
class Interval:
    """The restrip interval.

    Parameters
    ----------
    basis : str
        "cost", "bound", or empty where there is no plan.
    best : Answer
    near_best : tuple of Stretch
        Intervals that cost nearly as little.
    remarks : tuple of str
        The plan's own sentences.
    curve : tuple of PlanPoint
    currency : str
    """

    basis: str
    best: Answer
    near_best: tuple[Stretch, ...]
    remarks: tuple[str, ...]
    curve: tuple[PlanPoint, ...]
    currency: str

"""Strip lives: this unit's among the fleet's, with the fitted curve and its band."""

from dataclasses import dataclass
from datetime import date

from wearstats_reports.answers import Answer


@dataclass(frozen=True, slots=True)
class UnitLife:
    """One build as a life.

    Parameters
    ----------
    lower, upper : float or None
        Burn-through lies after `lower` and not later than `upper` runs; `upper` None where the
        strips were still good when last seen.
    left_out : str
        Why it is not in the fit; empty where it is.
    """

    unit: str
    build: int
    began: date | None
    ended: date | None
    entry: float | None
    lower: float | None
    upper: float | None
    runs: int
    age: float | None
    ending: str
    mode: str
    open: bool
    left_out: str


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Share of strips still good after `runs` runs, 0 to 1."""

    runs: float
    share: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class LifeCurve:
    """The fleet's strip life.

    Parameters
    ----------
    fitted, seen : tuple of CurvePoint
        The fitted curve with its band; the share seen without any model (Kaplan-Meier).
    method : str
        One sentence: which curve, fitted how.
    second_opinion : str
        How far another method lies apart, or that the prior does most of the work.
    life_10, life_50 : Answer
        Runs by which one in ten, and half, of the strips have burned through.
    """

    lives: int
    failures: int
    fitted: tuple[CurvePoint, ...]
    seen: tuple[CurvePoint, ...]
    method: str
    second_opinion: str
    life_10: Answer
    life_50: Answer
    shape: Answer
    scale: Answer
    why_not: str = ""

"""Boost over the season, corrected to one weather, with the restrips marked."""

from dataclasses import dataclass
from datetime import date

from wearstats_reports.answers import Answer


@dataclass(frozen=True, slots=True)
class BoostPoint:
    """One run.

    Parameters
    ----------
    order : int
        Count of the unit's logged boost readings over the season, from 1.
    boost_psi, corrected_psi : float
        As logged, and at the reference weather, speed and overdrive.
    """

    order: int
    build: int
    age: float
    date: date | None
    run: int | None
    meet: str
    boost_psi: float
    corrected_psi: float | None


@dataclass(frozen=True, slots=True)
class BoostBuild:
    """One build in short: its first and its latest corrected boost."""

    build: int
    readings: int
    first: BoostPoint
    latest: BoostPoint


@dataclass(frozen=True, slots=True)
class Boost:
    """The boost section of one unit; `why_not` where nothing can be shown."""

    points: tuple[BoostPoint, ...]
    builds: tuple[BoostBuild, ...]
    lost: Answer
    psi_per_thou: Answer
    why_not: str = ""

"""Clearance and strip height by build, with the forecast for the build in use."""

from dataclasses import dataclass
from datetime import date

from wearstats_reports.answers import Answer


@dataclass(frozen=True, slots=True)
class Gap:
    """One reading, as an interval in thou."""

    build: int
    age: float
    date: date | None
    low_thou: float | None
    high_thou: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """Tip clearance to expect at an age."""

    age: float
    estimate_thou: float
    low_thou: float
    high_thou: float


@dataclass(frozen=True, slots=True)
class GapBuild:
    """One build in short: first and latest reading of each kind; None where not read."""

    build: int
    tip_first: Gap | None
    tip_latest: Gap | None
    height_first: Gap | None
    height_latest: Gap | None
    readings: int


@dataclass(frozen=True, slots=True)
class Clearance:
    """The clearance section of one unit."""

    tip: tuple[Gap, ...]
    height: tuple[Gap, ...]
    builds: tuple[GapBuild, ...]
    forecast: tuple[Forecast, ...]
    now: Answer
    rate: Answer
    runs_to_limit: Answer
    limit_thou: float | None
    why_not: str = ""

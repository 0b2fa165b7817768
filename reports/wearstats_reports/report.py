"""The season report as one frozen value: every number on every page is in it."""

from dataclasses import dataclass
from datetime import date

from wearstats_reports.data import plain
from wearstats_reports.sections.boost import Boost
from wearstats_reports.sections.clearance import Clearance
from wearstats_reports.sections.left_out import LeftOut
from wearstats_reports.sections.lives import LifeCurve, UnitLife
from wearstats_reports.sections.lookback import PastChances
from wearstats_reports.sections.method import Method
from wearstats_reports.sections.plan import Interval
from wearstats_reports.sections.recurrence import Recurrence
from wearstats_reports.sections.today import Today
from wearstats_reports.sections.went_with import WentWith
from wearstats_reports.sections.work import Work


@dataclass(frozen=True, slots=True)
class UnitReport:
    """One unit's page.

    Parameters
    ----------
    unit : str
        Its id, as kept; never part of a path.
    page : str
        Name of its file, made safe.
    """

    unit: str
    page: str
    today: Today
    boost: Boost
    clearance: Clearance
    lives: tuple[UnitLife, ...]
    work: tuple[Work, ...]
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class SeasonReport:
    """The season, unit by unit and for the fleet.

    Parameters
    ----------
    simulated : bool
        Whether the records were made by the simulator.
    as_of : date or None
        Last day in the records; "today" on the pages means this day.
    level : float
        Nominal coverage of every interval.
    seed : int
        Of everything random.
    runs_ahead : int
        Runs the advice looks ahead.
    basis : str
        Lives, failures and last look behind the chances; empty where there is no chance.
    units : tuple of UnitReport
        What needs attention first comes first.
    curve : LifeCurve
    went_with : WentWith
    recurrence : Recurrence
    interval : Interval
    past_chances : PastChances
        How the chances said before past meets came out.
    left_out : tuple of LeftOut
        Of every unit and of none.
    method : Method
    cautions : tuple of str
        Shown wherever advice is.
    version : str
        Of wearstats.
    """

    simulated: bool
    as_of: date | None
    level: float
    seed: int
    runs_ahead: int
    basis: str
    units: tuple[UnitReport, ...]
    curve: LifeCurve
    went_with: WentWith
    recurrence: Recurrence
    interval: Interval
    past_chances: PastChances
    left_out: tuple[LeftOut, ...]
    method: Method
    cautions: tuple[str, ...]
    version: str

    def as_dict(self) -> dict[str, object]:
        """Return the report as plain data."""
        return dict(plain(self))

"""From a season's records to the report's value."""

import math
from collections.abc import Callable, Sequence
from datetime import date

import pandas as pd

from wearstats import __version__
from wearstats.errors import UsageError
from wearstats.life import usual_factors
from wearstats.plans import CAUTIONS
from wearstats.records.season import Season
from wearstats_reports.fits import MODE, Fits, fit_all
from wearstats_reports.names import page_names
from wearstats_reports.report import SeasonReport, UnitReport
from wearstats_reports.sections.boost import boost
from wearstats_reports.sections.clearance import clearance
from wearstats_reports.sections.left_out import LeftOut, SetAside, all_left_out
from wearstats_reports.sections.lives import behind, life_curve, unit_lives
from wearstats_reports.sections.lookback import PastChances, past_chances
from wearstats_reports.sections.method import method
from wearstats_reports.sections.plan import restrip_interval
from wearstats_reports.sections.recurrence import recurrence
from wearstats_reports.sections.today import today
from wearstats_reports.sections.went_with import went_with
from wearstats_reports.sections.work import work_done
from wearstats_reports.signs import URGENCY
from wearstats_reports.workers import PageWorkers


def season_report(
    season: Season,
    *,
    level: float = 0.9,
    seed: int = 0,
    runs_ahead: int = 4,
    bound: float | None = None,
    tip_limit_thou: float | None = None,
    set_aside: Sequence[SetAside] = (),
    workers: PageWorkers | None = None,
) -> SeasonReport:
    """Fit everything once and put every number of the report in one frozen value.

    Parameters
    ----------
    season : Season
        Its costs, if it has any, decide the restrip interval.
    level : float
        Nominal coverage of every interval.
    seed : int
        Of everything random; the same season and seed give the same report.
    runs_ahead : int
        Runs the advice looks ahead.
    bound : float or None
        Least chance of still being sound that the advice asks for; None weighs cost where costs
        are known and asks for the usual chance where they are not.
    tip_limit_thou : float or None
        The shop's own limit of tip clearance; nobody else's is assumed.
    set_aside : sequence of SetAside
        Rows the book holds aside, for the section on what was left out.
    workers : PageWorkers or None
        Processes that look back while this one fits; the report is the same.

    Raises
    ------
    UsageError
        A level, a bound or a number of runs that is none.
    """
    _check(level, bound, runs_ahead)
    past = (workers or PageWorkers(1)).begin(past_chances, season, level=level, seed=seed)
    fits = fit_all(season, level=level, runs_ahead=runs_ahead, bound=bound)
    return report_of(fits, seed=seed, tip_limit_thou=tip_limit_thou, set_aside=set_aside, past=past)


def report_of(
    fits: Fits,
    *,
    seed: int = 0,
    tip_limit_thou: float | None = None,
    set_aside: Sequence[SetAside] = (),
    past: Callable[[], PastChances] | None = None,
) -> SeasonReport:
    """Put every number of a report in one frozen value, from fits already made.

    Parameters
    ----------
    fits : Fits
    seed, tip_limit_thou, set_aside
        As `season_report`.
    past : callable or None
        Gives how past chances came out, where that was begun elsewhere.
    """
    season = fits.season
    left_out = all_left_out(fits, set_aside)
    pages = page_names(fits.unit_names)
    units = [_unit(fits, name, page, tip_limit_thou, left_out) for name, page in pages.items()]
    return SeasonReport(
        simulated=season.simulated,
        as_of=_last_day(season),
        level=fits.level,
        seed=seed,
        runs_ahead=fits.runs_ahead,
        basis=behind(fits) if fits.outlook.fit is not None else "",
        units=tuple(sorted(units, key=_urgency)),
        curve=life_curve(fits),
        went_with=went_with(
            usual_factors(fits.lives, mode=MODE, level=fits.level, seed=seed),
            fits.level,
            "burned through",
        ),
        recurrence=recurrence(fits),
        interval=restrip_interval(fits),
        past_chances=past() if past else past_chances(season, level=fits.level, seed=seed),
        left_out=left_out,
        method=method(fits),
        cautions=CAUTIONS,
        version=__version__,
    )


def _check(level: float, bound: float | None, runs_ahead: int) -> None:
    for name, share in (("level", level), ("chance asked for", bound)):
        if share is not None and not 0.0 < share < 1.0:
            message = f"the {name} lies between 0 and 1, not at {share}"
            raise UsageError(message)
    if runs_ahead < 1:
        message = f"the runs ahead must be a whole number from 1 up, not {runs_ahead}"
        raise UsageError(message)


def _unit(
    fits: Fits, name: str, page: str, limit_thou: float | None, left_out: tuple[LeftOut, ...]
) -> UnitReport:
    return UnitReport(
        unit=name,
        page=page,
        today=today(fits, name),
        boost=boost(fits, name),
        clearance=clearance(fits, name, limit_thou),
        lives=unit_lives(fits.lives, name),
        work=work_done(fits.season, name),
        left_out=tuple(out for out in left_out if out.unit == name),
    )


def _urgency(unit: UnitReport) -> tuple[int, float, str]:
    """Sort by advice, then by the least chance of lasting, then by name."""
    ahead = unit.today.chance_next.estimate
    chance = ahead.estimate if ahead is not None else None
    return URGENCY.index(unit.today.advice), -math.inf if chance is None else chance, unit.unit


def _last_day(season: Season) -> date | None:
    sheets = (season.runs, season.restrips, season.readings)
    days = pd.concat([sheet["date"] for sheet in sheets]).dropna()
    return None if days.empty else pd.Timestamp(days.max()).date()

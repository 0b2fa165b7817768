"""The season report: a page per unit and one for the fleet, from the fits' own numbers."""

from wearstats_reports.files import WrittenReport, write_season
from wearstats_reports.report import SeasonReport, UnitReport
from wearstats_reports.season import report_of, season_report

__all__ = [
    "SeasonReport",
    "UnitReport",
    "WrittenReport",
    "report_of",
    "season_report",
    "write_season",
]

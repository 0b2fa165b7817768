"""The season report: a page per unit and one for the fleet, from the fits' own numbers.

The names are loaded when asked for: who only writes a number does not wait for the drawings.
"""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand

if TYPE_CHECKING:
    from wearstats_reports.files import WrittenReport, write_season
    from wearstats_reports.printing import print_pages
    from wearstats_reports.report import SeasonReport, UnitReport
    from wearstats_reports.season import report_of, season_report
    from wearstats_reports.workers import PageWorkers

__all__ = [
    "PageWorkers",
    "SeasonReport",
    "UnitReport",
    "WrittenReport",
    "print_pages",
    "report_of",
    "season_report",
    "write_season",
]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats_reports.files": ("WrittenReport", "write_season"),
            "wearstats_reports.printing": ("print_pages",),
            "wearstats_reports.report": ("SeasonReport", "UnitReport"),
            "wearstats_reports.season": ("report_of", "season_report"),
            "wearstats_reports.workers": ("PageWorkers",),
        },
    )

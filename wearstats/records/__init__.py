"""Records: the schema stated once, the rules, what is wrong, readers and writers of sheets.

The names are loaded when asked for: who needs the schema alone does not wait for pandas.
`take` stands in the module of its name.
"""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap, read_column_map
    from wearstats.records.columns import Column, Kind, Sheet
    from wearstats.records.costs import Costs, read_costs
    from wearstats.records.dictionary import data_dictionary
    from wearstats.records.findings import Finding, Severity
    from wearstats.records.headers import ASIDE_HEADER, REASON_HEADER
    from wearstats.records.kinds import Settings
    from wearstats.records.raw import RawChunk, RawSheet
    from wearstats.records.read import read_sheets
    from wearstats.records.schema import MODES, READINGS, RESTRIPS, RUNS, SHEETS, UNITS
    from wearstats.records.season import Season
    from wearstats.records.spellings import UnitSpellings
    from wearstats.records.taken import AsideRow, Taken
    from wearstats.records.write import write_csv, write_workbook

__all__ = [
    "ASIDE_HEADER",
    "MODES",
    "READINGS",
    "REASON_HEADER",
    "RESTRIPS",
    "RUNS",
    "SHEETS",
    "UNITS",
    "AsideRow",
    "Column",
    "ColumnMap",
    "Costs",
    "Finding",
    "Kind",
    "RawChunk",
    "RawSheet",
    "Season",
    "Settings",
    "Severity",
    "Sheet",
    "Taken",
    "UnitSpellings",
    "data_dictionary",
    "read_column_map",
    "read_costs",
    "read_sheets",
    "write_csv",
    "write_workbook",
]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats.records.columnmap": ("ColumnMap", "read_column_map"),
            "wearstats.records.columns": ("Column", "Kind", "Sheet"),
            "wearstats.records.costs": ("Costs", "read_costs"),
            "wearstats.records.dictionary": ("data_dictionary",),
            "wearstats.records.findings": ("Finding", "Severity"),
            "wearstats.records.headers": ("ASIDE_HEADER", "REASON_HEADER"),
            "wearstats.records.kinds": ("Settings",),
            "wearstats.records.raw": ("RawChunk", "RawSheet"),
            "wearstats.records.read": ("read_sheets",),
            "wearstats.records.schema": (
                "MODES",
                "READINGS",
                "RESTRIPS",
                "RUNS",
                "SHEETS",
                "UNITS",
            ),
            "wearstats.records.season": ("Season",),
            "wearstats.records.spellings": ("UnitSpellings",),
            "wearstats.records.taken": ("AsideRow", "Taken"),
            "wearstats.records.write": ("write_csv", "write_workbook"),
        },
    )

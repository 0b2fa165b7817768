"""Records: the schema stated once, the rules, what is wrong, readers and writers of sheets.

The names are loaded when asked for: who needs the schema alone does not wait for pandas.
`take` stands in the module of its name.
"""

from importlib import import_module
from typing import TYPE_CHECKING

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
    _HOMES = {
        "columnmap": ("ColumnMap", "read_column_map"),
        "columns": ("Column", "Kind", "Sheet"),
        "costs": ("Costs", "read_costs"),
        "dictionary": ("data_dictionary",),
        "findings": ("Finding", "Severity"),
        "headers": ("ASIDE_HEADER", "REASON_HEADER"),
        "kinds": ("Settings",),
        "raw": ("RawChunk", "RawSheet"),
        "read": ("read_sheets",),
        "schema": ("MODES", "READINGS", "RESTRIPS", "RUNS", "SHEETS", "UNITS"),
        "season": ("Season",),
        "spellings": ("UnitSpellings",),
        "taken": ("AsideRow", "Taken"),
        "write": ("write_csv", "write_workbook"),
    }
    _HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

    def __getattr__(name: str) -> object:
        if name not in _HOME_OF:
            message = f"module {__name__!r} has no attribute {name!r}"
            raise AttributeError(message)
        return getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)

"""The entry workbook: the sheets of the schema as a form, with a page that explains it."""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand

if TYPE_CHECKING:
    from wearstats_reports.entry.workbook import WrittenWorkbook, write_entry_workbook

__all__ = ["WrittenWorkbook", "write_entry_workbook"]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {"wearstats_reports.entry.workbook": ("WrittenWorkbook", "write_entry_workbook")},
    )

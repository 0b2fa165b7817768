"""The durable logbook: imports, records, what was set aside, history."""

from typing import TYPE_CHECKING

from wearstats.book.logbook import Book
from wearstats.lazy import on_demand

if TYPE_CHECKING:
    from wearstats.book.importing import Progress
    from wearstats.book.places import shown_place
    from wearstats.book.results import AsideItem, ImportResult, SheetResult

__all__ = ["AsideItem", "Book", "ImportResult", "Progress", "SheetResult", "shown_place"]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats.book.importing": ("Progress",),
            "wearstats.book.places": ("shown_place",),
            "wearstats.book.results": ("AsideItem", "ImportResult", "SheetResult"),
        },
    )

"""The durable logbook: imports, records, what was set aside, history."""

from wearstats.book.importing import Progress
from wearstats.book.logbook import Book
from wearstats.book.results import AsideItem, ImportResult, SheetResult

__all__ = ["AsideItem", "Book", "ImportResult", "Progress", "SheetResult"]

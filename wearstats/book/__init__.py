"""The durable logbook: imports, records, what was set aside, history."""

from wearstats.book.importing import Progress
from wearstats.book.logbook import Book
from wearstats.book.places import shown_place
from wearstats.book.results import AsideItem, ImportResult, SheetResult

__all__ = ["AsideItem", "Book", "ImportResult", "Progress", "SheetResult", "shown_place"]

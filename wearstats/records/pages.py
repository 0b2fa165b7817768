"""Pages of our own entry workbook that hold no records, known by name."""

from typing import TYPE_CHECKING

from wearstats.records.raw import Head, header_score

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

GUIDE_PAGE = "how to fill in"
LISTS_PAGE = "drop-down lists"
_OWN_PAGES = frozenset({GUIDE_PAGE, LISTS_PAGE})
_TELLING = 2
"""Known headers that make a sheet one of records, whatever its name."""


def is_own_page(name: str, head: Head, column_map: "ColumnMap | None") -> bool:
    """Tell whether a sheet is a page of our entry workbook, to be passed over.

    The name alone would hide records that somebody keeps under it: headers of records win.

    Parameters
    ----------
    name : str
        Of the sheet.
    head : Head
    column_map : ColumnMap or None
    """
    return name in _OWN_PAGES and header_score(head.headers, column_map) < _TELLING

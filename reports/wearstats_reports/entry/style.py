"""How the workbook looks: sober, and as clear in grey print as on a screen."""

import math
from typing import Any, NamedTuple

from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.styles.differential import DifferentialStyle

_INK, _RULE, _PALE, _DEEP, _AMBER = "1F2A33", "B8C2CA", "E4EBF0", "24445A", "FCE9C4"
FACE = "Calibri"

_thin = Side(style="thin", color=_RULE)
RULED = Border(left=_thin, right=_thin, top=_thin, bottom=_thin)

TITLE = Font(name=FACE, size=20, bold=True, color=_DEEP)
HEADING = Font(name=FACE, size=13, bold=True, color=_DEEP)
BODY = Font(name=FACE, size=11, color=_INK)
STRONG = Font(name=FACE, size=11, bold=True, color=_INK)
REVERSED = Font(name=FACE, size=11, bold=True, color="FFFFFF")

PALE = PatternFill("solid", start_color=_PALE, end_color=_PALE)
DEEP = PatternFill("solid", start_color=_DEEP, end_color=_DEEP)
MISSING = DifferentialStyle(fill=PatternFill(bgColor=_AMBER))

CENTERED = Alignment(vertical="center", horizontal="center")
SPOKEN = Alignment(wrap_text=True, vertical="center", horizontal="left")
WRAPPED = Alignment(wrap_text=True, vertical="top", horizontal="left")
MARKED = Alignment(vertical="top", horizontal="center")
HEADED = Alignment(wrap_text=True, vertical="center", horizontal="center")
OPEN = Protection(locked=False)

DATE_FORMAT = "yyyy-mm-dd"
MARGIN_INCHES = 0.4


class Paper(NamedTuple):
    """A sheet of paper: the number spreadsheets know it by, and its sides in inches."""

    code: int
    long: float
    short: float


PAPERS = {"inch": Paper(1, 11.0, 8.5), "metric": Paper(9, 11.69, 8.27)}
"""Letter; A4 where people measure in millimeters."""


def dress(
    cell: Any, font: Font, fill: PatternFill | None = None, border: Border | None = None
) -> None:
    """Give a cell its face."""
    cell.font = font
    if fill is not None:
        cell.fill = fill
    if border is not None:
        cell.border = border


def paper(sheet: Any, *, system: str, landscape: bool) -> None:
    """Set a sheet up to print: its width on one page."""
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = PAPERS[system].code
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    margins = sheet.page_margins
    margins.left = margins.right = margins.top = MARGIN_INCHES
    margins.bottom, margins.footer = 2 * MARGIN_INCHES, MARGIN_INCHES
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "page &P of &N"


def lock(sheet: Any) -> None:
    """Lock what is not open against slips; no password, and everything that helps stays allowed."""
    guard = sheet.protection
    for allowed in (
        "formatCells",
        "formatColumns",
        "formatRows",
        "insertRows",
        "deleteRows",
        "sort",
        "autoFilter",
    ):
        setattr(guard, allowed, False)
    guard.sheet = True


def lines(text: str, width: float) -> int:
    """Return the lines a text takes: words stay whole."""
    lines, filled = 1, 0.0
    for word in text.split():
        if filled and filled + 1 + len(word) > width:
            lines, filled = lines + 1, 0.0
        filled += len(word) + (1 if filled else 0)
        lines += math.ceil(filled / width) - 1
    return lines

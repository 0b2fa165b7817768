"""The page that explains the workbook: what to write where, one example, the cautions."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.pagebreak import Break

from wearstats.plans.cautions import CAUTIONS
from wearstats.records.columns import Sheet
from wearstats.records.pages import LISTS_PAGE
from wearstats.records.schema import SHEETS
from wearstats.records.write import put_text
from wearstats_reports.entry import style, words
from wearstats_reports.entry.example import example
from wearstats_reports.entry.filled import KnownUnits
from wearstats_reports.entry.headers import first_unit, header

_MARGIN, _WIDTHS = 4, (25, 38, 29, 22)
_LINE, _AIR = 15.5, 3
"""Height of a line, and room below a paragraph, in points."""
_FIT = 1.1
"""Letters of running text are narrower than the digit that widths are counted in."""
_LAST_ON_PAGE = ("runs", "restrips")
_HEADS = ("Column", "What it is", "How it is written", "EXAMPLE, not read")

_WRITING = (
    "Leave a cell blank where nothing was measured or nobody looked. A 0 is a measurement.",
    (
        "A header such as tip [thou] names the unit. Stand on it and pick another from its list, "
        "before you type: numbers already there are not converted. One cell may name its own unit: "
        "0.10 mm."
    ),
    f"Clearances by feeler: {words.READING}",
    "Write a unit's id the same way every time; K2 and K 2 would be asked about.",
    (
        "A number that could mean two things, such as 0.004 under tip [thou], is never guessed: "
        "it is set aside with a question."
    ),
    (
        "Columns with a dark header must be filled in every row; any other cell may stay empty. "
        "Rows may stand in any order, but number the runs of a day, or write them in order."
    ),
)
_SCENARIO = (
    "The example is of K3, one of seven superchargers, K1 to K7, that an invented outfit shares "
    "between three drag boats on invented lakes. It is shown here only and never read as records."
)
_LOCKS = (
    "Headers and this page are locked against slips, without a password; the cells you fill in are "
    "not. To take the lock off: Review, Unprotect Sheet; in LibreOffice Calc: Tools, Protect Sheet."
)


def _first_step(known: KnownUnits) -> str:
    if known.only_in_rows:
        return (
            f"The ids in your book stand on the last page, {LISTS_PAGE}. Add a new one there, and "
            "give it a row on the sheet units."
        )
    if known.records:
        return "Your units are on the sheet units already; give a new one a row below them."
    return (
        "Give each supercharger a row on the sheet units. Its id then stands in the drop-down "
        "lists of the other sheets."
    )


def _steps(known: KnownUnits) -> tuple[str, ...]:
    return (
        _first_step(known),
        (
            "Give each run a row on the sheet runs. Date and unit must be there; runs since "
            "restrip, and what the strips looked like when somebody looked, make it worth most."
        ),
        (
            "Use the sheets restrips and readings when new strips are fitted and when you measure "
            "at several places. Both may stay empty."
        ),
        (
            "Save, and take the file into your book: wearstats log shop.book FILE.xlsx. Log the "
            "same file as often as you like: what is there already is not taken twice."
        ),
        (
            "What could not be taken is set aside with its reason: wearstats aside shop.book --out "
            "mend.xlsx. Mend it there, and log mend.xlsx."
        ),
    )


class _Pen:
    """Writes down a page, row by row."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.row = 0

    def paragraph(self, text: str, font: Font = style.BODY, mark: str = "") -> None:
        """Write a paragraph across the page, with a mark in the margin before it."""
        self.row += 1
        start = 2 if mark else 1
        if mark:
            self._cell(1, mark, style.STRONG).alignment = style.MARKED
        self._cell(start, text, font)
        self.page.merge_cells(
            start_row=self.row, end_row=self.row, start_column=start, end_column=len(_WIDTHS) + 1
        )
        self._height([(text, sum(_WIDTHS) + (0 if mark else _MARGIN))], font)

    def heading(self, text: str) -> None:
        """Write a heading, with room above it."""
        self.row += 1
        self.paragraph(text, style.HEADING)

    def next_page(self) -> None:
        """Go on at the top of a page, where it is printed."""
        self.page.row_breaks.append(Break(id=self.row))

    def table_row(self, cells: Sequence[Any], *, head: bool = False) -> None:
        """Write one row of a table, its last cell an example."""
        self.row += 1
        within = len(cells) - 1
        fonts = [style.REVERSED] * len(cells) if head else [style.STRONG, *[style.BODY] * within]
        fills = [style.DEEP] * len(cells) if head else [*[None] * within, style.PALE]
        places = enumerate(zip(cells, fonts, fills, strict=True), start=2)
        for place, (value, font, fill) in places:
            style.dress(self._cell(place, value, font), font, fill, style.RULED)
        self._height(list(zip(map(str, cells), _WIDTHS, strict=True)), style.BODY)

    def _cell(self, place: int, value: Any, font: Font) -> Any:
        cell = self.page.cell(self.row, place)
        if isinstance(value, str):
            put_text(cell, value)
        elif value is not None:
            cell.value = value
        if isinstance(value, date):
            cell.number_format = style.DATE_FORMAT
        cell.font, cell.alignment = font, style.WRAPPED
        return cell

    def _height(self, texts: Sequence[tuple[str, int]], font: Font) -> None:
        """Give the row the height of its longest cell; not every spreadsheet does."""
        size = font.size / style.BODY.size
        most = max(style.lines(text, width * _FIT / size) for text, width in texts)
        self.page.row_dimensions[self.row].height = most * _LINE * size + _AIR


def fill_guide(page: Any, *, system: str, known: KnownUnits) -> None:
    """Lay out the guide.

    Parameters
    ----------
    page : openpyxl worksheet
    system : {"inch", "metric"}
        Units the example is written in.
    known : KnownUnits
    """
    for place, width in enumerate((_MARGIN, *_WIDTHS), start=1):
        page.column_dimensions[get_column_letter(place)].width = width
    pen = _Pen(page)
    pen.paragraph("How to fill in this workbook", style.TITLE)
    pen.paragraph(
        "A row for each run, each restrip, each unit and each reading. wearstats reads those four "
        "sheets; it does not read this page."
    )
    if known.simulated:
        pen.paragraph("SIMULATED: the units here are of no real machine.", style.STRONG)
    pen.heading("In five steps")
    for number, text in enumerate(_steps(known), start=1):
        pen.paragraph(text, mark=f"{number}")
    pen.heading("How to write it")
    for text in _WRITING:
        pen.paragraph(text, mark="•")
    pen.heading("Cautions")
    for text in CAUTIONS:
        pen.paragraph(text, mark="!")
    pen.heading("The lock")
    pen.paragraph(_LOCKS)
    pen.next_page()
    pen.heading("Every column, with an example")
    pen.paragraph(_SCENARIO)
    for sheet in SHEETS.values():
        _table(pen, sheet, system)
        if sheet.name in _LAST_ON_PAGE:
            pen.next_page()
    page.sheet_view.showGridLines = False
    style.paper(page, system=system, landscape=False)
    style.lock(page)


def _table(pen: _Pen, sheet: Sheet, system: str) -> None:
    pen.heading(f"Sheet {sheet.name}")
    pen.paragraph(sheet.meaning)
    pen.table_row(_HEADS, head=True)
    for cells in _rows(sheet, system):
        pen.table_row(cells)


def _rows(sheet: Sheet, system: str) -> Iterator[tuple[Any, ...]]:
    for column in sheet:
        unit = first_unit(column, system)
        shown = example(sheet, column, unit)
        yield (
            header(column, unit),
            words.meaning(column),
            words.how(column, unit),
            "" if shown is None else shown,
        )

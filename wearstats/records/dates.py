"""Dates as people type them; never guessed where day and month could be taken for each other."""

import re
from datetime import date, datetime, timedelta
from typing import Literal

from wearstats.records.cells import Cell, Fault, cell_text
from wearstats.records.numerals import tidy

DateOrder = Literal["day first", "month first"]

FIRST_YEAR, LAST_YEAR = 1950, 2100
EXPECTED = "a date such as 2026-05-03 or 3 May 2026"
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january",
            "feb february",
            "mar march",
            "apr april",
            "may",
            "jun june",
            "jul july",
            "aug august",
            "sep sept september",
            "oct october",
            "nov november",
            "dec december",
        ),
        start=1,
    )
    for name in names.split()
}
_TIME = (
    r"(?:[T ]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?\s*(?:[AaPp][Mm]|Z|[+-][0-9:]{2,6})?)?"
)
_ISO = re.compile(rf"([0-9]{{4}})([-/.])([0-9]{{1,2}})\2([0-9]{{1,2}}){_TIME}")
_COMPACT = re.compile(r"([12][0-9]{3})([01][0-9])([0-3][0-9])")
_FIGURES = re.compile(
    rf"([0-9]{{1,2}})\s*([-/.])\s*([0-9]{{1,2}})\s*\2\s*([0-9]{{4}}|[0-9]{{2}}){_TIME}"
)
_WEEKDAY = r"(?:(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun)[a-z]*[.,]?\s+)?"
_DAY_NAMED = re.compile(
    rf"{_WEEKDAY}([0-9]{{1,2}})(?:st|nd|rd|th|\.)?[\s/-]*([a-z]+)\.?[\s,/-]*([0-9]{{4}}|[0-9]{{2}})"
)
_MONTH_NAMED = re.compile(
    rf"{_WEEKDAY}([a-z]+)\.?\s*([0-9]{{1,2}})(?:st|nd|rd|th)?\s*[,\s]\s*([0-9]{{4}}|[0-9]{{2}})"
)
_LAST_MONTH = 12
_CENTURY_PIVOT = 70
_SERIALS = (10_000, 100_000)
"""Day numbers of spreadsheets for 1927 to 2173, counted from the end of 1899."""


def read_date(cell: Cell, order: DateOrder | None) -> date | Fault:
    """Read a date that is not blank.

    Parameters
    ----------
    cell : Cell
    order : {"day first", "month first"} or None
        What the writer stated about figures such as 03/04/2026.

    Returns
    -------
    datetime.date or Fault

    Examples
    --------
    >>> read_date("3 May 2026", None)
    datetime.date(2026, 5, 3)
    >>> read_date("03/04/2026", None).code
    'date-order'
    >>> read_date("03/04/2026", "day first")
    datetime.date(2026, 4, 3)
    """
    if isinstance(cell, datetime):
        return _within(cell.date())
    if isinstance(cell, date):
        return _within(cell)
    text = tidy(cell_text(cell))
    if match := _ISO.fullmatch(text):
        return _calendar(int(match[1]), int(match[3]), int(match[4]), text)
    if match := _COMPACT.fullmatch(text):
        return _calendar(int(match[1]), int(match[2]), int(match[3]), text)
    if match := _FIGURES.fullmatch(text):
        return _in_figures(int(match[1]), int(match[3]), match[4], order, text)
    named = _named(text, order)
    return named if named is not None else _no_date(text)


def _within(day: date) -> date | Fault:
    if FIRST_YEAR <= day.year <= LAST_YEAR:
        return day
    return Fault(
        "value-range",
        f"the year {day.year} cannot be meant; years from {FIRST_YEAR} to {LAST_YEAR} are taken",
        EXPECTED,
    )


def _calendar(year: int, month: int, day: int, text: str) -> date | Fault:
    try:
        return _within(date(year, month, day))
    except ValueError:
        return Fault("date-invalid", f"{text!r} is not a day of the calendar", EXPECTED)


def _year(figures: str, order: DateOrder | None, text: str) -> int | Fault:
    if len(figures) > len("26"):
        return int(figures)
    if order is None:
        return Fault(
            "date-order",
            f"{text!r} gives the year in two figures; write it in four (2026-05-03), or state "
            "the order with `dates` in the column map",
            EXPECTED,
        )
    return int(figures) + (2000 if int(figures) < _CENTURY_PIVOT else 1900)


def _in_figures(
    first: int, second: int, figures: str, order: DateOrder | None, text: str
) -> date | Fault:
    year = _year(figures, order, text)
    if isinstance(year, Fault):
        return year
    day_first = order == "day first"
    if order is None:
        if first <= _LAST_MONTH and second <= _LAST_MONTH and first != second:
            return _ask_order(first, second, year, text)
        day_first = first > _LAST_MONTH
    day, month = (first, second) if day_first else (second, first)
    if order is not None and month > _LAST_MONTH >= day:
        return Fault(
            "date-order",
            f"{text!r} has no month {month}: the dates were said to be written {order}",
            EXPECTED,
        )
    return _calendar(year, month, day, text)


def _ask_order(first: int, second: int, year: int, text: str) -> Fault:
    return Fault(
        "date-order",
        f"is {text!r} {year:04}-{second:02}-{first:02} (day first) or "
        f"{year:04}-{first:02}-{second:02} (month first)? State the order once, with "
        "`--dates` or `dates` in the column map, or write the date as 2026-05-03",
        EXPECTED,
    )


def _named(text: str, order: DateOrder | None) -> date | Fault | None:
    lower = text.casefold()
    if match := _DAY_NAMED.fullmatch(lower):
        day, name, figures = match.groups()
    elif match := _MONTH_NAMED.fullmatch(lower):
        name, day, figures = match.groups()
    else:
        return None
    if name not in _MONTHS:
        return None
    year = _year(figures, order, text)
    return year if isinstance(year, Fault) else _calendar(year, _MONTHS[name], int(day), text)


def _no_date(text: str) -> Fault:
    try:
        serial = float(text)
    except ValueError:
        serial = 0.0
    if _SERIALS[0] <= serial < _SERIALS[1]:
        day = date(1899, 12, 30) + timedelta(days=int(serial))
        return Fault(
            "date-serial",
            f"{text} looks like a spreadsheet's day number, perhaps {day.isoformat()}; give the "
            "column a date format or write the date as 2026-05-03",
            EXPECTED,
        )
    return Fault("date-unread", f"{text!r} is not understood as a date", EXPECTED)

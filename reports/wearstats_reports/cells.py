"""From a cell of a frame to a plain value: missing is None for a number or day, empty for text."""

import math
from datetime import date
from typing import Any

import pandas as pd


def text(value: object) -> str:
    """Return text, empty where missing."""
    return "" if _missing(value) else str(value)


def number(value: object) -> float | None:
    """Return a finite number or None."""
    if value is None or value is pd.NA:
        return None
    found = float(value)  # type: ignore[arg-type]  # a cell of a numeric column
    return found if math.isfinite(found) else None


def day(value: object) -> date | None:
    """Return a day or None."""
    return None if _missing(value) else pd.Timestamp(str(value)).date()


def latest(days: "pd.Series[Any]", said: str) -> str:
    """Return the last of some days in words, or nothing where there is none.

    Examples
    --------
    >>> latest(pd.Series([pd.Timestamp("2026-05-03"), pd.NaT]), ", latest")
    ', latest 2026-05-03'
    """
    found = day(days.max()) if len(days) else None
    return "" if found is None else f"{said} {found.isoformat()}"


def _missing(value: object) -> bool:
    return value is None or value is pd.NaT or value is pd.NA or value != value  # noqa: PLR0124


def count(number_of: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> count(1, "life", "lives"), count(12, "reading")
    ('1 life', '12 readings')
    """
    return f"{number_of} {one if number_of == 1 else many or one + 's'}"


def rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame, each by column name."""
    return [{str(name): cell for name, cell in row.items()} for row in frame.to_dict("records")]

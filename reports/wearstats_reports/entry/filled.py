"""Values the book keeps, as cells that read back as the same values."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from wearstats.records.cells import number_text
from wearstats.records.columns import Column, Kind
from wearstats.records.schema import SHEETS, UNITS
from wearstats.records.write import sheet_text
from wearstats.units import Unit

if TYPE_CHECKING:
    from wearstats.records.season import Season

Filled = str | float | int | date | None
_DIGITS = 12
"""The book takes two numbers within a part in a thousand million for one."""


@dataclass(frozen=True, slots=True)
class KnownUnits:
    """The units of a book.

    Parameters
    ----------
    records : tuple of mapping of str to tuple
        The rows of its units sheet: for each column's name, the values kept.
    ids : tuple of str
        Every id in the book, those of `records` first.
    simulated : bool
    """

    records: tuple[Mapping[str, Sequence[object]], ...] = ()
    ids: tuple[str, ...] = ()
    simulated: bool = False

    @property
    def only_in_rows(self) -> tuple[str, ...]:
        """Ids of runs, restrips and readings that have no row on the units sheet."""
        return self.ids[len(self.records) :]


def known_units(season: "Season") -> KnownUnits:
    """Return the units of a season; an id that no sheet can hold as it is stays out."""
    rows = [row for row in season.units.to_dict(orient="records") if _holds(str(row["unit"]))]
    records = tuple(
        {column.name: [row[field] for field in column.fields] for column in UNITS} for row in rows
    )
    ids = [str(row["unit"]) for row in rows]
    seen = {str(unit) for kind in SHEETS for unit in getattr(season, kind)["unit"].unique()}
    ids += sorted(unit for unit in seen.difference(season.units["unit"]) if _holds(unit))
    return KnownUnits(records, tuple(ids), season.simulated)


def _holds(text: str) -> bool:
    """Tell whether a workbook gives a text back as it is."""
    return sheet_text(text) == text and "\r" not in text


def written(
    column: Column, values: Sequence[object], unit: Unit | None, *, digits: int = _DIGITS
) -> Filled:
    """Return a column's values as one cell, None where there is nothing to write.

    Parameters
    ----------
    column : Column
    values : sequence
        One for each of `column.fields`, as a season keeps them.
    unit : Unit or None
        The unit of the header.
    digits : int
        Significant digits of a number.

    Examples
    --------
    >>> from wearstats.records.schema import UNITS
    >>> metal = UNITS.column("metal")
    >>> written(metal, (38.0, 40.0), metal.quantity.unit("thou"))
    '38/40'
    """
    if column.kind is Kind.GO_NO_GO:
        low, high = (_number(value, unit, digits) for value in values)
        return _reading(low, high)
    (value,) = values
    if column.kind is Kind.DATE:
        return value if isinstance(value, date) and value == value else None  # noqa: PLR0124 - NaT
    if column.kind in {Kind.NUMBER, Kind.COUNT}:
        number = _number(value, unit, digits)
        return int(number) if number is not None and number.is_integer() else number
    text = "" if value is None else str(value)
    return text if text and _holds(text) else None


def _number(value: object, unit: Unit | None, digits: int) -> float | None:
    if not isinstance(value, (int, float)) or math.isnan(value):
        return None
    return float(f"{value if unit is None else unit.show(value):.{digits}g}")


def _reading(low: float | None, high: float | None) -> str | None:
    lowest, highest = (None if end is None else number_text(end) for end in (low, high))
    if lowest is None or highest is None:
        return f"<{highest}" if highest else f">{lowest}" if lowest else None
    return lowest if lowest == highest else f"{lowest}/{highest}"

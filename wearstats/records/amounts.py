"""From typed digits to a number in the unit the book keeps, or a question; never a guess.

Which unit holds: the one in the cell, else the column map's, else the header's, else the
column's own.
"""

import math
from dataclasses import dataclass

from wearstats.records.cells import Fault, number_text
from wearstats.records.columns import Column
from wearstats.records.numerals import Amount
from wearstats.units import Quantity, Unit

_SHOWN_DIGITS = 4
_SPOKEN = {"pct": "%", "fraction": "as a share"}
"""Units that a person calls otherwise than a column's name does."""


@dataclass(frozen=True, slots=True)
class Measure:
    """A column with what was stated about its unit outside the cells.

    Parameters
    ----------
    column : Column
    mapped, headed : Unit or None
        Stated by the column map; named by the header.
    """

    column: Column
    mapped: Unit | None = None
    headed: Unit | None = None

    @property
    def stated(self) -> Unit | None:
        """The unit of a bare number, where somebody stated one."""
        return self.mapped or self.headed

    @property
    def asks(self) -> bool:
        """Whether a bare number may be in doubt."""
        if self.column.ask_below is None or self.mapped is not None:
            return False
        return self.headed is None or self.column.ask_even_if_headed


def within(column: Column, kept: float) -> bool:
    """Tell whether a number in the kept unit is one, and lies within the column's limits."""
    low, high = column.limits or (-math.inf, math.inf)
    return math.isfinite(kept) and low <= kept <= high


def shown(number: float, unit: Unit | None) -> str:
    """Return a number with its unit as a reader wants it in a sentence."""
    return shown_exact(float(f"{number:.{_SHOWN_DIGITS}g}"), unit)


def kept_unit(quantity: Quantity | None) -> Unit | None:
    """Return the unit the book keeps a quantity in."""
    return None if quantity is None else quantity.unit(quantity.kept)


def limits_text(column: Column) -> str:
    """Return the limits in words ("0 to 120 thou")."""
    if column.limits is None:
        return "a number"
    low, high = column.limits
    unit = kept_unit(column.quantity)
    return f"{number_text(low)} to {shown_exact(high, unit)}"


def shown_exact(number: float, unit: Unit | None) -> str:
    """Return a number in full with its unit."""
    figure = number_text(number)
    return f"{figure} {_SPOKEN.get(unit.name, unit.name)}" if unit is not None else figure


def settle(measure: Measure, amount: Amount, text: str) -> float | Fault:
    """Return the kept number, or the fault that asks for what is missing.

    Parameters
    ----------
    measure : Measure
    amount : Amount
    text : str
        The whole cell, for the message.
    """
    column = measure.column
    if column.quantity is None:
        return _pure(column, amount, text)
    if amount.unit:
        unit = column.quantity.spelled(amount.unit)
        if unit is None:
            return _unknown_unit(column, amount.unit, text)
        return _clear(measure, amount.meanings, unit, text)
    if measure.stated is None and not column.has_default_unit:
        return _only_unit(measure, amount.meanings, text)
    return _bare(measure, amount.meanings, text)


def _pure(column: Column, amount: Amount, text: str) -> float | Fault:
    if amount.unit == "%" and column.may_be_percent:
        return _clear(Measure(column), tuple(value / 100 for value in amount.meanings), None, text)
    if amount.unit:
        return Fault(
            "number-unread", f"{text!r} is not a number alone; expected {limits_text(column)}"
        )
    return _clear(Measure(column), amount.meanings, None, text)


def _clear(
    measure: Measure, meanings: tuple[float, ...], unit: Unit | None, text: str
) -> float | Fault:
    """Settle digits whose unit is beyond doubt."""
    column = measure.column
    kept = [value if unit is None else unit.keep(value) for value in meanings]
    inside = [value for value in kept if within(column, value)]
    if len(inside) == 1:
        return inside[0]
    if not inside:
        return _outside(measure, meanings[0], unit)
    return _comma(text, meanings)


def _comma(text: str, meanings: tuple[float, ...]) -> Fault:
    either = " or ".join(number_text(value) for value in meanings)
    return Fault("number-doubt", f"{text!r} could mean {either}; write it without the comma")


def _bare(measure: Measure, meanings: tuple[float, ...], text: str) -> float | Fault:
    unit = measure.stated or kept_unit(measure.column.quantity)
    settled = _clear(measure, meanings, unit, text)
    asked = measure.asks and measure.column.ask_below
    if isinstance(settled, Fault) or not asked or not 0 < abs(settled) < asked:
        return settled
    return _ask_unit(measure, meanings[0], text, unit)


def _plausible(measure: Measure, value: float) -> list[tuple[Unit, float]]:
    """Return the units under which a bare number would be unremarkable."""
    column = measure.column
    least = column.ask_below or 0.0
    return [
        (unit, unit.keep(value))
        for unit in (column.quantity.units if column.quantity is not None else ())
        if within(column, unit.keep(value)) and abs(unit.keep(value)) >= least
    ]


def _reading(column: Column, unit: Unit, value: float, kept: float) -> str:
    keeps = kept_unit(column.quantity)
    as_kept = "" if keeps is None or unit == keeps else f" ({shown(kept, keeps)})"
    return f"{shown_exact(value, unit)}{as_kept}"


def _ask_unit(measure: Measure, value: float, text: str, unit: Unit | None) -> Fault:
    column = measure.column
    could = [
        _reading(column, other, value, kept)
        for other, kept in _plausible(measure, value)
        if other != unit
    ]
    question = f" Did you mean {' or '.join(could)}?" if could else ""
    hint = f" {column.hint}" if column.hint else ""
    return Fault(
        "unit-doubt",
        f"{text!r} is in doubt: {shown_exact(value, unit)} would be unusually small."
        f"{question}{hint} Write the unit in the cell, or state it in the column map",
        f"a number with its unit, {limits_text(column)}",
    )


def _only_unit(measure: Measure, meanings: tuple[float, ...], text: str) -> float | Fault:
    """Settle a bare number under a bare header where no unit goes without saying."""
    column = measure.column
    could = [(unit, value, kept) for value in meanings for unit, kept in _plausible(measure, value)]
    if len(could) == 1:
        return could[0][2]
    if not could:
        return _outside(measure, meanings[0], None)
    either = " or ".join(_reading(column, unit, value, kept) for unit, value, kept in could)
    return Fault(
        "unit-doubt",
        f"is {text!r} {either}? Write the unit in the cell or the header, or state it in the "
        "column map",
        f"a number with its unit, {limits_text(column)}",
    )


def _outside(measure: Measure, value: float, unit: Unit | None) -> Fault:
    column = measure.column
    keeps = kept_unit(column.quantity)
    said = shown_exact(value, unit)
    if unit is not None and unit != keeps:
        said = f"{said} is {shown(unit.keep(value), keeps)}, which"
    could = [
        _reading(column, other, value, kept)
        for other, kept in _plausible(measure, value)
        if other != unit
    ]
    if column.may_be_percent and within(column, value / 100):
        could = [f"{number_text(value)}%"]
    question = f"; did you mean {' or '.join(could)}?" if could else ""
    expected = limits_text(column)
    return Fault("value-range", f"{said} is outside {expected}{question}", expected)


def _unknown_unit(column: Column, typed: str, text: str) -> Fault:
    names = ", ".join(unit.name for unit in (column.quantity.units if column.quantity else ()))
    if any(mark in typed for mark in "0123456789"):
        return Fault("number-unread", f"{text!r} is not one number", limits_text(column))
    return Fault(
        "unit-unknown",
        f"{typed!r} in {text!r} is not a unit of {column.name}; it may be in {names}",
        f"a number, perhaps with one of {names}",
    )

"""What a cell takes, as a rule a spreadsheet checks while somebody types.

A rule refuses a bare number only where the reader would set it aside. Whatever carries its own
unit (`0.10 mm`) or is a go / no-go reading (`3/4`, `<2`) is left to the reader.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from wearstats.records.amounts import Measure
from wearstats.records.cells import number_text
from wearstats.records.columns import Column, Kind
from wearstats.records.dates import FIRST_YEAR, LAST_YEAR
from wearstats.records.values import KEY_TEXT_LENGTH
from wearstats.units import PERCENT, Unit
from wearstats_reports.entry.headers import header, sign, units

RuleKind = Literal["date", "whole", "decimal", "list", "textLength", "custom"]
_DIGITS = 7
_PLACES = 4


@dataclass(frozen=True, slots=True)
class Rule:
    """One validation of a spreadsheet.

    Parameters
    ----------
    kind : str
        As spreadsheets call it.
    first, second : str or None
        Its formulas; the second is the upper end.
    """

    kind: RuleKind
    first: str
    second: str | None = None


def rule(column: Column, cell: str, head: str) -> Rule | None:
    """Return the rule for the cells of a column, None where anything may be written.

    Parameters
    ----------
    column : Column
    cell : str
        Address of the first cell below the header ("H2").
    head : str
        Address of the header ("H$1"), which names the unit.
    """
    if column.kind is Kind.DATE:
        return Rule("date", f"DATE({FIRST_YEAR},1,1)", f"DATE({LAST_YEAR},12,31)")
    if column.kind is Kind.CHOICE:
        return Rule("list", f'"{",".join(column.choices or ())}"')
    if column.kind is Kind.TEXT:
        return Rule("textLength", "0", str(KEY_TEXT_LENGTH)) if column.key else None
    if column.limits is None:
        return None
    low, high = column.limits
    if column.kind is Kind.COUNT:
        return Rule("whole", _figure(low), _figure(high))
    if column.quantity is None:
        return Rule("decimal", _figure(low), _figure(high))
    if column.kind is Kind.GO_NO_GO:
        return Rule("custom", _reading(column, cell, head))
    return Rule("custom", _number(column, cell, head))


def _figure(number: float) -> str:
    return number_text(float(f"{number:.10g}"))


def _number(column: Column, cell: str, head: str) -> str:
    low, high = column.limits or (0.0, 0.0)
    kept = _kept(column, cell, head)
    inside = _inside(kept, low, high)
    least = asked_below(column)
    if least is not None:
        inside = f"OR({cell}=0,AND({inside},ABS({kept})>={_figure(least)}))"
    return f"IFERROR({inside},TRUE)"


def _inside(kept: str, low: float, high: float) -> str:
    """Return the formula that a number lies within limits; it names the number once."""
    middle, half = (low + high) / 2, (high - low) / 2
    return f"ABS(ROUND({kept},{_PLACES})-{_figure(middle)})<={_figure(half)}"


def _reading(column: Column, cell: str, head: str) -> str:
    """Return the rule for readings, whose cells are text so that 3/4 does not become a date.

    Text with a minus is a pair or a height; the reader judges it.
    """
    value = f"VALUE({cell})"
    low, high = asked_below(column) or 0.0, (column.limits or (0.0, 0.0))[1]
    inside = _inside(_kept(column, value, head), low, high)
    parted = f'ISNUMBER(FIND("/",{cell})),ISNUMBER(FIND("-",{cell}))'
    return f"OR({parted},IFERROR(OR({value}=0,{inside}),TRUE))"


def _kept(column: Column, value: str, head: str) -> str:
    """Return the formula that converts a typed number into the unit the book keeps."""
    _, *others = units(column)
    if any(unit.offset for unit in others):
        return _chosen(column, others, head, lambda unit: f"{value}*{_converting(unit)}", value)
    return f"{value}*{_chosen(column, others, head, _converting, '1')}" if others else value


def _converting(unit: Unit) -> str:
    factor = f"{unit.factor:.{_DIGITS}g}"
    return f"{factor}+{_figure(unit.offset)}" if unit.offset else factor


def _chosen(
    column: Column, others: list[Unit], head: str, say: Callable[[Unit], str], otherwise: str
) -> str:
    formula = otherwise
    for unit in reversed(others):
        end = _telling_end(column, unit)
        formula = f'IF(RIGHT({head},{len(end)})="{end}",{say(unit)},{formula})'
    return formula


def _telling_end(column: Column, unit: Unit) -> str:
    """Return the shortest end of a header that no other unit's header has.

    Spreadsheets take formulas of 255 characters here; the whole header would be too long.
    """
    own = header(column, unit)
    rest = [header(column, other) for other in units(column) if other != unit]
    length = 2
    while any(other.casefold().endswith(own[-length:].casefold()) for other in rest):
        length += 1
    return own[-length:]


def asked_below(column: Column) -> float | None:
    """Return the number below which the reader asks, under a header that names the unit.

    None for percent: a spreadsheet holds a typed 38% as 0.38, which the reader can tell from a
    bare 0.38 and a rule cannot.
    """
    if column.quantity is PERCENT:
        return None
    kept = units(column)
    measure = Measure(column, headed=kept[0] if kept else None)
    return column.ask_below if measure.asks else None


def spans(column: Column) -> str:
    """Return what a column takes, in every unit its header may name.

    Examples
    --------
    >>> from wearstats.records.schema import RUNS
    >>> spans(RUNS.column("boost"))
    '0 to 100 psi (0 to 689.5 kPa, 0 to 6.895 bar)'
    """
    first, *others = [span(column, unit) for unit in units(column) or (None,)]
    return f"{first} ({', '.join(others)})" if others else first


def span(column: Column, unit: Unit | None) -> str:
    """Return what a column takes in a unit, empty where it has no limits."""
    if column.limits is None:
        return ""
    if unit is None:
        return " to ".join(_figure(end) for end in column.limits)
    low, high = (number_text(float(f"{unit.show(end):.4g}")) for end in column.limits)
    return f"{low} to {high} {sign(unit)}"

"""One cell in, the values the book keeps out, or the fault that says what to write instead."""

import functools
import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import date

from wearstats.records import numerals
from wearstats.records.amounts import Measure, limits_text, settle
from wearstats.records.cells import Cell, Fault, Uncomputed, cell_text
from wearstats.records.columns import Column, Kind
from wearstats.records.dates import DateOrder, read_date
from wearstats.records.numerals import Amount, tidy
from wearstats.records.spellings import spelling_key

Kept = float | str | date | None
Parsed = tuple[Kept, ...] | Fault
CellReader = Callable[[Cell], Parsed]

KEY_TEXT_LENGTH = 80
TEXT_LENGTH = 10_000
# As spreadsheets write them in any language (#REF!, #BEZUG!, #DIV/0!, #NV, Err:502).
_ERROR_VALUE = re.compile(r"#(?:N/A|NV|[¿¡]?[^\W\d_]{3,}(?:/0)?[!?]|GETTING_DATA)|ERR:[0-9]{3}")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity|1\.#(?:inf|ind|qnan))", re.IGNORECASE)
_FILLERS = frozenset({"", "-", "--", "n/a", "na", "none", "?"})


def cell_reader(
    column: Column,
    *,
    mapped: str | None = None,
    headed: str | None = None,
    dates: DateOrder | None = None,
) -> CellReader:
    """Return the function that reads the cells of a column.

    Parameters
    ----------
    column : Column
    mapped, headed : str or None
        Name of the unit that the column map states; that the header names.
    dates : {"day first", "month first"} or None
        Order stated for dates in figures.

    Returns
    -------
    callable
        Takes a cell; returns one value for each of `column.fields` (NaN for a blank number,
        else None), or a `Fault`.

    Examples
    --------
    >>> from wearstats.records.schema import RUNS
    >>> cell_reader(RUNS.column("tip"))("3/4 thou")
    (3.0, 4.0)
    >>> cell_reader(RUNS.column("tip"))("0.004").code
    'unit-doubt'
    """
    quantity = column.quantity
    measure = Measure(
        column,
        quantity.unit(mapped) if quantity is not None and mapped is not None else None,
        quantity.unit(headed) if quantity is not None and headed is not None else None,
    )
    readers: Mapping[Kind, Callable[[Cell], Parsed]] = {
        Kind.DATE: lambda cell: _one(read_date(cell, dates)),
        Kind.TEXT: functools.partial(_read_text, column),
        Kind.NUMBER: functools.partial(_read_number, measure),
        Kind.COUNT: functools.partial(_read_count, column),
        Kind.GO_NO_GO: functools.partial(_read_go_no_go, measure),
        Kind.CHOICE: functools.partial(_read_choice, column, _choices(column)),
    }
    return functools.partial(_read, column, readers[column.kind])


def blank(column: Column) -> tuple[Kept, ...]:
    """Return what a blank cell of this column is kept as."""
    missing = math.nan if column.kind in {Kind.NUMBER, Kind.COUNT, Kind.GO_NO_GO} else None
    return (missing,) * len(column.fields)


def _one(value: Kept | Fault) -> Parsed:
    return value if isinstance(value, Fault) else (value,)


def _read(column: Column, reader: Callable[[Cell], Parsed], cell: Cell) -> Parsed:
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        if not column.required:
            return blank(column)
        return Fault("cell-missing", f"{column.name} must be filled", column.meaning)
    fault = _unusable(column, cell)
    return fault if fault is not None else reader(cell)


def _unusable(column: Column, cell: Cell) -> Fault | None:
    """Return what no column can take."""
    if isinstance(cell, Uncomputed):
        return Fault(
            "formula-without-value",
            f"the file holds the formula {cell.formula!r} and not its result; open it in the "
            "spreadsheet and save it again, or write the value",
        )
    if isinstance(cell, str) and _ERROR_VALUE.fullmatch(cell.strip().upper()):
        return Fault("error-value", f"{cell.strip()} is a spreadsheet's error, not a value")
    if isinstance(cell, bool) and (column.kind is not Kind.TEXT or column.key):
        return Fault("value-kind", f"{cell_text(cell)} is not {_expected(column)}")
    return None


def _expected(column: Column) -> str:
    match column.kind:
        case Kind.NUMBER:
            return f"a number, {limits_text(column)}"
        case Kind.COUNT:
            return f"a whole number, {limits_text(column)}"
        case Kind.GO_NO_GO:
            return f"a reading such as 4, 3/4, <2 or >8, {limits_text(column)}"
        case Kind.CHOICE:
            return f"one of {', '.join(column.choices or ())}"
        case _:
            return f"a {column.kind.value}"


def _read_text(column: Column, cell: Cell) -> Parsed:
    if column.key and isinstance(cell, date):
        return Fault(
            "value-kind",
            f"the spreadsheet has turned this {column.name} into the date {cell_text(cell)}; "
            "format the column as text and write it again",
            column.meaning,
        )
    if isinstance(cell, float) and not math.isfinite(cell):
        return Fault("not-finite", f"{cell} is not a text; leave the cell blank", column.meaning)
    text = cell_text(cell).strip()
    if column.key:
        text = " ".join(text.split())
        if any(unicodedata.category(character) in {"Cc", "Cf", "Cs"} for character in text):
            return Fault(
                "text-control", f"{text!r} holds a character that cannot be seen", column.meaning
            )
    most = KEY_TEXT_LENGTH if column.key else TEXT_LENGTH
    if len(text) > most:
        return Fault("text-long", f"{len(text)} characters; at most {most} are taken")
    return (text.casefold() if column.folded else text,)


def _choices(column: Column) -> dict[str, str]:
    return {
        spelling_key(spelling): word
        for word, also in (column.choices or {}).items()
        for spelling in (word, *also)
    }


def _read_choice(column: Column, words: Mapping[str, str], cell: Cell) -> Parsed:
    text = cell_text(cell).strip()
    word = words.get(spelling_key(text))
    if word is not None:
        return (word,)
    expected = _expected(column)
    return Fault("word-unknown", f"{text!r} is not a word for {column.name}; {expected}", expected)


def _typed_number(column: Column, cell: Cell) -> Amount | str | Fault:
    """Return the amount of a number cell, or the tidy text of a text cell."""
    if isinstance(cell, date):
        return Fault(
            "value-kind",
            f"the spreadsheet holds the date {cell_text(cell)} here; if it was typed as 3/4 or "
            "3-4, format the column as text and write it again",
            _expected(column),
        )
    if isinstance(cell, (int, float)):
        if not math.isfinite(cell):
            return Fault(
                "not-finite", f"{cell} is not a number; leave the cell blank", _expected(column)
            )
        return Amount((float(cell),), "")
    text = tidy(cell_text(cell))
    if _NOT_FINITE.fullmatch(text):
        return Fault(
            "not-finite", f"{text!r} is not a number; leave the cell blank", _expected(column)
        )
    return text


def _not_a_number(column: Column, text: str) -> Fault:
    expected = _expected(column)
    hint = "; leave the cell blank where nothing was read" if text.casefold() in _FILLERS else ""
    return Fault("number-unread", f"{text!r} is not {expected}{hint}", expected)


def _read_number(measure: Measure, cell: Cell) -> Parsed:
    typed = _typed_number(measure.column, cell)
    if isinstance(typed, Fault):
        return typed
    amount = numerals.amount(typed) if isinstance(typed, str) else typed
    if amount is None:
        return _not_a_number(measure.column, str(typed))
    return _one(settle(measure, amount, cell_text(cell).strip()))


def _read_count(column: Column, cell: Cell) -> Parsed:
    parsed = _read_number(Measure(column), cell)
    if isinstance(parsed, Fault):
        return parsed
    number = parsed[0]
    if isinstance(number, float) and not number.is_integer():
        expected = _expected(column)
        return Fault("count-whole", f"{cell_text(cell).strip()} is not {expected}", expected)
    return parsed


def _read_go_no_go(measure: Measure, cell: Cell) -> Parsed:
    typed = _typed_number(measure.column, cell)
    if isinstance(typed, Fault):
        return typed
    whole = cell_text(cell).strip()
    if isinstance(typed, Amount):
        return _twice(settle(measure, typed, whole))
    side = numerals.one_sided(typed)
    if side is not None:
        return _read_side(measure, side, whole)
    both = numerals.pair(typed)
    if both is not None:
        return _read_pair(measure, both, whole)
    if numerals.comma_may_part(typed):
        return Fault(
            "number-doubt",
            f"is {whole!r} a decimal comma, or two blades? Write {whole.replace(',', '.', 1)} or "
            f"{whole.replace(',', '/', 1).replace(' ', '')}",
            _expected(measure.column),
        )
    amount = numerals.amount(typed)
    if amount is None:
        return _not_a_number(measure.column, typed)
    return _twice(settle(measure, amount, whole))


def _twice(settled: float | Fault) -> Parsed:
    return settled if isinstance(settled, Fault) else (settled, settled)


def _read_side(measure: Measure, side: tuple[str, str], whole: str) -> Parsed:
    mark, rest = side
    amount = numerals.amount(rest)
    if amount is None:
        return _not_a_number(measure.column, whole)
    settled = settle(measure, amount, whole)
    if isinstance(settled, Fault):
        return settled
    lowest = (measure.column.limits or (-math.inf, math.inf))[0]
    if mark == "<" and settled <= lowest:
        return Fault(
            "value-range", f"{whole!r} says less than nothing can be", _expected(measure.column)
        )
    return (math.nan, settled) if mark == "<" else (settled, math.nan)


def _read_pair(measure: Measure, both: tuple[Amount, Amount], whole: str) -> Parsed:
    low, high = (settle(measure, amount, whole) for amount in both)
    if isinstance(low, Fault):
        return low
    if isinstance(high, Fault):
        return high
    if low < high:
        return (low, high)
    return Fault(
        "reading-order",
        f"{whole!r}: the blade that enters must be thinner than the one that does not",
        "a reading such as 3/4",
    )

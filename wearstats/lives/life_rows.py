"""One row of a table of lives: what it says, or why it makes no life."""

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import NoReturn

from wearstats.records.cells import Cell, cell_text
from wearstats.records.numerals import amount, tidy
from wearstats.records.schema import MODES, RUNS
from wearstats.records.spellings import spelling_key

_WORDS = {
    spelling_key(spelling): word
    for word, spellings in (RUNS.column("strips").choices or MappingProxyType({})).items()
    for spelling in (word, *spellings)
}
_INFINITE = ("inf", "infinity", "∞")


@dataclass(frozen=True, slots=True)
class LifeRow:
    """One row of the table: what it says by our column names, and the rest by header."""

    row: int
    cells: dict[str, Cell]
    others: dict[str, Cell]


@dataclass(frozen=True, slots=True)
class Life:
    """One life, (lower, upper], as in `Observations`, with its mode."""

    entry: float
    lower: float
    upper: float
    mode: str
    weight: float


class UnusableError(Exception):
    """A row that makes no life; `read_lives` turns it into a LeftOut."""

    def __init__(self, code: str, message: str, column: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.column = column


def _refuse(code: str, message: str, column: str) -> NoReturn:
    raise UnusableError(code, message, column)


def is_blank(cell: Cell) -> bool:
    """Tell whether nothing is written in a cell."""
    if isinstance(cell, float):
        return math.isnan(cell)
    return cell is None or (isinstance(cell, str) and not cell.strip())


def number_in(cell: Cell) -> float | None:
    """Read a number that means one thing; None where there is none."""
    if isinstance(cell, bool):
        return None
    if isinstance(cell, (int, float)):
        return float(cell)
    if not isinstance(cell, str):
        return None
    read = amount(tidy(cell))
    if read is None or read.unit or len(read.meanings) != 1:
        return None
    return read.meanings[0]


def runs_in(row: LifeRow, column: str, blank: float | None) -> float:
    """Read a number of 0 or more; `blank` is what a blank cell means, None that it may not be."""
    cell = row.cells.get(column)
    if is_blank(cell):
        if blank is None:
            message = f"{column} is blank; expected a number of runs"
            _refuse(f"blank-{column}", message, column)
        return blank
    if column == "upper" and isinstance(cell, str) and cell.strip().casefold() in _INFINITE:
        return math.inf
    number = number_in(cell)
    if number is None:
        message = f"{column} {cell_text(cell)!r} is no number, or could mean two"
        _refuse("not-a-number", message, column)
    if number < 0:
        _refuse("negative", f"{column} {number:g} is below 0", column)
    if math.isinf(number) and column != "upper":
        _refuse("not-a-number", f"{column} has no end", column)
    return number


def life_of(row: LifeRow, *, has_mode: bool) -> Life:
    """Read the life a row tells of.

    Raises
    ------
    UnusableError
        It makes no life; says why.
    """
    entry = runs_in(row, "entry", 0.0)
    weight = runs_in(row, "weight", 1.0)
    if weight == 0:
        _refuse("weight-not-positive", "weight 0; expected above 0", "weight")
    lower, upper = _interval(row, entry)
    mode = _mode(row, failed=math.isfinite(upper), has_mode=has_mode)
    return Life(entry, lower, upper, mode, weight)


def _interval(row: LifeRow, entry: float) -> tuple[float, float]:
    """Read (lower, upper] in either of its two spellings."""
    if "event" in row.cells:
        time = runs_in(row, "time", None)
        event = number_in(row.cells["event"])
        if event not in {0.0, 1.0}:
            text = cell_text(row.cells["event"])
            message = f"event {text!r}; expected 1 (failed exactly then) or 0 (still good)"
            _refuse("event-not-0-or-1", message, "event")
        if time <= entry:
            message = f"it ends at {time:g}, which is not after its entry at {entry:g}"
            _refuse("ends-before-it-begins", message, "time")
        return time, (time if event else math.inf)
    lower = runs_in(row, "lower", None)
    upper = runs_in(row, "upper", math.inf)
    if lower > upper:
        message = f"lower {lower:g} is above upper {upper:g}"
        _refuse("lower-above-upper", message, "lower")
    if upper <= entry:
        message = f"it ends at {upper:g}, which is not after its entry at {entry:g}"
        _refuse("ends-before-it-begins", message, "upper")
    if lower < entry:
        message = f"lower {lower:g} is below entry {entry:g}; it was not yet looked after then"
        _refuse("lower-before-entry", message, "lower")
    return lower, upper


def _mode(row: LifeRow, *, failed: bool, has_mode: bool) -> str:
    if not has_mode:
        return MODES[0] if failed else ""
    cell = row.cells.get("mode")
    word = "" if is_blank(cell) else cell_text(cell).strip()
    word = _WORDS.get(spelling_key(word), word)
    if failed and word not in {"", "sound", "hot"}:
        return word
    if failed:
        message = f"it failed, but mode is {word or 'blank'}; expected how it failed"
        _refuse("mode-missing", message, "mode")
    if word in MODES:
        message = f"mode {word}, but it has no end (blank upper, or event 0)"
        _refuse("mode-without-failure", message, "mode")
    return ""

"""A stretch of one column read at once: each distinct cell is parsed only once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from wearstats.records.cells import Cell, Fault, cell_text
from wearstats.records.columns import Column, Kind
from wearstats.records.values import CellReader, Kept, Parsed, blank

MOST_REMEMBERED = 100_000
_NUMBERS = frozenset({Kind.NUMBER, Kind.COUNT, Kind.GO_NO_GO})
_MIX = np.uint64(0x9E3779B97F4A7C15)
# Fixed, so that equal values have equal marks in every process.
_HASH_KEY = "wearstats-record"

Marks = npt.NDArray[np.uint64]
"""One mark a row; equal values have equal marks."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One column of a chunk, read.

    Parameters
    ----------
    places : ndarray of int, shape (rows,)
        Which distinct cell each row holds.
    texts : list of str
        The distinct cells as typed.
    faults : dict of int to Fault
        By distinct cell.
    fields : dict of str to ndarray, shape (rows,)
        Values kept: float64, datetime64[ns] or object; missing where there is a fault.
    marks : ndarray of uint64, shape (rows,)
    filled : ndarray of bool, shape (rows,)
        Where anything is written.
    """

    places: npt.NDArray[np.intp]
    texts: list[str]
    faults: dict[int, Fault]
    fields: dict[str, npt.NDArray[np.generic]]
    marks: Marks
    filled: npt.NDArray[np.bool_]

    def faulty(self, passing: str = "") -> npt.NDArray[np.bool_]:
        """Return where there is a fault of another code than the one passed over."""
        flags = np.zeros(len(self.texts), dtype=bool)
        flags[[place for place, fault in self.faults.items() if fault.code != passing]] = True
        return flags[self.places]


def distinct(
    cells: Sequence[Cell], *, text_only: bool = False
) -> tuple[list[Cell], npt.NDArray[np.intp]]:
    """Return the distinct cells in the order first met, and which of them each row holds.

    `1`, `1.0` and `True` are equal to Python and not to us: cells of several types are told
    apart by type.
    """
    if not text_only and len(set(map(type, cells))) > 1:
        return _distinct_of_types(cells)
    index = {cell: place for place, cell in enumerate(dict.fromkeys(cells))}
    return list(index), np.fromiter(map(index.__getitem__, cells), np.intp, len(cells))


def _distinct_of_types(cells: Sequence[Cell]) -> tuple[list[Cell], npt.NDArray[np.intp]]:
    keys = list(zip(map(type, cells), cells, strict=True))
    index = {key: place for place, key in enumerate(dict.fromkeys(keys))}
    places = np.fromiter(map(index.__getitem__, keys), np.intp, len(cells))
    return [cell for _, cell in index], places


@dataclass(slots=True)
class ColumnTaker:
    """Reads the stretches of one column and remembers cells it has met.

    Parameters
    ----------
    column : Column
    reader : callable
        From `cell_reader`.
    settle : callable or None
        Maps a text that was read to the text kept, or a fault (ids of units).
    presume : callable or None
        Maps a text that was read to the one it stands for among its like.
    text_only : bool
        Whether every cell will be text.
    """

    column: Column
    reader: CellReader
    settle: Callable[[str], str | Fault] | None = None
    presume: Callable[[str], str] | None = None
    text_only: bool = False
    _met: dict[tuple[type, Cell], Parsed] | None = None

    def _parse(self, cell: Cell) -> Parsed:
        met = self._met
        if met is None or len(met) > MOST_REMEMBERED:
            met = self._met = {}
        key = (type(cell), cell)
        parsed = met.get(key)
        if parsed is None:
            parsed = met[key] = self.reader(cell)
        return parsed

    def take(self, cells: Sequence[Cell]) -> Stretch:
        """Read one stretch."""
        firsts, places = distinct(cells, text_only=self.text_only)
        parsed = [self._parse(cell) for cell in firsts]
        alike = parsed
        if self.settle is not None and self.presume is not None:
            alike = [_through(one, self.presume) for one in parsed]
            parsed = [_through(one, self.settle) for one in parsed]
        texts = [cell_text(cell) for cell in firsts]
        faults = {place: one for place, one in enumerate(parsed) if isinstance(one, Fault)}
        missing = blank(self.column)
        kept = [missing if isinstance(one, Fault) else one for one in parsed]
        by_field = list(zip(*kept, strict=True)) or [()] * len(missing)
        named = dict(zip(self.column.fields, by_field, strict=True))
        fields = {name: as_array(self.column, values)[places] for name, values in named.items()}
        filled = np.fromiter((bool(text.strip()) for text in texts), dtype=bool, count=len(texts))
        return Stretch(
            places, texts, faults, fields, _marks(self.column, alike, texts)[places], filled[places]
        )


def _through(parsed: Parsed, change: Callable[[str], str | Fault]) -> Parsed:
    if isinstance(parsed, Fault) or not isinstance(parsed[0], str):
        return parsed
    changed = change(parsed[0])
    return changed if isinstance(changed, Fault) else (changed,)


def as_array(column: Column, values: Sequence[Kept]) -> npt.NDArray[np.generic]:
    """Return kept values as the array a frame holds: float64, datetime64[ns] or object."""
    if column.kind in _NUMBERS:
        # Adding zero makes -0.0 into 0.0: they are one reading.
        return np.array(values, dtype=np.float64) + 0.0
    if column.kind is Kind.DATE:
        days = [value if isinstance(value, date) else None for value in values]
        return np.array(days, dtype="datetime64[D]").astype("datetime64[ns]")
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array


def _marks(column: Column, parsed: Sequence[Parsed], texts: Sequence[str]) -> Marks:
    """Mark each distinct cell by its value, or by its text where that is at fault."""
    missing = blank(column)
    kept = [missing if isinstance(one, Fault) else one for one in parsed]
    marks = np.zeros(len(parsed), dtype=np.uint64)
    for values in zip(*kept, strict=True):
        marks = mixed(marks, _hashed(as_array(column, values)))
    faulty = [place for place, one in enumerate(parsed) if isinstance(one, Fault)]
    if faulty:
        written = np.array([f"\0{texts[place]}" for place in faulty], dtype=object)
        marks[faulty] = _hashed(written)
    return marks


def _hashed(array: npt.NDArray[np.generic]) -> Marks:
    if array.dtype == object:
        array = np.array(["\0" if value is None else value for value in array], dtype=object)
    return np.asarray(
        pd.util.hash_array(array, hash_key=_HASH_KEY, categorize=False), dtype=np.uint64
    )


def mixed(first: Marks, second: Marks) -> Marks:
    """Return marks of pairs; the order of the two matters."""
    turned = (first << np.uint64(23)) | (first >> np.uint64(41))
    result: Marks = (turned ^ second) * _MIX + second
    return result

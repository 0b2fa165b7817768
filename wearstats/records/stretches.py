"""A stretch of one column read at once: each distinct cell of a sheet is parsed only once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
import numpy.typing as npt

from wearstats.records.cells import Cell, Fault, cell_text
from wearstats.records.coded import Coded, Codes, Marks, as_array, hashed, mixed
from wearstats.records.columns import Column
from wearstats.records.values import CellReader, Kept, Parsed, blank

MOST_REMEMBERED = 100_000


class _Index(dict[object, int]):
    """Numbers what it is asked for, in the order first met."""

    def __missing__(self, key: object) -> int:
        place = self[key] = len(self)
        return place


@dataclass(slots=True)
class _Met:
    """The distinct cells met so far, read.

    Parameters
    ----------
    missing : tuple
        One value for each field: what a blank cell, or one at fault, is kept as.
    """

    missing: tuple[Kept, ...]
    index: _Index = field(default_factory=_Index)
    texts: list[str] = field(default_factory=list)
    faults: dict[int, Fault] = field(default_factory=dict)
    values: tuple[list[Kept], ...] = ()
    marks: Marks = field(default_factory=lambda: np.zeros(0, dtype=np.uint64))
    filled: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def __post_init__(self) -> None:
        """Make room for the values of each field."""
        self.values = tuple([] for _ in self.missing)


@dataclass(frozen=True, slots=True)
class Stretch:
    """One column of a chunk, read.

    Parameters
    ----------
    column : Column
    places : ndarray of int, shape (rows,)
        Which distinct cell each row holds.
    met : _Met
        The distinct cells of the sheet; some may stand in no row of this stretch.
    """

    column: Column
    places: Codes
    met: _Met

    @property
    def texts(self) -> list[str]:
        """The distinct cells as typed."""
        return self.met.texts

    @property
    def faults(self) -> dict[int, Fault]:
        """Faults by distinct cell."""
        return self.met.faults

    @property
    def fields(self) -> dict[str, Coded]:
        """The values kept, by field; blank where there is a fault."""
        named = zip(self.column.fields, self.met.values, strict=True)
        return {name: Coded(values, self.places) for name, values in named}

    @property
    def marks(self) -> Marks:
        """One mark for each row."""
        return self.met.marks[self.places]

    @property
    def filled(self) -> npt.NDArray[np.bool_]:
        """Where anything is written."""
        return self.met.filled[self.places]

    def faulty(self, passing: str = "") -> npt.NDArray[np.bool_]:
        """Return where there is a fault of another code than the one passed over."""
        if not self.faults:
            return np.zeros(len(self.places), dtype=bool)
        flags = np.zeros(len(self.texts), dtype=bool)
        flags[[place for place, fault in self.faults.items() if fault.code != passing]] = True
        return flags[self.places]


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
    _met: _Met | None = None

    def take(self, cells: Sequence[Cell]) -> Stretch:
        """Read one stretch."""
        met = self._met
        if met is None or len(met.index) > MOST_REMEMBERED:
            met = self._met = _Met(blank(self.column))
        known = len(met.index)
        # `1`, `1.0` and `True` are equal to Python and not to us.
        keys = cells if self.text_only else zip(map(type, cells), cells, strict=True)
        places = np.fromiter(map(met.index.__getitem__, keys), np.intp, len(cells))
        if len(met.index) > known:
            self._learn(met, list(islice(met.index, known, None)))
        return Stretch(self.column, places, met)

    def _learn(self, met: _Met, keys: Sequence[object]) -> None:
        """Read the distinct cells that were not met before."""
        cells: list[Cell] = keys if self.text_only else [key[1] for key in keys]  # type: ignore[assignment, index]
        parsed = [self.reader(cell) for cell in cells]
        alike = parsed
        if self.settle is not None and self.presume is not None:
            alike = [_through(one, self.presume) for one in parsed]
            parsed = [_through(one, self.settle) for one in parsed]
        texts = [cell_text(cell) for cell in cells]
        start = len(met.texts)
        met.texts.extend(texts)
        met.faults.update(
            (place, one) for place, one in enumerate(parsed, start) if isinstance(one, Fault)
        )
        kept = [met.missing if isinstance(one, Fault) else one for one in parsed]
        for values, new in zip(met.values, zip(*kept, strict=True), strict=True):
            values.extend(new)
        filled = np.fromiter((bool(text.strip()) for text in texts), dtype=bool, count=len(texts))
        met.filled = np.concatenate([met.filled, filled])
        met.marks = np.concatenate([met.marks, _marks(self.column, alike, texts)])


def _through(parsed: Parsed, change: Callable[[str], str | Fault]) -> Parsed:
    if isinstance(parsed, Fault) or not isinstance(parsed[0], str):
        return parsed
    changed = change(parsed[0])
    return changed if isinstance(changed, Fault) else (changed,)


def _marks(column: Column, parsed: Sequence[Parsed], texts: Sequence[str]) -> Marks:
    """Mark each distinct cell by its value, or by its text where that is at fault."""
    missing = blank(column)
    kept = [missing if isinstance(one, Fault) else one for one in parsed]
    marks = np.zeros(len(parsed), dtype=np.uint64)
    for values in zip(*kept, strict=True):
        marks = mixed(marks, hashed(as_array(column, values)))
    faulty = [place for place, one in enumerate(parsed) if isinstance(one, Fault)]
    if faulty:
        written = np.array([f"\0{texts[place]}" for place in faulty], dtype=object)
        marks[faulty] = hashed(written)
    return marks

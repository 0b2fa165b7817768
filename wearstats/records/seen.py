"""Rows seen so far in a sheet, found again by their marks: about 70 bytes a row, not the rows."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wearstats.records.stretches import Marks

NOWHERE = -1
_Ordinals = npt.NDArray[np.int64]


@dataclass(slots=True)
class Seen:
    """Marks in order, each with the number of the row that brought it first."""

    _marks: Marks = field(default_factory=lambda: np.empty(0, np.uint64))
    _rows: _Ordinals = field(default_factory=lambda: np.empty(0, np.int64))

    def find(self, marks: Marks) -> _Ordinals:
        """Return for each mark the number of the first row that had it, or `NOWHERE`."""
        if not len(self._marks):
            return np.full(len(marks), NOWHERE, np.int64)
        places = np.searchsorted(self._marks, marks)
        places[places == len(self._marks)] = 0
        return np.where(self._marks[places] == marks, self._rows[places], NOWHERE)

    def add(self, marks: Marks, rows: _Ordinals) -> None:
        """Add marks that are not there yet and are unlike each other."""
        order = np.argsort(marks, kind="stable")
        marks, rows = marks[order], rows[order]
        places = np.searchsorted(self._marks, marks)
        self._marks = np.insert(self._marks, places, marks)
        self._rows = np.insert(self._rows, places, rows)

    def meet(self, marks: Marks, rows: _Ordinals) -> _Ordinals:
        """Return the earlier row with each mark, or `NOWHERE`, and remember the new ones.

        Parameters
        ----------
        marks : ndarray of uint64, shape (n,)
        rows : ndarray of int, shape (n,)
            Numbers of the rows, in the order written.
        """
        uniques, firsts, back = np.unique(marks, return_index=True, return_inverse=True)
        earlier = self.find(uniques)
        new = earlier == NOWHERE
        self.add(uniques[new], rows[firsts[new]])
        first_rows = np.where(new, rows[firsts], earlier)[back]
        return np.where(first_rows == rows, NOWHERE, first_rows)


@dataclass(slots=True)
class Details:
    """A short mark of every cell of every row seen, so that a contradiction can be named."""

    _rows: list[_Ordinals] = field(default_factory=list)
    _marks: list[npt.NDArray[np.uint32]] = field(default_factory=list)

    def add(self, rows: _Ordinals, columns: list[Marks]) -> None:
        """Remember rows, in rising order, with one array of marks for each column."""
        self._rows.append(rows.astype(np.int64))
        # The upper half of a mark tells two cells apart as well as any half.
        halves = [(marks >> np.uint64(32)).astype(np.uint32) for marks in columns]
        self._marks.append(np.stack(halves, axis=1))

    def unlike(self, first: int, second: int) -> list[int]:
        """Return the places of the columns in which two rows differ."""
        return np.flatnonzero(self._of(first) != self._of(second)).tolist()

    def _of(self, row: int) -> npt.NDArray[np.uint32]:
        for rows, marks in zip(self._rows, self._marks, strict=True):
            if len(rows) and rows[0] <= row <= rows[-1]:
                found: npt.NDArray[np.uint32] = marks[int(np.searchsorted(rows, row))]
                return found
        message = f"row {row} was not added"
        raise KeyError(message)

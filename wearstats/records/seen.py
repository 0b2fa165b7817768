"""Rows seen so far in a sheet, found again by their marks: about 70 bytes a row, not the rows."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wearstats.records.coded import Marks

NOWHERE = -1
_Ordinals = npt.NDArray[np.int64]


@dataclass(slots=True)
class Seen:
    """Marks with the number of the row that brought each first.

    Kept in few runs, each in order and at most half as long as the one before it: to keep all
    in one order would move a million marks for every stretch.
    """

    _runs: list[tuple[Marks, _Ordinals]] = field(default_factory=list)

    def find(self, marks: Marks) -> _Ordinals:
        """Return for each mark the number of the first row that had it, or `NOWHERE`."""
        found = np.full(len(marks), NOWHERE, np.int64)
        for known, rows in self._runs:
            places = np.searchsorted(known, marks)
            places[places == len(known)] = 0
            met = known[places] == marks
            found[met] = rows[places[met]]
        return found

    def add(self, marks: Marks, rows: _Ordinals) -> None:
        """Add marks that are in order, not there yet, and unlike each other."""
        if not len(marks):
            return
        while self._runs and len(self._runs[-1][0]) < 2 * len(marks):
            marks, rows = _merged(self._runs.pop(), (marks, rows))
        self._runs.append((marks, rows))

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


def _merged(
    one: tuple[Marks, _Ordinals], other: tuple[Marks, _Ordinals]
) -> tuple[Marks, _Ordinals]:
    """Return two runs as one, in order."""
    size = len(one[0]) + len(other[0])
    places = np.searchsorted(one[0], other[0]) + np.arange(len(other[0]))
    ours = np.ones(size, dtype=bool)
    ours[places] = False
    marks, rows = np.empty(size, np.uint64), np.empty(size, np.int64)
    marks[ours], marks[places] = one[0], other[0]
    rows[ours], rows[places] = one[1], other[1]
    return marks, rows


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

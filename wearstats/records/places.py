"""A row's place among its like: the third run of a day, the second reading of a spot.

Where the writer left it blank it follows from the order in which the rows are written, but
only if all rows of that day and unit leave it blank.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wearstats.records.coded import Marks

_Flags = npt.NDArray[np.bool_]


@dataclass(slots=True)
class Places:
    """Fills blank places; one instance for each sheet, as the count goes on over its chunks."""

    _counts: dict[int, int] = field(default_factory=dict)
    _numbered: Marks | None = None

    @property
    def looked_ahead(self) -> bool:
        """Whether the groups that number their rows are known."""
        return self._numbered is not None

    def look_ahead(self, groups: Iterable[Marks]) -> None:
        """Learn which groups number some of their rows, from the whole sheet.

        Parameters
        ----------
        groups : iterable of ndarray of uint64
            For each chunk, the group of each row that gives its place.
        """
        found = [np.unique(one) for one in groups]
        self._numbered = np.unique(np.concatenate([*found, np.empty(0, np.uint64)]))

    def fill(
        self, groups: Marks, places: npt.NDArray[np.float64], counted: _Flags
    ) -> tuple[npt.NDArray[np.float64], _Flags]:
        """Fill the blank places.

        Parameters
        ----------
        groups : ndarray of uint64, shape (rows,)
        places : ndarray of float, shape (rows,)
            As written; NaN where blank.
        counted : ndarray of bool, shape (rows,)
            Blank places to be filled; the others are left alone.

        Returns
        -------
        places : ndarray of float, shape (rows,)
        unclear : ndarray of bool, shape (rows,)
            Blank among rows that number theirs.
        """
        numbered = self._numbered if self._numbered is not None else np.empty(0, np.uint64)
        unclear = counted & np.isin(groups, numbered)
        to_fill = np.flatnonzero(counted & ~unclear)
        filled = places.copy()
        if len(to_fill):
            alike, of, counts = np.unique(groups[to_fill], return_inverse=True, return_counts=True)
            keys = alike.tolist()
            before = np.array([self._counts.get(key, 0) for key in keys])
            filled[to_fill] = before[of] + _order_within(of, counts)
            self._counts.update(zip(keys, (before + counts).tolist(), strict=True))
        return filled, unclear


def _order_within(of: npt.NDArray[np.intp], counts: npt.NDArray[np.intp]) -> npt.NDArray[np.int64]:
    """Return the place of each row among the rows of its group: 1, 2, ... in the order written."""
    within = np.empty(len(of), dtype=np.int64)
    starts = np.cumsum(counts) - counts
    within[np.argsort(of, kind="stable")] = np.arange(1, len(of) + 1) - np.repeat(starts, counts)
    return within

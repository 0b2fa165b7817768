"""A column as its few distinct values, and which of them each row holds."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import blake2b

import numpy as np
import numpy.typing as npt

from wearstats.records.columns import NUMBERS, Column, Kind
from wearstats.records.values import Kept

_MIX = np.uint64(0x9E3779B97F4A7C15)
_SPREAD = (
    (np.uint64(30), np.uint64(0xBF58476D1CE4E5B9)),
    (np.uint64(27), np.uint64(0x94D049BB133111EB)),
)
_LAST = np.uint64(31)

Codes = npt.NDArray[np.intp]
Marks = npt.NDArray[np.uint64]
"""One mark a row; equal values have equal marks, in every process."""


@dataclass(frozen=True, slots=True)
class Coded:
    """One field of many rows.

    Parameters
    ----------
    values : list
        Values of which each may stand in many rows, or in none; it may grow, and what is in it
        stays where it is. A blank is NaN among numbers, else None.
    codes : ndarray of int, shape (rows,)
        The place in `values` of each row's value.

    Examples
    --------
    >>> Coded(["K1", "K2"], np.array([1, 0, 1])).listed()
    ['K2', 'K1', 'K2']
    """

    values: Sequence[Kept]
    codes: Codes

    @classmethod
    def one_each(cls, values: Sequence[Kept]) -> "Coded":
        """Return values given row by row."""
        return cls(values, np.arange(len(values), dtype=np.intp))

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, row: int) -> Kept:
        return self.values[int(self.codes[row])]

    def array(self) -> npt.NDArray[np.object_]:
        """Return the value of each row."""
        table = np.empty(len(self.values), dtype=object)
        table[:] = self.values
        values: npt.NDArray[np.object_] = table[self.codes]
        return values

    def listed(self) -> list[Kept]:
        """Return the value of each row."""
        values: list[Kept] = self.array().tolist()
        return values

    def is_blank(self) -> bool:
        """Whether no value says anything (blanks being None)."""
        return all(value is None for value in self.values)

    def of(self, rows: Codes) -> "Coded":
        """Return some of the rows."""
        return Coded(self.values, self.codes[rows])


def as_array(column: Column, values: Sequence[Kept]) -> npt.NDArray[np.generic]:
    """Return kept values as the array a frame holds: float64, datetime64[ns] or object."""
    if column.kind in NUMBERS:
        # Adding zero makes -0.0 into 0.0: they are one reading.
        return np.array(values, dtype=np.float64) + 0.0
    if column.kind is Kind.DATE:
        days = [value if isinstance(value, date) else None for value in values]
        return np.array(days, dtype="datetime64[D]").astype("datetime64[ns]")
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array


def coded_numbers(numbers: npt.NDArray[np.float64]) -> Coded:
    """Return numbers, one for each row, as their distinct values and codes."""
    values, codes = np.unique(numbers, return_inverse=True)
    return Coded(values.tolist(), codes)


def repeated(value: Kept, rows: int) -> Coded:
    """Return one value in every row."""
    return Coded([value], np.zeros(rows, dtype=np.intp))


def hashed(array: npt.NDArray[np.generic]) -> Marks:
    """Return a mark of each value of an array that `as_array` made."""
    if array.dtype == object:
        digests = b"".join(map(_digest, array))
        return np.frombuffer(digests, dtype="<u8").astype(np.uint64)
    marks: Marks = array.view(np.uint64) + _MIX
    for shift, factor in _SPREAD:
        marks = (marks ^ (marks >> shift)) * factor
    spread: Marks = marks ^ (marks >> _LAST)
    return spread


def _digest(value: object) -> bytes:
    text = "\0" if value is None else str(value)
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=8).digest()


def mixed(first: Marks, second: Marks) -> Marks:
    """Return marks of pairs; the order of the two matters."""
    turned = (first << np.uint64(23)) | (first >> np.uint64(41))
    result: Marks = (turned ^ second) * _MIX + second
    return result

"""What has been taken from a sheet, and what has been set aside."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from wearstats.records.findings import Finding


class RowCells(Mapping[str, str]):
    """The cells of a row as typed, by header; equal to a dict of the same.

    Parameters
    ----------
    labels : tuple of str
        Shared by all rows of a sheet, so that a million rows need no million dicts.
    texts : sequence of str

    Examples
    --------
    >>> RowCells(("unit", "tip"), ("K1", "3/4")) == {"unit": "K1", "tip": "3/4"}
    True
    """

    __slots__ = ("_labels", "_texts")

    def __init__(self, labels: tuple[str, ...], texts: Sequence[str]) -> None:
        self._labels = labels
        self._texts = texts

    def __getitem__(self, label: str) -> str:
        try:
            return self._texts[self._labels.index(label)]
        except ValueError:
            raise KeyError(label) from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._labels)

    def __len__(self) -> int:
        return len(self._labels)

    def __repr__(self) -> str:
        return repr(dict(self))


@dataclass(frozen=True, slots=True)
class AsideRow:
    """A row that was set aside.

    Parameters
    ----------
    row : int
        As the writer counts.
    cells : dict of str to str
        By header, as typed. Where the row's place in the day was left blank and is known
        (the third of five runs), it is filled in, so that the mended row keeps its place.
    findings : tuple of Finding
        Why; never empty.
    aside_id : int or None
        Its number, where it was set aside before and has come back.
    """

    row: int
    cells: dict[str, str]
    findings: tuple[Finding, ...]
    aside_id: int | None = None


@dataclass(frozen=True, slots=True)
class Taken:
    """Rows taken from a stretch of a sheet.

    Parameters
    ----------
    kind : str
        "runs", "restrips", "units" or "readings"; empty for a sheet that holds no records.
    frame : DataFrame
        One row for each row taken: the fields of the sheet, and `_row` (int), `_cells`
        (`RowCells`, from header to text as typed), `_aside` (nullable whole number).
    aside : list of AsideRow
    notes : list of Finding
        About the sheet; on its first stretch.
    """

    kind: str
    frame: pd.DataFrame
    aside: list[AsideRow]
    notes: list[Finding]

    @property
    def rows_read(self) -> int:
        """Rows read: those taken and those set aside."""
        return len(self.frame) + len(self.aside)

"""What has been taken from a sheet, and what has been set aside."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from wearstats.records.coded import Coded, Codes, as_array
from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.findings import Finding
from wearstats.records.schema import SHEETS

if TYPE_CHECKING:
    import pandas as pd


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
class Typed:
    """The cells of rows as typed; made into `RowCells` only for a row that is asked for.

    Parameters
    ----------
    labels : tuple of str
    texts : sequence of sequence of str
        Of every row of the stretch.
    rows : ndarray of int, shape (rows,)
        The places in `texts` of the rows meant.
    """

    labels: tuple[str, ...] = ()
    texts: Sequence[Sequence[str]] = ()
    rows: Codes = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, place: int) -> RowCells:
        return RowCells(self.labels, self.texts[self.rows[place]])


@dataclass(frozen=True, slots=True)
class Taken:
    """Rows taken from a stretch of a sheet, in the order written, and rows set aside.

    Parameters
    ----------
    kind : str
        "runs", "restrips", "units" or "readings"; empty for a sheet that holds no records.
    columns : mapping of str to Coded
        The fields of the sheet.
    rows : ndarray of int, shape (rows,)
        Numbers of the rows taken, as the writer counts.
    cells : Typed
    aside_ids : sequence of int or None, or None
        For each row taken the number under which it was set aside before; None where the sheet
        has no column of such numbers.
    aside : list of AsideRow
    notes : list of Finding
        About the sheet; on its first stretch.
    """

    kind: str
    columns: Mapping[str, Coded]
    rows: npt.NDArray[np.int64]
    cells: Typed = Typed()
    aside_ids: Sequence[int | None] | None = None
    aside: list[AsideRow] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    @classmethod
    def nothing(cls, kind: str = "") -> "Taken":
        """Return what is taken from a sheet of a kind without a row."""
        none = np.zeros(0, dtype=np.intp)
        fields = SHEETS[kind].fields if kind else ()
        return cls(kind, {name: Coded([], none) for name in fields}, np.zeros(0, dtype=np.int64))

    def noted(self, notes: list[Finding]) -> "Taken":
        """Return the same with notes."""
        return replace(self, notes=notes)

    @property
    def rows_read(self) -> int:
        """Rows read: those taken and those set aside."""
        return len(self.rows) + len(self.aside)

    @property
    def frame(self) -> "pd.DataFrame":
        """The rows taken as a frame, made anew each time.

        The fields of the sheet, and `_row` (int), `_cells` (`RowCells`, from header to text as
        typed), `_aside` (nullable whole number).
        """
        import pandas as pd

        if not self.kind:
            return pd.DataFrame(columns=list(_PRIVATE))
        sheet = SHEETS[self.kind]
        named = [(name, column) for column in sheet for name in column.fields]
        frame = pd.DataFrame({name: _in_full(self.columns[name], column) for name, column in named})
        if sheet.counted is not None:
            frame[sheet.counted] = frame[sheet.counted].astype("int64")
        frame["_row"] = self.rows
        cells = [self.cells[place] for place in range(len(self.cells))]
        frame["_cells"] = pd.Series(cells, dtype="object")
        ids = self.aside_ids if self.aside_ids is not None else [None] * len(self.rows)
        frame["_aside"] = pd.array(list(ids), dtype="Int64")
        return frame


_PRIVATE = ("_row", "_cells", "_aside")


def _in_full(coded: Coded, column: Column) -> npt.NDArray[np.generic]:
    return as_array(column, coded.values)[coded.codes]


def field_dtype(sheet: Sheet, field: str) -> str:
    """Return the type a field has in a frame of canonical rows.

    Examples
    --------
    >>> from wearstats.records.schema import RUNS
    >>> [field_dtype(RUNS, name) for name in ("date", "unit", "run", "load")]
    ['datetime64[ns]', 'object', 'int64', 'float64']
    """
    column = next(column for column in sheet if field in column.fields)
    if column.kind is Kind.DATE:
        return "datetime64[ns]"
    if column.kind in {Kind.TEXT, Kind.CHOICE}:
        return "object"
    return "int64" if column.name == sheet.counted else "float64"

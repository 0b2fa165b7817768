"""What has been taken from a sheet, and what has been set aside."""

from dataclasses import dataclass

import pandas as pd

from wearstats.records.findings import Finding


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
        One row for each row taken: the fields of the sheet, and `_row` (int), `_cells` (dict
        from header to text as typed), `_aside` (nullable whole number).
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

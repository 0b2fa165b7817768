"""One cell as a reader found it, and one fault in it, before anybody says in which row."""

from dataclasses import dataclass
from datetime import date, datetime

from wearstats.records.findings import Finding, Severity


@dataclass(frozen=True, slots=True)
class Uncomputed:
    """A formula whose result the file does not hold.

    Parameters
    ----------
    formula : str
        As written in the sheet.
    """

    formula: str


Cell = str | float | int | bool | date | datetime | Uncomputed | None
"""What a reader may hand over: text as typed, a number, a date, or nothing."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a cell, whichever row it stands in.

    Parameters
    ----------
    code, message : str
        As in `Finding`.
    expected : str or None
    """

    code: str
    message: str
    expected: str | None = None

    def found(
        self, file: str, sheet: str, row: int | None, column: str | None, value: str | None
    ) -> Finding:
        """Return the finding of this fault at a place."""
        return Finding(
            code=self.code,
            message=self.message,
            severity=Severity.ASIDE,
            file=file,
            sheet=sheet,
            row=row,
            column=column,
            value=value,
            expected=self.expected,
        )


def number_text(number: float) -> str:
    """Return a number as a person would write it, without a trailing `.0`.

    Examples
    --------
    >>> number_text(4.0), number_text(0.1), number_text(1e6)
    ('4', '0.1', '1000000')
    """
    if abs(number) < 1e15 and number == int(number):  # noqa: PLR2004 - beyond, digits are lost
        return str(int(number))
    return repr(number)


def cell_text(cell: Cell) -> str:
    """Return a cell as its writer sees it.

    Examples
    --------
    >>> from datetime import datetime
    >>> cell_text(4.0), cell_text(None), cell_text(datetime(2026, 5, 3)), cell_text(True)
    ('4', '', '2026-05-03', 'TRUE')
    """
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, Uncomputed):
        return cell.formula
    if isinstance(cell, (int, float)):
        return number_text(cell)
    if isinstance(cell, datetime) and (cell.hour, cell.minute, cell.second) == (0, 0, 0):
        return cell.date().isoformat()
    return cell.isoformat(sep=" ") if isinstance(cell, datetime) else cell.isoformat()

"""What the book hands back: frozen values that need no book to be read."""

from collections.abc import Mapping
from dataclasses import dataclass

from wearstats.records.findings import Finding


@dataclass(frozen=True, slots=True)
class SheetResult:
    """What became of the rows of one sheet.

    Parameters
    ----------
    sheet : str
        Its name in the file.
    kind : str
        "runs", "restrips", "units" or "readings".
    rows_read : int
        Always `logged + already_there + set_aside`.
    logged : int
        Rows that put something into the book; `amended` and `completed` are among them.
    already_there : int
        Rows that say nothing the book does not hold.
    set_aside : int
        Rows to be mended.
    amended : int
        Rows whose value now stands in place of another, which is kept in the history.
    completed : int
        Rows that filled blanks of a record.
    mended : int
        Rows set aside before that now read well.
    first_row, last_row : int or None
        As the sheet counts; None where it has no rows.
    """

    sheet: str
    kind: str
    rows_read: int
    logged: int
    already_there: int
    set_aside: int
    amended: int
    completed: int
    mended: int
    first_row: int | None = None
    last_row: int | None = None


@dataclass(frozen=True, slots=True)
class ImportResult:
    """What became of one file.

    Parameters
    ----------
    number : int
        The import's number in the book.
    file : str
        Its name, without its folder.
    sha256 : str
        Of its bytes.
    sheets : tuple of SheetResult
    findings : tuple of Finding
        Why rows were set aside, and notes on rows that were not.
    """

    number: int
    file: str
    sha256: str
    sheets: tuple[SheetResult, ...]
    findings: tuple[Finding, ...]

    @property
    def rows_read(self) -> int:
        """Rows read from all sheets; always `logged + already_there + set_aside`."""
        return sum(sheet.rows_read for sheet in self.sheets)

    @property
    def logged(self) -> int:
        """Rows that put something into the book."""
        return sum(sheet.logged for sheet in self.sheets)

    @property
    def already_there(self) -> int:
        """Rows that say nothing the book does not hold."""
        return sum(sheet.already_there for sheet in self.sheets)

    @property
    def set_aside(self) -> int:
        """Rows to be mended."""
        return sum(sheet.set_aside for sheet in self.sheets)

    @property
    def amended(self) -> int:
        """Rows whose value now stands in place of another."""
        return sum(sheet.amended for sheet in self.sheets)

    @property
    def completed(self) -> int:
        """Rows that filled blanks of a record."""
        return sum(sheet.completed for sheet in self.sheets)

    @property
    def mended(self) -> int:
        """Rows set aside before that now read well."""
        return sum(sheet.mended for sheet in self.sheets)


@dataclass(frozen=True, slots=True)
class AsideItem:
    """A row set aside.

    Parameters
    ----------
    number : int
        By which it is mended or discarded.
    file, sheet, kind : str
        Where it came from.
    row : int
        As the sheet counts.
    cells : mapping of str to str
        Header to text as typed, in the order of the sheet.
    findings : tuple of Finding
        Why it was set aside.
    state : str
        "open", "mended" or "discarded".
    why : str
        Why it was discarded, or empty.
    """

    number: int
    file: str
    sheet: str
    kind: str
    row: int
    cells: Mapping[str, str]
    findings: tuple[Finding, ...]
    state: str
    why: str = ""

    @property
    def reason(self) -> str:
        """All reasons, parted by semicolons, for the sheet to be mended."""
        return "; ".join(finding.message for finding in self.findings)

"""What is wrong with records, as a table: one finding a fault."""

from dataclasses import asdict, dataclass
from enum import StrEnum


class Severity(StrEnum):
    """What a finding does to its row."""

    ASIDE = "aside"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault, said so that its writer can mend it.

    Parameters
    ----------
    code : str
        Stable, lower case with hyphens ("value-range").
    message : str
        One plain sentence: what was found, what was expected, what to do.
    severity : Severity
        `ASIDE`: the row (or sheet) is set aside. `NOTE`: it is logged all the same.
    file, sheet : str
    row : int or None
        As the writer counts: the header is row 1.
    column : str or None
        The header as written.
    value : str or None
        The cell as written.
    expected : str or None
    """

    code: str
    message: str
    severity: Severity = Severity.ASIDE
    file: str = ""
    sheet: str = ""
    row: int | None = None
    column: str | None = None
    value: str | None = None
    expected: str | None = None

    def as_dict(self) -> dict[str, str | int | None]:
        """Return the finding as plain data for JSON."""
        return asdict(self)

    def __str__(self) -> str:
        where = [part for part in (self.file, self.sheet and f"sheet {self.sheet}") if part]
        if self.row is not None:
            where.append(f"row {self.row}")
        if self.column is not None:
            where.append(f"column {self.column!r}")
        return f"{', '.join(where)}: {self.message}" if where else self.message

"""What a column and a sheet are: the vocabulary in which the schema is stated."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from wearstats.units import Quantity


class Kind(StrEnum):
    """How a cell is read."""

    DATE = "date"
    TEXT = "text"
    NUMBER = "number"
    COUNT = "count"
    GO_NO_GO = "reading"
    CHOICE = "choice"


NUMBERS = frozenset({Kind.NUMBER, Kind.COUNT, Kind.GO_NO_GO})
"""Kinds kept as numbers."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    Parameters
    ----------
    name : str
        As written in a header and in the data dictionary.
    kind : Kind
    meaning : str
        One plain sentence.
    quantity : Quantity or None
        What is measured; fixes the units a header or a cell may name.
    limits : (float, float) or None
        Least and greatest value taken, both included, in the unit the book keeps.
    ask_below : float or None
        A bare number above 0 and below this, in the kept unit, could mean two things and is
        set aside with a question, unless the cell itself or a column map names the unit.
    ask_even_if_headed : bool
        Ask even when the header names the unit (0.004 under a header in thou).
    hint : str
        A sentence that helps to answer that question.
    has_default_unit : bool
        False where a bare number under a bare header is only taken if exactly one unit
        makes it plausible (85 must be Fahrenheit; 29 is asked about).
    may_be_percent : bool
        A share of 1 that may be written as `60%`.
    folded : bool
        Case does not matter in this text; it is kept in lower case.
    choices : mapping of str to tuple of str
        The words kept, each with other spellings of it.
    aliases : tuple of str
        Other headers for this column.
    required, key : bool
        Must be filled; is part of what makes a row itself.
    """

    name: str
    kind: Kind
    meaning: str
    quantity: Quantity | None = None
    limits: tuple[float, float] | None = None
    ask_below: float | None = None
    ask_even_if_headed: bool = False
    hint: str = ""
    has_default_unit: bool = True
    may_be_percent: bool = False
    folded: bool = False
    choices: MappingProxyType[str, tuple[str, ...]] | None = field(default=None, hash=False)
    aliases: tuple[str, ...] = ()
    required: bool = False
    key: bool = False

    @property
    def base(self) -> str:
        """The name as an identifier, without a unit."""
        return self.name.replace(" ", "_").replace("-", "_")

    @property
    def fields(self) -> tuple[str, ...]:
        """Names under which the book keeps it: two for a go / no-go reading, else one."""
        suffix = f"_{self.quantity.kept.lower()}" if self.quantity is not None else ""
        if self.kind is Kind.GO_NO_GO:
            return (f"{self.base}_low{suffix}", f"{self.base}_high{suffix}")
        return (f"{self.base}{suffix}",)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One kind of record.

    Parameters
    ----------
    name : str
        "runs", "restrips", "units" or "readings".
    meaning : str
    columns : tuple of Column
    counted : str or None
        Name of the column that counts rows alike in every other key column; where it is left
        blank it is filled by the order in which the rows are written.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    counted: str | None = None

    def __iter__(self) -> Iterator[Column]:
        return iter(self.columns)

    def column(self, name: str) -> Column:
        """Return the column of that name."""
        for column in self.columns:
            if column.name == name:
                return column
        message = f"the {self.name} sheet has no column {name!r}"
        raise KeyError(message)

    @property
    def required(self) -> tuple[Column, ...]:
        """Columns that must be filled."""
        return tuple(column for column in self.columns if column.required)

    @property
    def key_fields(self) -> tuple[str, ...]:
        """Fields that make a row itself."""
        return tuple(field for column in self.columns if column.key for field in column.fields)

    @property
    def fields(self) -> tuple[str, ...]:
        """All fields, in order."""
        return tuple(field for column in self.columns for field in column.fields)

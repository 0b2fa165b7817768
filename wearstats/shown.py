"""How a result shows itself: one summary from which the console, a notebook and a frame follow."""

import textwrap
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Literal, TypeAlias

from wearstats.estimates import Estimate
from wearstats.numbers import age, chance, plain, quantity
from wearstats.numbers import level as level_said

if TYPE_CHECKING:
    import pandas as pd

Cell: TypeAlias = Estimate | str | float | None
Kind: TypeAlias = Literal["text", "number", "estimate", "chance"]

_WIDTH = 80
_ROWS_AT_MOST = 12
_LETTERS_AT_MOST = 30
# Names and remarks come in any writing.
_CELL, _ITEM = '<td dir="auto">', '<li dir="auto">'


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a summary.

    Parameters
    ----------
    name : str
        As in a frame: lower case, words joined by underscores.
    kind : str
        "estimate" and "chance" hold an Estimate, or None where there is none.
    """

    name: str
    kind: Kind = "text"

    @property
    def has_interval(self) -> bool:
        """Whether its cells carry an interval."""
        return self.kind in {"estimate", "chance"}

    @property
    def names(self) -> tuple[str, ...]:
        """Names of what it becomes in a frame."""
        if not self.has_interval:
            return (self.name,)
        if self.name == "estimate":
            return ("estimate", "low", "high")
        return (self.name, f"{self.name}_low", f"{self.name}_high")

    def values(self, cell: Cell) -> tuple[str | float | None, ...]:
        """Return a cell as the columns `names` hold it, unrounded."""
        if isinstance(cell, Estimate):
            return (cell.estimate, cell.low, cell.high)
        return (None, None, None) if self.has_interval else (cell,)

    def written(self, cell: Cell) -> str:
        """Return a cell as it is read."""
        if cell is None:
            return ""
        if isinstance(cell, Estimate):
            return str((chance if self.kind == "chance" else quantity)(cell))
        return _short(cell) if isinstance(cell, str) else age(cell)


@dataclass(frozen=True, slots=True)
class Summary:
    """What a result says of itself.

    Parameters
    ----------
    title : str
        What it is.
    basis : str
        One sentence: what stands behind it, and the level of its intervals.
    columns : tuple of Column
    rows : tuple of tuple
        Cells, one for each column.
    notes : tuple of str
        What it must be read with.
    """

    title: str
    basis: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()

    def frame(self) -> "pd.DataFrame":
        """Return the rows unrounded; an Estimate as three columns, NaN where not known."""
        import pandas as pd

        names = [name for column in self.columns for name in column.names]
        rows = [
            [
                value
                for column, cell in zip(self.columns, row, strict=True)
                for value in column.values(cell)
            ]
            for row in self.rows
        ]
        frame = pd.DataFrame(rows, columns=names)
        of_numbers = [
            name for column in self.columns if column.kind != "text" for name in column.names
        ]
        frame[of_numbers] = frame[of_numbers].astype("float64")
        return frame

    def text(self) -> str:
        """Return it for a console of 80 columns, in signs that any console can print."""
        parts = [*self._wrapped(self.title), *self._wrapped(self.basis)]
        if self.rows:
            parts += ["", *self._lines()]
        for note in self._notes():
            parts += self._wrapped(note, "- ")
        return "\n".join(parts)

    def html(self) -> str:
        """Return it for a notebook: plain elements without a style, every text escaped."""
        heads = _each('<th scope="col">', map(_head, self.columns), "</th>")
        rows = "".join(f"<tr>{_each(_CELL, cells, '</td>')}</tr>" for cells in self._written())
        table = f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        notes = f"<ul>{_each(_ITEM, self._notes(), '</li>')}</ul>"
        return (
            f"<div><p><strong>{escape(self.title)}</strong></p>"
            f'<p dir="auto">{escape(self.basis)}</p>'
            f"{table if self.rows else ''}{notes if self._notes() else ''}</div>"
        )

    def _notes(self) -> tuple[str, ...]:
        more = len(self.rows) - _ROWS_AT_MOST
        return (f"{more} more rows: to_frame()", *self.notes) if more > 0 else self.notes

    def _written(self) -> Iterator[tuple[str, ...]]:
        for row in self.rows[:_ROWS_AT_MOST]:
            pairs = zip(self.columns, row, strict=True)
            yield tuple(column.written(cell) for column, cell in pairs)

    def _lines(self) -> Iterator[str]:
        rows = [tuple(_head(each) for each in self.columns), *self._written()]
        clean = [[plain(cell) for cell in row] for row in rows]
        widths = [max(map(len, column)) for column in zip(*clean, strict=True)]
        for row in clean:
            cells = [
                cell.rjust(width) if column.kind == "number" else cell.ljust(width)
                for cell, width, column in zip(row, widths, self.columns, strict=True)
            ]
            yield "  ".join(cells).rstrip()

    @staticmethod
    def _wrapped(text: str, lead: str = "") -> list[str]:
        # A number is not parted from its sign; the hard space goes once the lines stand.
        lines = textwrap.wrap(
            text.replace(" %", "\u00a0%"),
            _WIDTH,
            initial_indent=lead,
            subsequent_indent=" " * len(lead),
            break_on_hyphens=False,
        )
        return [plain(line) for line in lines]


class Readable(ABC):
    """A result that shows itself by its summary.

    A dataclass that takes this in says `repr=False`, or its own would stand before it.
    """

    __slots__ = ()

    @abstractmethod
    def summary(self) -> Summary:
        """Return what it is, what stands behind it, and its main numbers with intervals."""

    def to_frame(self) -> "pd.DataFrame":
        """Return its main numbers, unrounded."""
        return self.summary().frame()

    def __repr__(self) -> str:
        return self.summary().text()

    def _repr_html_(self) -> str:
        return self.summary().html()


def counted(number_of: float, one: str, many: str = "") -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> counted(1, "life", "lives"), counted(12.0, "reading"), counted(2_345_678, "row")
    ('1 life', '12 readings', '2345678 rows')
    """
    return f"{number_of:.15g} {one if number_of == 1 else many or one + 's'}"


def intervals(level: float) -> str:
    r"""Return the words for the level of intervals.

    Examples
    --------
    >>> intervals(0.9)
    'intervals 90\xa0%'
    """
    return f"intervals {level_said(level)}"


def _each(before: str, texts: Iterable[str], after: str) -> str:
    return "".join(f"{before}{escape(text)}{after}" for text in texts)


def _head(column: Column) -> str:
    return column.name.replace("_", " ")


def _short(text: str) -> str:
    return text if len(text) <= _LETTERS_AT_MOST else f"{text[: _LETTERS_AT_MOST - 3]}..."

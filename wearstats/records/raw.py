"""A sheet as a reader hands it over: headers, and rows of cells in chunks; nothing judged yet."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, NoReturn

from wearstats.errors import RecordError
from wearstats.records.cells import Cell, cell_text
from wearstats.records.findings import Finding, Severity
from wearstats.records.headers import understood
from wearstats.records.schema import SHEETS

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

CHUNK_ROWS = 20_000
"""Small enough that a chunk's cells stay near the processor; measured."""
MOST_COLUMNS = 512
_TITLE_LINES = 5
_CLEARLY_BETTER = 2

NumberedRow = tuple[int, Sequence[Cell]]
"""A row number as the writer counts, and the cells of that row."""


@dataclass(frozen=True, slots=True)
class RawChunk:
    """Some rows of a sheet, blank ones left out.

    Parameters
    ----------
    rows : list of int
        Row numbers as the writer counts them.
    cells : list of sequence of Cell
        One sequence for each row number, as long as the headers.
    ragged : list of (int, sequence of Cell)
        Rows with more or fewer cells than headers.
    """

    rows: list[int]
    cells: list[Sequence[Cell]]
    ragged: list[NumberedRow] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class RawSheet:
    """One sheet of a file.

    Parameters
    ----------
    file, name : str
        Name of the file; of the sheet (the file's stem where it has no sheets).
    headers : tuple of str
        As written.
    header_row : int
        Row number of the headers.
    open_chunks : callable
        Returns a fresh iterator over the rows each time it is called.
    notes : tuple of Finding
        What the reader wants known.
    alone : bool
        Whether it is the file's only sheet with anything in it.
    text_only : bool
        Whether every cell is text.
    """

    file: str
    name: str
    headers: tuple[str, ...]
    header_row: int
    open_chunks: Callable[[], Iterator[RawChunk]]
    notes: tuple[Finding, ...] = ()
    alone: bool = True
    text_only: bool = False

    @property
    def first_row(self) -> int:
        """Row number of the first row below the headers."""
        return self.header_row + 1

    @property
    def chunks(self) -> Iterator[RawChunk]:
        """A fresh iterator over the rows."""
        return self.open_chunks()


def refuse(code: str, file: str, message: str, expected: str) -> NoReturn:
    """Raise the error of a file that cannot be read.

    Raises
    ------
    RecordError
    """
    whole = f"{file}: {message}; expected {expected}"
    raise RecordError(whole, findings=(Finding(code, message, file=file, expected=expected),))


def too_wide(file: str, sheet: str, columns: int, expected: str) -> NoReturn:
    """Raise the error of a sheet with more columns than are read.

    Raises
    ------
    RecordError
    """
    what = f"sheet {sheet}" if sheet else "it"
    message = f"{what} has {columns} columns; at most {MOST_COLUMNS} are read"
    refuse("sheet-wide", file, message, expected)


def note(code: str, message: str, file: str, sheet: str = "") -> Finding:
    """Return a finding that sets nothing aside."""
    return Finding(code, message, Severity.NOTE, file=file, sheet=sheet)


def is_blank(cells: Iterable[Cell]) -> bool:
    """Tell whether nothing is written in any of the cells."""
    return all(cell is None or (isinstance(cell, str) and not cell.strip()) for cell in cells)


def header_score(cells: Sequence[Cell], column_map: "ColumnMap | None") -> int:
    """Return how many of the cells are headers of the kind of sheet that knows most of them."""
    texts = [cell_text(cell) for cell in cells[:MOST_COLUMNS] if isinstance(cell, str)]
    mapped = {text for text in texts if column_map is not None and column_map.find(text)}
    return max(
        sum(text in mapped or understood(text, sheet) is not None for text in texts)
        for sheet in SHEETS
    )


@dataclass(frozen=True, slots=True)
class Head:
    """Where a sheet's headers stand.

    Parameters
    ----------
    headers : tuple of str
    row : int
    has_rows : bool
        Whether anything is written below them.
    titles : tuple of int
        Row numbers of lines above the headers.
    """

    headers: tuple[str, ...]
    row: int
    has_rows: bool
    titles: tuple[int, ...] = ()


def find_head(rows: Iterable[NumberedRow], column_map: "ColumnMap | None") -> Head | None:
    """Find the header row: the first with anything in it, unless a later one is clearly better.

    Parameters
    ----------
    rows : iterable of (int, sequence of Cell)
        From the top of the sheet; only the first few that are not blank are looked at.
    column_map : ColumnMap or None

    Returns
    -------
    Head or None
        None for a sheet with nothing in it.
    """
    written = (row for row in rows if not is_blank(row[1]))
    top = list(islice(written, _TITLE_LINES + 2))
    if not top:
        return None
    scores = [header_score(cells, column_map) for _, cells in top[: _TITLE_LINES + 1]]
    best = max(range(len(scores)), key=scores.__getitem__)
    if scores[best] < scores[0] + _CLEARLY_BETTER:
        best = 0
    number, cells = top[best]
    texts = [cell_text(cell) for cell in cells]
    while texts and not texts[-1].strip():
        texts.pop()
    return Head(tuple(texts), number, len(top) > best + 1, tuple(row for row, _ in top[:best]))


def head_notes(head: Head, file: str, sheet: str) -> tuple[Finding, ...]:
    """Return the note on lines above the headers, if there are any."""
    if not head.titles:
        return ()
    *some, last = map(str, head.titles)
    above = (
        f"rows {', '.join(some)} and {last} were read as titles"
        if some
        else (f"row {last} was read as a title")
    )
    message = f"the headers stand in row {head.row}; above them, {above}"
    return (note("title-lines", message, file, sheet),)


def chunked(
    rows: Iterable[NumberedRow],
    head: Head,
    *,
    pad: bool,
    blank: Callable[[Sequence[Cell]], bool] = is_blank,
) -> Iterator[RawChunk]:
    """Gather the rows below the headers into chunks.

    Parameters
    ----------
    rows : iterable of (int, sequence of Cell)
        From the top of the sheet.
    head : Head
    pad : bool
        Whether a short row only lacks blank cells at its end, as in a workbook; else it is
        ragged.
    blank : callable
        Tells whether nothing is written in a row.
    """
    width = len(head.headers)
    chunk = RawChunk([], [])
    for number, cells in rows:
        if number <= head.row or blank(cells):
            continue
        if len(cells) == width:
            chunk.rows.append(number)
            chunk.cells.append(cells)
        else:
            _place(chunk, number, cells, width, pad=pad)
        if len(chunk.rows) + len(chunk.ragged) >= CHUNK_ROWS:
            yield chunk
            chunk = RawChunk([], [])
    if chunk.rows or chunk.ragged:
        yield chunk


def _place(chunk: RawChunk, number: int, cells: Sequence[Cell], width: int, *, pad: bool) -> None:
    missing = width - len(cells)
    if missing > 0 and pad:
        chunk.rows.append(number)
        chunk.cells.append((*cells, *[None] * missing))
    elif missing < 0 and is_blank(cells[width:]):
        chunk.rows.append(number)
        chunk.cells.append(tuple(cells[:width]))
    else:
        chunk.ragged.append((number, tuple(cells)))

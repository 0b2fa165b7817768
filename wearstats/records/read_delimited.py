"""CSV and TSV, with whatever encoding and delimiter the writer's program chose."""

import codecs
import csv
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import TextIOWrapper
from itertools import islice
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

from wearstats.records.findings import Finding
from wearstats.records.raw import (
    CHUNK_ROWS,
    MOST_COLUMNS,
    Head,
    NumberedRow,
    RawChunk,
    RawSheet,
    chunked,
    find_head,
    head_notes,
    header_score,
    note,
    refuse,
    too_wide,
)

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

EXPECTED = "a CSV or TSV text file with one header row and a row for each record"
_BLOCK_BYTES = 1 << 20
_WINDOWS = "cp1252"
_SAMPLE_ROWS = 25
_DELIMITERS = (",", ";", "\t")
_PROTECTED = re.compile(r"'+[=+\-@\t\r]")


def read_delimited(path: Path, column_map: "ColumnMap | None") -> RawSheet:
    """Read a CSV or TSV file.

    Raises
    ------
    RecordError
        It is no text, has no header or no row below it, or a quote in it is never closed.
    """
    text = _text(path)
    delimiter = _delimiter(path, text, column_map)
    head = find_head(_rows(path, text, delimiter), column_map)
    if head is None:
        refuse("file-empty", path.name, "the file is empty", EXPECTED)
    if not head.has_rows:
        refuse("file-empty", path.name, "there is no row below the headers", EXPECTED)
    if len(head.headers) > MOST_COLUMNS:
        too_wide(path.name, "", len(head.headers), EXPECTED)

    def open_chunks() -> Iterator[RawChunk]:
        for start, block in _blocks(path, text, delimiter, CHUNK_ROWS):
            yield from _chunk(start, block, head)

    notes = (*_encoding_note(path, text), *head_notes(head, path.name, path.stem))
    return RawSheet(
        path.name, path.stem, head.headers, head.row, open_chunks, notes, text_only=True
    )


def _chunk(start: int, block: list[list[str]], head: Head) -> Iterator[RawChunk]:
    """Make a chunk of a block of rows; nearly always every row is as long as the headers."""
    width = len(head.headers)
    below = max(head.row + 1 - start, 0)
    start, block = start + below, block[below:]
    even = {width}.issuperset(map(len, block)) and all(
        first.strip() for first in set(map(itemgetter(0), block))
    )
    if even and block:
        yield RawChunk(list(range(start, start + len(block))), [*block])
    else:
        yield from chunked(enumerate(block, start), head, pad=False)


@dataclass(frozen=True, slots=True)
class _Text:
    """How a text file is encoded, and whether an apostrophe stands anywhere in it."""

    encoding: str
    apostrophes: bool
    starts: int = 0
    """Where the text begins: a mark of UTF-8 may stand before text that is none."""

    @contextmanager
    def opened(self, path: Path) -> Iterator[TextIOWrapper]:
        with path.open("rb") as file:
            file.seek(self.starts)
            yield TextIOWrapper(file, encoding=self.encoding, newline="")


def _text(path: Path) -> _Text:
    with path.open("rb") as file:
        marks = file.read(3)
    wide = marks.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    encodings = ("utf-16",) if wide else ("utf-8-sig", _WINDOWS)
    looks = (_decoded(path, encoding) for encoding in encodings)
    text = next((look for look in looks if look is not None), None)
    if text is None:
        refuse(
            "file-kind",
            path.name,
            "its bytes are not text in UTF-8 or as Windows writes it",
            f"{EXPECTED}, saved as UTF-8",
        )
    return text


def _decoded(path: Path, encoding: str) -> _Text | None:
    """Look the whole file over in one encoding; None where it is not text in it."""
    decoder = codecs.getincrementaldecoder(encoding)()
    apostrophes = False
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK_BYTES):
                text = decoder.decode(block)
                if "\0" in text:
                    return None
                apostrophes = apostrophes or "'" in text
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return None
    return _Text(encoding, apostrophes, _mark_length(path) if encoding == _WINDOWS else 0)


def _mark_length(path: Path) -> int:
    with path.open("rb") as file:
        mark = file.read(len(codecs.BOM_UTF8))
    return len(mark) if mark == codecs.BOM_UTF8 else 0


def _encoding_note(path: Path, text: _Text) -> tuple[Finding, ...]:
    if text.encoding != _WINDOWS:
        return ()
    message = f"the file is not UTF-8; it was read as Windows text ({_WINDOWS})"
    return (note("encoding", message, path.name),)


def _rows(path: Path, text: _Text, delimiter: str) -> Iterator[NumberedRow]:
    for start, block in _blocks(path, text, delimiter, _SAMPLE_ROWS):
        yield from enumerate(block, start)


def _blocks(
    path: Path, text: _Text, delimiter: str, size: int
) -> Iterator[tuple[int, list[list[str]]]]:
    """Yield rows by the block with the number of the first, as a spreadsheet counts them."""
    with text.opened(path) as file:
        reader = csv.reader(file, delimiter=delimiter, strict=True)
        start = 1
        try:
            while block := list(islice(reader, size)):
                yield start, list(map(_unprotected, block)) if text.apostrophes else block
                start += len(block)
        except csv.Error as error:
            refuse(
                "quote-open",
                path.name,
                f"the row that ends in line {reader.line_num} cannot be parted into cells "
                f"({error}); a quote may be opened and not closed",
                EXPECTED,
            )


def _unprotected(cells: Sequence[str]) -> list[str]:
    """Take off the apostrophe that keeps text from being read as a formula."""
    return [cell[1:] if _PROTECTED.match(cell) else cell for cell in cells]


def _delimiter(path: Path, text: _Text, column_map: "ColumnMap | None") -> str:
    """Return the delimiter under which the top of the file has most known headers."""
    best = (-1, -1, -1)
    chosen = ","
    for delimiter in _DELIMITERS:
        rows = _sample(path, text, delimiter)
        widths = [len(row) for row in rows if row]
        if not widths:
            continue
        width = max(set(widths), key=widths.count)
        known = max(header_score(row, column_map) for row in rows)
        score = (known, widths.count(width) if width > 1 else 0, width)
        if score > best:
            best, chosen = score, delimiter
    return chosen


def _sample(path: Path, text: _Text, delimiter: str) -> list[list[str]]:
    with text.opened(path) as file:
        rows: list[list[str]] = []
        # What stands above an error tells the delimiter all the same.
        with suppress(csv.Error):
            rows.extend(islice(csv.reader(file, delimiter=delimiter), _SAMPLE_ROWS))
        return rows

"""CSV and TSV, with whatever encoding and delimiter the writer's program chose."""

import codecs
import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path

from wearstats.records.columnmap import ColumnMap
from wearstats.records.findings import Finding
from wearstats.records.raw import (
    CHUNK_ROWS,
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
)

EXPECTED = "a CSV or TSV text file with one header row and a row for each record"
_BLOCK_BYTES = 1 << 20
_SAMPLE_ROWS = 25
_DELIMITERS = (",", ";", "\t")
_PROTECTED = re.compile(r"'+[=+\-@\t\r]")


def read_delimited(path: Path, column_map: ColumnMap | None) -> RawSheet:
    """Read a CSV or TSV file.

    Raises
    ------
    RecordError
        It is no text, has no header or no row below it, or a quote in it is never closed.
    """
    encoding, notes = _encoding(path)
    delimiter = _delimiter(path, encoding, column_map)
    head = find_head(_rows(path, encoding, delimiter), column_map)
    if head is None:
        refuse("file-empty", path.name, "the file is empty", EXPECTED)
    if not head.has_rows:
        refuse("file-empty", path.name, "there is no row below the headers", EXPECTED)

    def open_chunks() -> Iterator[RawChunk]:
        for start, block in _blocks(path, encoding, delimiter, CHUNK_ROWS):
            yield from _chunk(start, block, head)

    notes = (*notes, *head_notes(head, path.name, path.stem))
    return RawSheet(
        path.name, path.stem, head.headers, head.row, open_chunks, notes, text_only=True
    )


def _chunk(start: int, block: list[list[str]], head: Head) -> Iterator[RawChunk]:
    """Make a chunk of a block of rows; nearly always every row is as long as the headers."""
    width = len(head.headers)
    below = max(head.row + 1 - start, 0)
    start, block = start + below, block[below:]
    even = {width}.issuperset(map(len, block)) and all(row[0].strip() for row in block)
    if even and block:
        yield RawChunk(list(range(start, start + len(block))), [*block])
    else:
        yield from chunked(enumerate(block, start), head, pad=False)


def _encoding(path: Path) -> tuple[str, tuple[Finding, ...]]:
    start = path.open("rb")
    with start:
        marks = start.read(3)
    if marks.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        candidates = ["utf-16"]
    else:
        candidates = ["utf-8-sig", "cp1252"]
    for encoding in candidates:
        if _decodes(path, encoding):
            break
    else:
        refuse("file-kind", path.name, "its bytes are not text", f"{EXPECTED}, saved as UTF-8")
    if encoding != "cp1252":
        return encoding, ()
    message = "the file is not UTF-8; it was read as Windows text (cp1252)"
    return encoding, (note("encoding", message, path.name),)


def _decodes(path: Path, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK_BYTES):
                if "\0" in decoder.decode(block):
                    return False
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _rows(path: Path, encoding: str, delimiter: str) -> Iterator[NumberedRow]:
    for start, block in _blocks(path, encoding, delimiter, _SAMPLE_ROWS):
        yield from enumerate(block, start)


def _blocks(
    path: Path, encoding: str, delimiter: str, size: int
) -> Iterator[tuple[int, list[list[str]]]]:
    """Yield rows by the block with the number of the first, as a spreadsheet counts them."""
    with path.open(encoding=encoding, newline="") as file:
        watch = _Apostrophes(file)
        reader = csv.reader(watch, delimiter=delimiter, strict=True)
        start = 1
        try:
            while block := list(islice(reader, size)):
                yield start, list(map(_unprotected, block)) if watch.seen() else block
                start += len(block)
        except csv.Error as error:
            refuse(
                "quote-open",
                path.name,
                f"the row that ends in line {reader.line_num} cannot be parted into cells "
                f"({error}); a quote may be opened and not closed",
                EXPECTED,
            )


class _Apostrophes:
    """Lines of a file, watched for the mark that most of them lack: looking at cells is slow."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._lines = iter(lines)
        self._seen = False

    def __iter__(self) -> "_Apostrophes":
        return self

    def __next__(self) -> str:
        line = next(self._lines)
        if "'" in line:
            self._seen = True
        return line

    def seen(self) -> bool:
        """Tell whether the mark stood in the lines since this was asked last."""
        seen, self._seen = self._seen, False
        return seen


def _unprotected(cells: Sequence[str]) -> list[str]:
    """Take off the apostrophe that keeps text from being read as a formula."""
    return [cell[1:] if _PROTECTED.match(cell) else cell for cell in cells]


def _delimiter(path: Path, encoding: str, column_map: ColumnMap | None) -> str:
    """Return the delimiter under which the top of the file has most known headers."""
    best = (-1, -1, -1)
    chosen = ","
    for delimiter in _DELIMITERS:
        rows = _sample(path, encoding, delimiter)
        widths = [len(row) for row in rows if row]
        if not widths:
            continue
        width = max(set(widths), key=widths.count)
        known = max(header_score(row, column_map) for row in rows)
        score = (known, widths.count(width) if width > 1 else 0, width)
        if score > best:
            best, chosen = score, delimiter
    return chosen


def _sample(path: Path, encoding: str, delimiter: str) -> list[list[str]]:
    with path.open(encoding=encoding, newline="") as file:
        reader = csv.reader(file, delimiter=delimiter)
        try:
            return list(islice(reader, _SAMPLE_ROWS))
        except csv.Error:
            return []

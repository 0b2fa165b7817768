"""CSV and TSV, with whatever encoding and delimiter the writer's program chose."""

import codecs
import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path

from wearstats.records.cells import Cell
from wearstats.records.columnmap import ColumnMap
from wearstats.records.findings import Finding
from wearstats.records.raw import (
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
        return chunked(_rows(path, encoding, delimiter), head, pad=False, blank=_all_blank)

    notes = (*notes, *head_notes(head, path.name, path.stem))
    return RawSheet(
        path.name, path.stem, head.headers, head.row, open_chunks, notes, text_only=True
    )


def _all_blank(cells: Sequence[Cell]) -> bool:
    # Every cell of a text file is text, so that joining them is the quick way.
    return not "".join(cells).strip()  # type: ignore[arg-type]


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
    """Yield the rows, counted as a spreadsheet counts them."""
    with path.open(encoding=encoding, newline="") as file:
        watch = _Apostrophes(file)
        reader = csv.reader(watch, delimiter=delimiter, strict=True)
        number = 0
        try:
            for number, cells in enumerate(reader, start=1):
                yield number, _unprotected(cells) if watch.seen() else cells
        except csv.Error as error:
            refuse(
                "quote-open",
                path.name,
                f"the row after row {number} (line {reader.line_num} of the text) cannot be "
                f"parted into cells ({error}); a quote may be opened and not closed",
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

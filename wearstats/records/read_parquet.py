"""Parquet files, read batch by batch."""

from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from wearstats.records.cells import Cell
from wearstats.records.raw import (
    CHUNK_ROWS,
    MOST_COLUMNS,
    Head,
    NumberedRow,
    RawChunk,
    RawSheet,
    chunked,
    refuse,
    too_wide,
)

EXPECTED = "a Parquet file with one column for each header"
_LONGEST_TEXT = 131_072
"""As much as a cell of a CSV file may hold."""
_DAMAGE = (pa.ArrowException, OSError, ValueError, OverflowError, NotImplementedError)


def read_parquet(path: Path) -> RawSheet:
    """Read a Parquet file.

    Raises
    ------
    RecordError
        It is damaged, has no row, or too many columns.
    """
    try:
        with pq.ParquetFile(path) as file:
            names = tuple(str(name) for name in file.schema_arrow.names)
            texts = [field.name for field in file.schema_arrow if _is_text(field.type)]
            rows = int(file.metadata.num_rows)
    except _DAMAGE as error:
        refuse("file-damaged", path.name, f"the file is damaged ({error})", EXPECTED)
    if not rows or not names:
        refuse("file-empty", path.name, "it has no row", EXPECTED)
    if len(names) > MOST_COLUMNS:
        too_wide(path.name, "", len(names), EXPECTED)
    # The names stand where a sheet has its first row.
    head = Head(names, 1, has_rows=True)

    def open_chunks() -> Iterator[RawChunk]:
        return chunked(_rows(path, texts), head, pad=True)

    return RawSheet(path.name, path.stem, names, head.row, open_chunks)


def _is_text(kind: Any) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _rows(path: Path, texts: Sequence[str]) -> Iterator[NumberedRow]:
    number = 1
    try:
        # A text that is written once stays one text, however many rows point to it.
        with pq.ParquetFile(path, read_dictionary=[*texts]) as file:
            for batch in file.iter_batches(batch_size=CHUNK_ROWS):
                columns = [
                    _column(batch.column(place), path.name) for place in range(batch.num_columns)
                ]
                for cells in zip(*columns, strict=True):
                    number += 1
                    yield number, cells
    except _DAMAGE as error:
        refuse("file-damaged", path.name, f"the file is damaged ({error})", EXPECTED)


def _column(values: Any, file: str) -> Sequence[Cell]:
    kind = values.type
    if pa.types.is_dictionary(kind) and _is_text(kind.value_type):
        longest = pc.max(pc.binary_length(values.dictionary)).as_py() or 0
        if longest > _LONGEST_TEXT:
            message = f"it holds a text of {longest} bytes; at most {_LONGEST_TEXT} are read"
            refuse("cell-long", file, message, EXPECTED)
        words: list[Cell] = values.dictionary.to_pylist()
        return [None if place is None else words[place] for place in values.indices.to_pylist()]
    listed: list[Any] = values.to_pylist()
    if pa.types.is_string(kind) or pa.types.is_integer(kind) or pa.types.is_floating(kind):
        return listed
    return [_cell(value) for value in listed]


def _cell(value: Any) -> Cell:
    if value is None or isinstance(value, (str, bool, int, float, date)):
        return value
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="backslashreplace")
    return str(value)

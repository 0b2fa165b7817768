"""Parquet files, read batch by batch."""

from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pyarrow as pa
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
        return chunked(_rows(path), head, pad=True)

    return RawSheet(path.name, path.stem, names, head.row, open_chunks)


def _rows(path: Path) -> Iterator[NumberedRow]:
    number = 1
    try:
        with pq.ParquetFile(path) as file:
            for batch in file.iter_batches(batch_size=CHUNK_ROWS):
                columns = [_column(batch.column(place)) for place in range(batch.num_columns)]
                for cells in zip(*columns, strict=True):
                    number += 1
                    yield number, cells
    except _DAMAGE as error:
        refuse("file-damaged", path.name, f"the file is damaged ({error})", EXPECTED)


def _column(values: Any) -> Sequence[Cell]:
    kind = values.type
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

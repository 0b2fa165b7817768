"""The sheet of set-aside rows, to be mended and logged again."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import pandas as pd

from wearstats.book.results import AsideItem
from wearstats.errors import UsageError
from wearstats.records.headers import ASIDE_HEADER, REASON_HEADER, match_headers
from wearstats.records.schema import SHEETS
from wearstats.records.write import write_csv, write_workbook


def write_aside(path: Path, items: Sequence[AsideItem]) -> None:
    """Write rows set aside as they were typed, with number and reason first.

    A workbook has one sheet for each sheet they came from; a CSV file can hold one only.

    Raises
    ------
    UsageError
        Nothing to write, a CSV file for rows of several sheets, another kind of file.
    """
    if not items:
        message = "nothing is set aside"
        raise UsageError(message)
    sheets = dict(_sheets(items))
    ending = path.suffix.casefold()
    if ending == ".xlsx":
        write_workbook(path, sheets)
    elif ending == ".csv" and len(sheets) == 1:
        write_csv(path, next(iter(sheets.values())))
    elif ending == ".csv":
        message = f"{path.name}: rows of {len(sheets)} sheets are set aside; CSV holds one sheet"
        raise UsageError(message, hint="Write a workbook (.xlsx).")
    else:
        message = f"{path.name}: rows to be mended are written as .xlsx or .csv"
        raise UsageError(message)


def _sheets(items: Sequence[AsideItem]) -> Iterator[tuple[str, pd.DataFrame]]:
    by_source: dict[tuple[str, str, str], list[AsideItem]] = {}
    for item in items:
        by_source.setdefault((item.kind, item.file, item.sheet), []).append(item)
    taken: dict[str, int] = {}
    for (kind, _, _), rows in by_source.items():
        taken[kind] = taken.get(kind, 0) + 1
        name = kind if taken[kind] == 1 else f"{kind} {taken[kind]}"
        yield name, _frame(rows)


def _frame(items: Sequence[AsideItem]) -> pd.DataFrame:
    headers = list(dict.fromkeys(header for item in items for header in item.cells))
    columns: dict[str, list[object]] = {
        ASIDE_HEADER: [item.number for item in items],
        REASON_HEADER: [item.reason for item in items],
    }
    sheet = SHEETS[items[0].kind]
    known = {one.column.name for one in match_headers(headers, sheet, None) if one.column}
    if sheet.counted is not None and sheet.counted not in known:
        # A row whose place among its like is not known may have to say it.
        headers.append(sheet.counted)
    columns.update({header: [item.cells.get(header, "") for item in items] for header in headers})
    return pd.DataFrame(columns)

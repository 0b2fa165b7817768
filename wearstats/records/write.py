"""Workbooks and CSV files out: text stays text, and a file is whole or not there."""

import csv
import math
import os
import re
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import IO, Any

import openpyxl
import pandas as pd
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from wearstats.errors import RecordError
from wearstats.records.cells import cell_text
from wearstats.records.findings import Finding

_FORMULA_START = ("=", "+", "-", "@", "\t", "\r")
_READ_ANEW = (*_FORMULA_START, "#", "'")
_PROTECTED = re.compile(r"'*[=+\-@\t\r]")
_PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_CONTROL_PICTURES = 0x2400
_DELETE, _DELETE_PICTURE, _REPLACEMENT = 0x7F, "\u2421", "\ufffd"
_SHEET_NAME_LENGTH = 31
_CELL_LENGTH = 32_767
_WIDEST, _NARROWEST, _LOOKED_AT = 60, 8, 200


def visible(text: str) -> str:
    """Return text with characters that a sheet cannot hold replaced by ones that are seen.

    Examples
    --------
    >>> visible("a" + chr(0) + "b")
    'a␀b'
    """
    return _UNSEEN.sub(_picture, text)


def _picture(match: re.Match[str]) -> str:
    code = ord(match[0])
    if code == _DELETE:
        return _DELETE_PICTURE
    return chr(_CONTROL_PICTURES + code) if code < _DELETE else _REPLACEMENT


def csv_text(text: str) -> str:
    """Return text as a CSV cell that no spreadsheet takes for a formula.

    Examples
    --------
    >>> csv_text("=1+1"), csv_text("-4.5"), csv_text("K1")
    ("'=1+1", '-4.5', 'K1')
    """
    shown = visible(text)
    if _PROTECTED.match(shown) and not _PLAIN_NUMBER.fullmatch(shown):
        return f"'{shown}"
    return shown


def write_csv(path: str | Path, frame: pd.DataFrame) -> None:
    """Write a frame as CSV (UTF-8), its columns as headers; missing values are blank.

    Parameters
    ----------
    path : str or Path
        Written beside under another name and then renamed.
    frame : DataFrame

    Raises
    ------
    RecordError
        The file cannot be written.
    """

    def write(file: IO[bytes]) -> None:
        text = TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
        writer = csv.writer(text, lineterminator="\n", quoting=csv.QUOTE_MINIMAL)
        writer.writerow([csv_text(str(name)) for name in frame.columns])
        for row in _rows(frame):
            writer.writerow([csv_text(cell_text(_plain(value))) for value in row])
        text.detach()

    write_whole(Path(path), write)


def write_workbook(path: str | Path, sheets: Mapping[str, pd.DataFrame]) -> None:
    """Write frames as the sheets of an XLSX workbook; missing values are blank.

    Parameters
    ----------
    path : str or Path
        Written beside under another name and then renamed.
    sheets : mapping of str to DataFrame
        By the sheet's name; characters a name cannot hold are replaced.

    Raises
    ------
    RecordError
        The file cannot be written.
    """

    def write(file: IO[bytes]) -> None:
        book = openpyxl.Workbook(write_only=True)
        names = sheet_names(list(sheets) or ["empty"])
        for name, frame in zip(names, sheets.values() or [pd.DataFrame()], strict=True):
            _fill(book.create_sheet(name), frame)
        book.save(file)

    write_whole(Path(path), write)


def _fill(sheet: Any, frame: pd.DataFrame) -> None:
    sheet.freeze_panes = "A2"
    for place, width in enumerate(_widths(frame), start=1):
        sheet.column_dimensions[get_column_letter(place)].width = width
    sheet.append([_header_cell(sheet, str(name)) for name in frame.columns])
    for row in _rows(frame):
        sheet.append([_cell(sheet, _plain(value)) for value in row])


def sheet_names(names: Sequence[str]) -> list[str]:
    """Return names that a workbook takes: short, unlike each other, without its special signs.

    Examples
    --------
    >>> sheet_names(["runs", "Runs", "a/b"])
    ['runs', 'Runs 2', 'a b']
    """
    taken: set[str] = set()
    result = []
    for name in names:
        plain = re.sub(r"[\[\]:*?/\\]", " ", visible(name)).strip("' \n\r\t") or "sheet"
        label, count = plain[:_SHEET_NAME_LENGTH], 1
        while label.casefold() in taken:
            count += 1
            mark = f" {count}"
            label = plain[: _SHEET_NAME_LENGTH - len(mark)] + mark
        taken.add(label.casefold())
        result.append(label)
    return result


def _rows(frame: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    return frame.itertuples(index=False, name=None)


def _plain(value: Any) -> str | float | int | bool | date | datetime | None:
    """Return a frame's value as a cell: missing is None, a numpy number a Python one."""
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime(warn=False)
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, (str, bool, int, float, date, datetime)):
        return value
    return str(value)


def _cell(sheet: Any, value: Any) -> Any:
    if isinstance(value, str):
        return _text_cell(sheet, value)
    if isinstance(value, float) and math.isinf(value):
        return _text_cell(sheet, cell_text(value))
    if not isinstance(value, date):
        return value
    if not isinstance(value, datetime):
        value = datetime(value.year, value.month, value.day)  # noqa: DTZ001 - a day has no zone
    value = value.replace(tzinfo=None)
    cell = WriteOnlyCell(sheet, value=value)
    whole_day = (value.hour, value.minute, value.second) == (0, 0, 0)
    cell.number_format = "yyyy-mm-dd" if whole_day else "yyyy-mm-dd hh:mm:ss"
    return cell


def _text_cell(sheet: Any, text: str) -> Any:
    shown = sheet_text(text)
    if not shown.startswith(_READ_ANEW):
        return shown
    cell = WriteOnlyCell(sheet)
    put_text(cell, shown)
    return cell


def sheet_text(text: str) -> str:
    """Return text as a cell of a workbook can hold it."""
    return visible(text)[:_CELL_LENGTH]


def put_text(cell: Any, text: str) -> None:
    """Write text into a workbook's cell so that it stays text."""
    shown = sheet_text(text)
    cell.value = shown
    # Told to be text; `quotePrefix` keeps a spreadsheet from reading it anew when edited.
    cell.data_type = "s"
    if shown.startswith(_READ_ANEW):
        cell.quotePrefix = True


def _header_cell(sheet: Any, text: str) -> Any:
    cell = _text_cell(sheet, text)
    if isinstance(cell, str):
        cell = WriteOnlyCell(sheet, value=cell)
    cell.font = Font(bold=True)
    return cell


def _widths(frame: pd.DataFrame) -> list[int]:
    top = frame.head(_LOOKED_AT)
    longest = [
        max([len(str(name)), *(len(cell_text(_plain(value))) for value in top.iloc[:, place])])
        for place, name in enumerate(frame.columns)
    ]
    return [min(max(length + 2, _NARROWEST), _WIDEST) for length in longest]


def write_whole(path: Path, write: Callable[[IO[bytes]], object]) -> None:
    """Write beside, then rename: a reader finds the old file or the new one, never half.

    Raises
    ------
    RecordError
        The file cannot be written.
    """
    if path.exists() and not path.is_file():
        _write_through(path, write)
        return
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    # In memory first: what a full disk interrupts (a zip archive) may not end well by itself.
    content = BytesIO()
    try:
        write(content)
        with beside.open("xb") as file:
            file.write(content.getbuffer())
            # On the disk before it takes the name: a power cut leaves the old file or the new.
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        with suppress(OSError):  # a folder that is none has been told of above
            beside.unlink(missing_ok=True)


def _write_through(path: Path, write: Callable[[IO[bytes]], object]) -> None:
    """Write into a pipe or device: a file renamed over it would take its place."""
    content = BytesIO()
    write(content)
    try:
        with path.open("wb") as file:
            file.write(content.getbuffer())
    except OSError as error:
        raise _unwritable(path, error) from error


def _unwritable(path: Path, error: OSError) -> RecordError:
    message = f"it cannot be written ({error.strerror or error})"
    finding = Finding("file-unwritable", message, file=path.name)
    return RecordError(str(finding), findings=(finding,))

"""Files in, raw sheets out: the one door for what people hand us."""

import codecs
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from wearstats.records.raw import RawSheet, refuse
from wearstats.records.read_delimited import read_delimited

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

EXPECTED = "a .csv, .tsv, .xlsx or .parquet file"
_ZIP, _PARQUET, _OLE = b"PK\x03\x04", b"PAR1", bytes.fromhex("d0cf11e0a1b11ae1")
_LOOKS = {_ZIP: ".xlsx", _PARQUET: ".parquet"}
_TEXT = (".csv", ".tsv")


def read_sheets(path: str | Path, *, column_map: "ColumnMap | None" = None) -> Iterator[RawSheet]:
    """Read the sheets of a file.

    Parameters
    ----------
    path : str or Path
        CSV, TSV, XLSX or Parquet; the ending of the name must agree with the content.
    column_map : ColumnMap or None
        Helps to tell which row holds the headers.

    Yields
    ------
    RawSheet
        One for each sheet with anything in it; its rows are read when its chunks are asked for.

    Raises
    ------
    RecordError
        Missing, unreadable, empty, damaged, or not what its name says.
    """
    path = Path(path)
    ending = _checked_ending(path)
    if ending in _TEXT:
        yield read_delimited(path, column_map)
    elif ending == ".xlsx":
        # Loaded here: a text file needs neither openpyxl nor pyarrow.
        from wearstats.records.read_workbook import read_workbook

        yield from read_workbook(path, column_map)
    else:
        from wearstats.records.read_parquet import read_parquet

        yield read_parquet(path)


def _checked_ending(path: Path) -> str:
    ending = path.suffix.casefold()
    if path.is_dir():
        refuse("file-kind", path.name, "this is a folder", EXPECTED)
    if not path.exists():
        refuse("file-missing", path.name, "there is no such file", EXPECTED)
    if ending not in {*_TEXT, *_LOOKS.values()}:
        refuse("file-kind", path.name, f"files ending in {ending!r} are not read", EXPECTED)
    try:
        with path.open("rb") as file:
            start = file.read(len(_OLE))
    except OSError as error:
        refuse("file-unreadable", path.name, f"it cannot be read ({error.strerror})", EXPECTED)
    if not start.strip(codecs.BOM_UTF8):
        refuse("file-empty", path.name, "the file is empty", EXPECTED)
    _check_content(path, ending, start)
    return ending


def _check_content(path: Path, ending: str, start: bytes) -> None:
    if start == _OLE:
        refuse(
            "file-kind",
            path.name,
            "it is locked by a password, or an old .xls workbook; save it as .xlsx, unlocked",
            EXPECTED,
        )
    looks = next((looks for mark, looks in _LOOKS.items() if start.startswith(mark)), None)
    if looks == ending or (looks is None and ending in _TEXT):
        return
    names = {".xlsx": "a workbook", ".parquet": "a Parquet file"}
    content = f"not {names[ending]}" if looks is None else names[looks]
    refuse(
        "file-kind",
        path.name,
        f"it is not what its name says: its content is {content}",
        f"a file whose ending, {ending}, agrees with its content",
    )

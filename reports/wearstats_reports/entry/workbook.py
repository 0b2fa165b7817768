"""The entry workbook as a file."""

from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from wearstats.errors import UsageError
from wearstats.records.common import UNIT
from wearstats.records.pages import GUIDE_PAGE, LISTS_PAGE
from wearstats.records.schema import SHEETS, UNITS
from wearstats.records.write import write_whole
from wearstats_reports.entry.filled import KnownUnits, known_units
from wearstats_reports.entry.guide import fill_guide
from wearstats_reports.entry.headers import SYSTEMS
from wearstats_reports.entry.sheets import fill_lists, fill_sheet, range_of_ids

if TYPE_CHECKING:
    from wearstats.records.season import Season

_ENDING = ".xlsx"


@dataclass(frozen=True, slots=True)
class WrittenWorkbook:
    """What was written.

    Parameters
    ----------
    path : Path
    guide : str
        Name of the page that explains it.
    sheets : tuple of str
        Names of the sheets to be filled in.
    units : tuple of str
        Ids in the drop-down lists.
    """

    path: Path
    guide: str
    sheets: tuple[str, ...]
    units: tuple[str, ...]


def write_entry_workbook(
    path: str | Path,
    *,
    season: "Season | None" = None,
    system: str = "inch",
    overwrite: bool = False,
) -> WrittenWorkbook:
    """Write a workbook to be filled in and logged as it is.

    Parameters
    ----------
    path : str or Path
        Ends in `.xlsx`; written beside under another name and then renamed.
    season : Season or None
        Its units are written on the sheet of units and stand in the drop-down lists; to log them
        again changes nothing.
    system : {"inch", "metric"}
        Units the headers start with, and the paper: Letter or A4.
    overwrite : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    WrittenWorkbook

    Raises
    ------
    UsageError
        Another ending, a file that is there, an unknown system.
    RecordError
        The file cannot be written.
    """
    path = Path(path)
    _check(path, system, overwrite=overwrite)
    known = KnownUnits() if season is None else known_units(season)
    book = _workbook(known, system)

    def write(file: IO[bytes]) -> None:
        book.save(file)

    write_whole(path, write)
    return WrittenWorkbook(path, GUIDE_PAGE, tuple(SHEETS), known.ids)


def _check(path: Path, system: str, *, overwrite: bool) -> None:
    if path.suffix.casefold() != _ENDING:
        message = f"{path.name}: an entry workbook ends in {_ENDING}"
        raise UsageError(message, hint=f"Name it entry{_ENDING}, for example.")
    if path.is_dir():
        message = f"{path.name} is a folder"
        raise UsageError(message, hint="Name a file in it.")
    if path.exists() and not overwrite:
        message = f"{path.name} is there already; it may hold records, and was left as it is"
        raise UsageError(message, hint="Name another file, or say --overwrite.")
    if system not in SYSTEMS:
        message = f"{system!r} is no system of units; there are {' and '.join(SYSTEMS)}"
        raise UsageError(message)


def _workbook(known: KnownUnits, system: str) -> Workbook:
    book = Workbook()
    book.properties.title, book.properties.creator = "Entry workbook", "wearstats"
    guide = book.active
    if guide is None:  # a new workbook has one sheet
        guide = book.create_sheet()
    guide.title = GUIDE_PAGE
    fill_guide(guide, system=system, known=known)
    for sheet in SHEETS.values():
        ids = _range_of_ids(known)
        fill_sheet(book.create_sheet(sheet.name), sheet, system=system, ids=ids, known=known)
    if known.only_in_rows:
        fill_lists(book.create_sheet(LISTS_PAGE), known.ids, system=system)
    return book


def _range_of_ids(known: KnownUnits) -> str:
    """Return where the ids stand: on the sheet of units, unless some have no row there.

    To give those a row would log a unit when the workbook is logged.
    """
    if known.only_in_rows:
        return range_of_ids(LISTS_PAGE, "A")
    place = [column.name for column in UNITS].index(UNIT.name)
    return range_of_ids(UNITS.name, get_column_letter(place + 1))

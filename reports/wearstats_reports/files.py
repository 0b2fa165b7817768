"""The season report as files: pages, tables and JSON, each written whole or not at all."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from wearstats.errors import UsageError
from wearstats.records.write import write_csv, write_whole
from wearstats_reports import tables
from wearstats_reports.data import as_json
from wearstats_reports.render import fleet_page
from wearstats_reports.report import SeasonReport
from wearstats_reports.workers import PageWorkers


@dataclass(frozen=True, slots=True)
class WrittenReport:
    """What was written where.

    Parameters
    ----------
    folder, index, numbers : Path
        The folder, the fleet's page, the JSON.
    pages : tuple of (str, Path)
        A unit's id and its page, in the order of the report.
    tables : tuple of Path
    """

    folder: Path
    index: Path
    numbers: Path
    pages: tuple[tuple[str, Path], ...]
    tables: tuple[Path, ...]


def _write_text(path: Path, text: str) -> Path:
    # As bytes, so that they are alike on every system.
    content = text.encode("utf-8", errors="backslashreplace")
    write_whole(path, lambda file: file.write(content))
    return path


def _write_table(folder: Path, name: str, frame: pd.DataFrame) -> Path:
    path = folder / f"{name}.csv"
    write_csv(path, frame)
    return path


def write_season(
    report: SeasonReport, folder: Path, *, workers: PageWorkers | None = None
) -> WrittenReport:
    """Write every file of the report into `folder`, which is made where it does not exist.

    Files of the same names are replaced one by one; nothing else in the folder is touched.

    Parameters
    ----------
    report : SeasonReport
    folder : Path
    workers : PageWorkers or None
        Processes that render pages beside this one; the pages are the same.

    Raises
    ------
    UsageError
        `folder` is a file, or cannot be made.
    RecordError
        A file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        rendered = (workers or PageWorkers(1)).unit_pages(report)
        pages = tuple(
            (unit.unit, _write_text(folder / unit.page, page))
            for unit, page in zip(report.units, rendered, strict=True)
        )
        numbers = _write_text(folder / "season.json", as_json(report) + "\n")
        frames = (
            ("lives", tables.lives(report)),
            ("outlook", tables.outlook(report)),
            ("clearances", tables.clearances(report)),
            ("boost", tables.boost(report)),
            ("factors", tables.factors(report)),
        )
        written = tuple(_write_table(folder, name, frame) for name, frame in frames)
        # The fleet's page comes last: it never links to a page that is not there.
        index = _write_text(folder / "index.html", fleet_page(report))
    except OSError as error:
        message = f"the report cannot be written to {folder}: {error.strerror or error}"
        raise UsageError(message, hint="Name a folder that can be written to.") from error
    return WrittenReport(folder, index, numbers, pages, written)

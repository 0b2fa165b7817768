"""One file into the book: its identity, its sheets in turn, and the count that must come out."""

import gc
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Connection, insert

from wearstats.book import spellings
from wearstats.book.asides import Import
from wearstats.book.intake import SheetIntake
from wearstats.book.results import ImportResult, SheetResult
from wearstats.book.shelf import AsWritten
from wearstats.book.tables import IMPORTS
from wearstats.book.values import as_json, clean_text
from wearstats.errors import BookError
from wearstats.records.findings import Finding
from wearstats.records.headers import match_headers
from wearstats.records.kinds import Settings
from wearstats.records.raw import RawChunk, RawSheet
from wearstats.records.read import read_sheets
from wearstats.records.schema import SHEETS
from wearstats.records.spellings import UnitSpellings
from wearstats.records.take import take

Progress = Callable[[str, int], None]
"""Called with the sheet's name and the rows read of it so far."""

_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked of an import.

    Parameters
    ----------
    path : Path
    settings : Settings
    amend : bool
    join : mapping of str to str
    apart : sequence of str
    on_progress : callable or None
    """

    path: Path
    settings: Settings
    amend: bool
    join: Mapping[str, str]
    apart: Sequence[str]
    on_progress: Progress | None

    def as_json(self) -> str:
        """Return what the book keeps of it; never a path."""
        column_map = self.settings.column_map
        return as_json(
            {
                "column_map": None if column_map is None else column_map.model_dump(mode="json"),
                "dates": self.settings.dates,
                "kind": self.settings.kind,
                "join": dict(self.join),
                "apart": list(self.apart),
            }
        )


@dataclass(slots=True)
class _Count:
    """Counts rows as they are read, apart from what becomes of them."""

    raw: RawSheet
    on_progress: Progress | None
    rows: int = 0

    def open_chunks(self) -> Iterator[RawChunk]:
        """Count anew each time the sheet is read from its top: it may be looked over first."""
        self.rows = 0
        for chunk in self.raw.open_chunks():
            self.rows += len(chunk.rows) + len(chunk.ragged)
            if self.on_progress is not None:
                self.on_progress(self.raw.name, self.rows)
            yield chunk


def take_in(connection: Connection, request: Request, when_utc: str) -> ImportResult:
    """Take a file into the book, inside the one transaction of the connection.

    Raises
    ------
    RecordError
        The file cannot be read.
    UsageError
        `join` or `apart` cannot be kept.
    BookError
        The file was changed while it was read, or the rows do not add up.
    """
    path = request.path
    before = _state(path)
    sha256 = _sha256(path) if before is not None else ""
    file = clean_text(path.name)
    values = {
        "file": file,
        "sha256": sha256,
        "when_utc": when_utc,
        "amend": int(request.amend),
        "settings": request.as_json(),
    }
    key = connection.execute(insert(IMPORTS).values(values)).inserted_primary_key
    number = int(key[0]) if key is not None else 0
    importing = Import(connection, number, file, sha256, when_utc, request.amend)
    findings = [*spellings.decide(importing, request.join, request.apart)]
    known = spellings.unit_spellings(connection)
    results: list[SheetResult] = []
    with _collector_at_rest():
        for raw in read_sheets(path, column_map=request.settings.column_map):
            result, found = _take_sheet(importing, raw, request, known)
            findings.extend(found)
            if result is not None:
                results.append(result)
    if _state(path) != before:
        message = f"{file} was changed while it was read; nothing was logged"
        raise BookError(message, hint="Close it in other programs and log it again.")
    return ImportResult(number, file, sha256, tuple(results), tuple(findings))


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """Keep the search for reference cycles from going over every row again and again.

    Rows make none; the search took a quarter of the time of a long sheet.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _take_sheet(
    importing: Import, raw: RawSheet, request: Request, known: UnitSpellings
) -> tuple[SheetResult | None, list[Finding]]:
    name = clean_text(raw.name)
    count = _Count(raw, request.on_progress)
    counted = replace(raw, open_chunks=count.open_chunks)
    intake: SheetIntake | None = None
    passed_over: list[Finding] = []
    for taken in take(counted, request.settings, known):
        if not taken.kind:
            passed_over.extend(taken.notes)
            continue
        if intake is None:
            written = _as_written(raw, taken.kind, request.settings)
            intake = SheetIntake(importing, name, taken.kind, written)
        intake.add(taken)
    if intake is None:
        return None, passed_over
    result = intake.finish(count.rows)
    if result.rows_read != result.logged + result.already_there + result.set_aside:
        message = (
            f"{importing.file}, sheet {name}: {result.rows_read} rows read, but "
            f"{result.logged} logged, {result.already_there} already there and "
            f"{result.set_aside} set aside; nothing was logged"
        )
        raise BookError(message, hint="This is a fault of the program: keep the file, report it.")
    return result, intake.findings


def _as_written(raw: RawSheet, kind: str, settings: Settings) -> AsWritten:
    sheet = SHEETS[kind]
    headings = match_headers(raw.headers, sheet, settings.column_map)
    book = frozenset(one.label for one in headings if one.role in {"aside", "reason"})
    counted = (
        one.label
        for one in headings
        if one.role == "column" and one.column is not None and one.column.name == sheet.counted
    )
    return AsWritten(book, next(counted, sheet.counted), raw.alone)


def _state(path: Path) -> tuple[int, int] | None:
    """Return size and time of change; None where the reader shall say what is wrong."""
    try:
        state = path.stat()
    except (OSError, ValueError):
        return None
    return (state.st_size, state.st_mtime_ns) if path.is_file() else None


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                digest.update(block)
    except OSError:
        return ""  # the reader, which comes next, says it in its own words
    return digest.hexdigest()

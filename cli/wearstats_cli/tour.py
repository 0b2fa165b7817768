"""The demo, step by step: sheets, book, lives, fits, plan, report."""

from dataclasses import dataclass
from pathlib import Path

from wearstats.book import Book, ImportResult
from wearstats.records.costs import read_costs
from wearstats_synthetic import simulate, write_sheets

RUNS_AHEAD = 4


@dataclass(frozen=True, slots=True)
class Prepared:
    """A simulated season in its book.

    Parameters
    ----------
    folder, book : Path
    results : tuple of ImportResult
        What became of each sheet.
    """

    folder: Path
    book: Path
    results: tuple[ImportResult, ...]


def prepare(folder: Path, *, seed: int) -> Prepared:
    """Simulate a season, write its sheets as people write them, and log them."""
    written = write_sheets(simulate(seed), folder / "sheets")
    path = folder / "season.book"
    with Book.create(path, simulated=True) as book:
        results = tuple(book.log(sheet) for sheet in written.files)
        book.set_costs(read_costs(written.costs_path))
        if book.aside():
            book.write_aside(folder / "mend.xlsx")
    return Prepared(folder, path, results)

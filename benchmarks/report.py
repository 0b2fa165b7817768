"""Measure the season report: wall time and processor time of the command, on two books.

    python benchmarks/report.py [--units 50] [--runs 60] [--alone]

The demo's book, then one of so many units with so many runs each, both simulated. Issue limits on
two cores with nothing else running: 12 s and 90 s. `--alone` also draws with one process, and
checks that the files are the same.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from wearstats.book import Book
from wearstats.records.costs import read_costs
from wearstats.spread import PROCESSES_VARIABLE, processors
from wearstats_synthetic import Fleet, demo_fleet, simulate, wide_fleet, write_sheets

SEED = 1


def book_of(fleet: Fleet, folder: Path) -> Path:
    """Simulate a season and log its sheets."""
    written = write_sheets(simulate(SEED, fleet=fleet), folder / "sheets")
    path = folder / "season.book"
    with Book.create(path, simulated=True) as book:
        for sheet in written.files:
            book.log(sheet)
        book.set_costs(read_costs(written.costs_path))
    return path


def measure(book: Path, out: Path, processes: int) -> tuple[float, float]:
    """Return wall and processor seconds of one report, its helpers' included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    words = ["-m", "wearstats_cli", "season", str(book), "--out", str(out)]
    environment = {**os.environ, PROCESSES_VARIABLE: str(processes)}
    subprocess.run([sys.executable, *words], check=True, capture_output=True, env=environment)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, used


def same_files(one: Path, other: Path) -> bool:
    """Return whether two folders hold the same files, byte for byte."""
    names = sorted(path.name for path in one.iterdir())
    return names == sorted(path.name for path in other.iterdir()) and all(
        (one / name).read_bytes() == (other / name).read_bytes() for name in names
    )


def main() -> None:
    """Print one line for each book."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=50)
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--alone", action="store_true")
    asked = parser.parse_args()
    load = os.getloadavg()[0]
    print(f"{processors()} processors, load before {load:.1f}")
    fleets = (
        ("demo", demo_fleet(), 12.0),
        (f"{asked.units} units x {asked.runs} runs", wide_fleet(asked.units, asked.runs), 90.0),
    )
    for name, fleet, limit in fleets:
        with tempfile.TemporaryDirectory() as own:
            folder = Path(own)
            book = book_of(fleet, folder)
            wall, used = measure(book, folder / "out", processors())
            print(f"{name}: {wall:.1f} s (limit {limit:.0f} s), processor {used:.1f} s", flush=True)
            if asked.alone:
                wall, used = measure(book, folder / "alone", 1)
                same = same_files(folder / "out", folder / "alone")
                print(f"  one process: {wall:.1f} s, processor {used:.1f} s, same files: {same}")


if __name__ == "__main__":
    main()

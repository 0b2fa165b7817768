"""Abuse the book, count what happens, and fail if anything is lost.

    python benchmarks/faults.py [--kills 500] [--writers 40] [--flips 1000] [--seed 20260503]

1. imports killed (SIGKILL) at a random moment: the book is as before or as after, sound, and the
   import can be made again;
2. many processes that log into one new book at once: every row is there, once;
3. a disk that is full at a random moment (a limit on the size of files): as 1;
4. books with bytes turned or an end cut off: an answer or an error of ours, nothing else.

Children are forked from one process that has everything loaded; needs a system that forks.
"""

import argparse
import os
import random
import resource
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from wearstats.book import Book
from wearstats.errors import WearstatsError

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
HEAD = "date,unit,run,boost (psi),strips,tip (thou)"
_ENDS = {0: "read as if sound", 2: "refused in words"}
LOST = 9
"""Exit code of a child that met what must not be."""


def everything(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of every table."""
    held = sqlite3.connect(path)
    try:
        names = [
            name
            for (name,) in held.execute("select name from sqlite_master where type = 'table'")
            if not name.startswith("sqlite_")
        ]
        return {name: held.execute(f"select * from {name}").fetchall() for name in names}  # noqa: S608 - names of our own tables
    finally:
        held.close()


def make(folder: Path) -> tuple[Path, Path]:
    """Make a book with two rows, and a sheet that writes to every table."""
    base, old, new = folder / "base.db", folder / "old.csv", folder / "new.csv"
    old.write_text(f"{HEAD}\n2026-05-03,K2,1,38,sound,\n2026-05-03,K3,1,39,,\n", encoding="utf-8")
    lines = [f"2026-06-{day:02},K{unit},{run},{30 + run},hot,4" for day in range(1, 29)
             for unit in range(1, 9) for run in range(1, 6)]  # fmt: skip
    odd = ["2026-05-03,K2,1,38,sound,4", "2026-05-03,K3,1,41,,", "yesterday,K3,1,41,,"]
    new.write_text("\n".join([HEAD, *odd, *lines]) + "\n", encoding="utf-8")
    with Book.create(base, clock=lambda: NOON) as book:
        book.log(old)
    return base, new


def log(path: Path, file: Path) -> int:
    """Log a file, of which the rows must add up; return nought."""
    with Book.open(path, clock=lambda: NOON, patience_s=600) as book:
        result = book.log(file)
    if result.rows_read != result.logged + result.already_there + result.set_aside:
        raise AssertionError(result)
    return 0


def forked(action: Callable[[], int]) -> int:
    """Start a child that does something and ends with a code; return its id."""
    child = os.fork()
    if child:
        return child
    code = LOST
    try:
        code = action()
    except BaseException:  # noqa: BLE001 - a child must end here, whatever happened
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def ended(child: int) -> int:
    """Return how a child ended: its code, or less than nought for a signal."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def whole(path: Path, before: object, after: object) -> str:
    """Return whether a book is as before or as after; it must be sound and one of the two."""
    with Book.open(path, clock=lambda: NOON) as book:
        faults = book.check()
    held = everything(path)
    if faults or held not in (before, after):
        message = f"{path}: {faults or 'neither as before nor as after'}"
        raise AssertionError(message)
    return "as after" if held == after else "as before"


def interrupted(folder: Path, times: int, rng: random.Random, *, full: bool) -> Counter[str]:
    """Stop imports at random moments: killed, or where files may grow no further."""
    base, file = make(folder)
    # What is loaded on demand is loaded now, or the first import would last longest.
    log(Path(shutil.copy(base, folder / "first.db")), file)
    done = Path(shutil.copy(base, folder / "done.db"))
    start = time.perf_counter()
    ended(forked(partial(log, done, file)))
    lasts = time.perf_counter() - start
    before, after = everything(base), everything(done)
    room = range(base.stat().st_size // 2, done.stat().st_size)
    counts: Counter[str] = Counter()
    for _ in range(times):
        path = Path(shutil.copy(base, folder / "book.db"))
        if full:
            code = ended(forked(partial(_without_room, path, file, rng.choice(room))))
            counts["refused in words" if code == 2 else "had room enough"] += 1
            if code not in (0, 2):
                raise AssertionError(code)
        else:
            child = forked(partial(log, path, file))
            time.sleep(rng.uniform(0, 1.1 * lasts))
            os.kill(child, signal.SIGKILL)
            counts["killed" if ended(child) < 0 else "ended before"] += 1
            counts["with a journal left"] += path.with_name("book.db-journal").exists()
        counts[whole(path, before, after)] += 1
        log(path, file)
        if everything(path)["runs"] != after["runs"]:
            raise AssertionError(path)
        path.unlink()
    return counts


def _without_room(path: Path, file: Path, size: int) -> int:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # then a write fails, as on a full disk
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    try:
        log(path, file)
    except WearstatsError as error:
        return 2 if str(error) and error.hint else LOST
    return 0


def many_writers(folder: Path, writers: int) -> Counter[str]:
    """Let many processes make and fill one book at once."""
    path, each = folder / "shared.db", 20
    for who in range(writers):
        rows = [f"2026-06-{day:02},K{who},1,38,," for day in range(1, each + 1)]
        text = "\n".join([HEAD, *rows, "2026-05-03,K-all,1,38,,"])
        (folder / f"{who}.csv").write_text(text + "\n", encoding="utf-8")

    def write(who: int) -> int:
        with Book.open_or_create(path, patience_s=600) as book:
            result = book.log(folder / f"{who}.csv")
        return 0 if result.rows_read == each + 1 else LOST

    children = [forked(partial(write, who)) for who in range(writers)]
    codes = [ended(child) for child in children]
    with Book.open(path) as book:
        there, imports, faults = len(book.season().runs), len(book.imports()), book.check()
    if any(codes) or faults or (there, imports) != (writers * each + 1, writers):
        raise AssertionError((codes, there, imports, faults))
    return Counter({"writers": writers, "rows, each there once": there})


def damaged(folder: Path, times: int, rng: random.Random) -> Counter[str]:
    """Use books whose bytes were turned or whose end was cut off."""
    base, file = make(folder)
    log(base, file)
    sound, counts = base.read_bytes(), Counter[str]()
    path = folder / "damaged.db"
    for _ in range(times):
        content = bytearray(sound)
        if rng.random() < 0.2:
            del content[rng.randrange(len(content)) :]
        for _ in range(rng.choice([0, 1, 3, 10, 100, 1000]) or len(content) == len(sound)):
            if content:
                content[rng.randrange(len(content))] = rng.randrange(256)
        path.write_bytes(content)
        path.with_name(path.name + "-journal").unlink(missing_ok=True)
        code = ended(forked(partial(_used, path, file)))
        counts[_ENDS.get(code, "neither")] += 1
    if counts["neither"]:
        raise AssertionError(counts)
    return counts


def _used(path: Path, file: Path) -> int:
    signal.alarm(60)
    try:
        with Book.open(path) as book:
            book.check()
            book.season(), book.aside(None), book.imports(), book.history(), book.spellings()
            book.log(file)
    except WearstatsError as error:
        return error.exit_code
    return 0


def main() -> None:
    """Print what happened."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--kills", type=int, default=500)
    options.add_argument("--full", type=int, default=100)
    options.add_argument("--writers", type=int, default=40)
    options.add_argument("--flips", type=int, default=1000)
    options.add_argument("--seed", type=int, default=20260503)
    chosen = options.parse_args()
    rng = random.Random(chosen.seed)  # noqa: S311 - chooses moments, keeps no secret
    with tempfile.TemporaryDirectory() as temporary:
        trials: dict[str, Callable[[Path], Counter[str]]] = {
            "imports killed": lambda at: interrupted(at, chosen.kills, rng, full=False),
            "imports on a full disk": lambda at: interrupted(at, chosen.full, rng, full=True),
            "many writers": lambda at: many_writers(at, chosen.writers),
            "damaged books": lambda at: damaged(at, chosen.flips, rng),
        }
        for name, run in trials.items():
            folder = Path(temporary) / name.replace(" ", "-")
            folder.mkdir()
            counts = run(folder)
            said = ", ".join(f"{count} {what}" for what, count in counts.items())
            print(f"{name}: {said}; nothing lost", flush=True)


if __name__ == "__main__":
    main()

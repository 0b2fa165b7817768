"""Hostile input: every reader and every command, on files that were spoiled at random.

Each case is spoiled by a generator of its own, seeded by its number, so that a failure names the
case that brings it back: FUZZ_FIRST=<number> FUZZ_CASES=1. A short run is part of every test run;
`make fuzz` makes it long. Wanted of every case: an answer or an error of ours, within a bounded
time; no row lost; at the end, no memory kept.
"""

import io
import json
import os
import random
import resource
import sys
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from bounded import bounded
from told import called
from wearstats.book import Book
from wearstats.errors import RecordError, WearstatsError
from wearstats.lives import read_lives
from wearstats.records.columnmap import read_column_map
from wearstats.records.costs import read_costs
from wearstats.records.kinds import Settings
from wearstats.records.read import read_sheets
from wearstats.records.schema import SHEETS
from wearstats.records.spellings import UnitSpellings
from wearstats.records.take import take

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="bounds time and memory by signals")

FIRST = int(os.environ.get("FUZZ_FIRST", "0"))
CASES = int(os.environ.get("FUZZ_CASES", "1200"))
COMMANDS = max(CASES // 100, 1)
MOST_SECONDS, MOST_MIB = 20.0, 300

RUNS = """date,unit,run,meet,load,boost (psi),tip (thou),strips,remark,aside
2026-05-03,K1,1,Lake,1,38.5,3/4,sound,"a, b",
3 May 2026,K2,2,Lake,0.5,260 kPa,<2,hot,=1+1,7
2026-05-03,K1,2,,1,39,4,burned,'=x,
2026-05-09,K3,,,,,,,,
"""
RESTRIPS = """date,unit,reason,strip height (mm),metal (thou),hours,cost
2026-05-04,K1,burned,0.53,24/25,5.5,350
2026-05-10,K2,planned,,>20,,
"""
LIVES = """unit,build,entry,lower,upper,mode,weight,gap (thou)
K1,1,0,3,5,burned,1,3
K1,2,0,6,,,1,4
K2,1,2,7,7,burned,2,
"""
MAP = """sheet = "runs"
dates = "day first"
ignore = ["Driver"]
[columns]
"Blower #" = "unit"
"Tip" = { column = "tip", unit = "in" }
[units_joined]
"K 2" = "K2"
"""
COSTS = 'planned_restrip = 350.0\nburn_through = 900\nlost_psi_per_run = 6.0\ncurrency = "USD"\n'
TOKENS = [
    "", ",", ";", "\t", '"', "'", "\n", "\r", "\r\n", "\0", "\ufeff", "\x1a", "=", "#REF!", "½",
    "٣", "nan", "inf", "-0", "1e999", "9" * 40, "0x10", "1_000", "3/4", "<2", ">8", "<", "/",
    "3/4/5", "99/99/9999", "0000-00-00", "2026-02-30", "9999-12-31", "24:00", "K\u202e1", "\ud7ff",
    "😀", "../../x", "<b>", "&amp;", "x" * 300, "[", "]", "{", "}", "date", "unit", "run", "aside",
    "upper", "event", "time", "weight", "true", "-", "--", "(psi)", "(mm)", "1,5", "1.5.5",
]  # fmt: skip
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp500"]


def spoiled_text(text: str, rng: random.Random) -> str:
    for _ in range(rng.choice([1, 1, 2, 3, 8])):
        at, token = rng.randrange(len(text) + 1), rng.choice(TOKENS)
        match rng.randrange(5):
            case 0:
                text = text[:at] + token + text[at:]
            case 1:
                text = text[:at] + token + text[at + rng.randrange(1, 12) :]
            case 2:
                lines = text.split("\n")
                rng.shuffle(lines)
                text = "\n".join(lines)
            case 3:
                old = rng.choice([",", "\n", "1", "K", "2026"])
                text = text.replace(old, token, rng.choice([1, 2, -1]))[:100_000]
            case _:
                text = text[:at] + text[rng.randrange(len(text) + 1) :]
    return text


def spoiled_bytes(content: bytes, rng: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(rng.choice([1, 1, 2, 5, 30])):
        at = rng.randrange(len(changed) + 1)
        match rng.randrange(4):
            case 0 if at < len(changed):
                changed[at] = rng.randrange(256)
            case 1:
                del changed[at : at + rng.randrange(1, 40)]
            case 2:
                changed[at:at] = rng.randbytes(rng.randrange(1, 9))
            case _ if rng.random() < 0.2:
                del changed[at:]
            case _:
                pass
    return bytes(changed)


def as_text(text: str, rng: random.Random) -> bytes:
    content = spoiled_text(text, rng).encode(rng.choice(ENCODINGS[:2] * 4 + ENCODINGS), "replace")
    return spoiled_bytes(content, rng) if rng.random() < 0.3 else content


def a_cell(rng: random.Random) -> str:
    """Return a cell made of what people type, piece by piece."""
    pieces = [
        *TOKENS,
        "1",
        "2",
        "38",
        ".004",
        " ",
        "in",
        "thou",
        "mm",
        "psi",
        "kPa",
        "K1",
        "-",
        ".",
    ]
    return "".join(rng.choice(pieces) for _ in range(rng.choice([1, 1, 2, 3])))


def a_sheet(rng: random.Random) -> bytes:
    """Return a sheet whose headers are known and whose cells are made piece by piece."""
    sheet = rng.choice([*SHEETS.values()])
    columns = rng.sample([*sheet], rng.randrange(1, min(len([*sheet]), 9)))
    headers = [rng.choice([column.name, *column.aliases]) for column in columns]
    rows = [[a_cell(rng) for _ in headers] for _ in range(rng.randrange(1, 5))]
    frame = pd.DataFrame(rows, columns=["date", "unit", *headers][-len(headers) :])
    return frame.to_csv(index=False).encode("utf-8", "replace")


def a_workbook(rng: random.Random) -> bytes:
    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet(rng.choice(["runs", "restrips", "x"]))
    for line in RUNS.splitlines():
        cells: list[object] = [*line.split(",")]
        if rng.random() < 0.7:
            odd = [
                1e300,
                -1,
                True,
                None,
                4.0,
                "=1+1",
                "#REF!",
                pd.Timestamp("2026-05-03"),
                "x" * 99,
            ]
            cells[rng.randrange(len(cells))] = rng.choice(odd)
        page.append(cells)
    stream = io.BytesIO()
    book.save(stream)
    content = stream.getvalue()
    return spoiled_bytes(content, rng) if rng.random() < 0.7 else content


def a_parquet(rng: random.Random) -> bytes:
    frame = pd.read_csv(io.StringIO(RUNS), dtype=str if rng.random() < 0.5 else None)
    stream = io.BytesIO()
    frame.to_parquet(stream)
    content = stream.getvalue()
    return spoiled_bytes(content, rng) if rng.random() < 0.8 else content


def account(path: Path, rng: random.Random) -> None:
    """Read records: every row is taken or set aside, with a reason."""
    kind = rng.choice([None, *SHEETS])
    for raw in read_sheets(path):
        written = sum(len(chunk.rows) + len(chunk.ragged) for chunk in raw.chunks)
        parts = list(take(raw, Settings(kind=kind), UnitSpellings()))
        if parts[0].kind:
            assert sum(len(part.frame) + len(part.aside) for part in parts) == written
            assert all(row.findings for part in parts for row in part.aside)


def lives(path: Path, _rng: random.Random) -> None:
    """Read a table of lives: every row is a life or left out by name."""
    found = read_lives(path)
    assert len(found.usable) + len(found.left_out) == sum(
        len(chunk.rows) + len(chunk.ragged) for raw in read_sheets(path) for chunk in raw.chunks
    )


READERS: list[
    tuple[int, str, Callable[[random.Random], bytes], Callable[[Path, random.Random], object]]
] = [
    (24, "runs.csv", lambda rng: as_text(RUNS, rng), account),
    (12, "restrips.tsv", lambda rng: as_text(RESTRIPS.replace(",", "\t"), rng), account),
    (24, "made.csv", a_sheet, account),
    (4, "runs.xlsx", a_workbook, account),
    (4, "runs.parquet", a_parquet, account),
    (8, "map.toml", lambda rng: as_text(MAP, rng), lambda path, _: read_column_map(path)),
    (8, "costs.toml", lambda rng: as_text(COSTS, rng), lambda path, _: read_costs(path)),
    (16, "lives.csv", lambda rng: as_text(LIVES, rng), lives),
]


def most_mib() -> float:
    """Return the most memory this process ever had."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1024 if sys.platform == "linux" else 1 << 20)


def test_readers_answer_or_refuse_whatever_they_are_given(tmp_path: Path) -> None:
    weights = [weight for weight, *_ in READERS]
    ends: Counter[str] = Counter()
    before = 0.0
    for number in range(FIRST, FIRST + CASES):
        rng = random.Random(number)  # noqa: S311 - seeded, keeps no secret
        (_, name, make, read) = rng.choices(READERS, weights)[0]
        path = tmp_path / name
        path.write_bytes(make(rng))
        with bounded(number, MOST_SECONDS):
            try:
                read(path, rng)
                ends[f"{name} read"] += 1
            except RecordError as error:
                ends[f"{name} refused" if str(error) else "without words"] += 1
        before = before or most_mib()
    print(f"\n{sum(ends.values())} cases: {dict(sorted(ends.items()))}")  # noqa: T201 - for `make fuzz`
    assert most_mib() - before < MOST_MIB
    assert not ends["without words"]
    if CASES >= 1000:
        assert all(ends[f"{name} {end}"] for _, name, *_ in READERS for end in ("read", "refused"))


OPTIONS: dict[str, list[str | None]] = {
    "--level": ["0.9", "0.5", "0", "2", "nan", "x"],
    "--seed": ["1", "-1", "99999999999999999999"],
    "--runs": ["1", "200", "0", "x"],
    "--bound": ["0.9", "0.999", "-1"],
    "--in": ["inch", "metric", "feet"],
    "--mode": ["burned", "pulled", "none"],
    "--dates": ["day-first", "x"],
    "--sheet": ["runs", "readings", "x"],
    "--join": ["K 1=K1", "=", "K1=K1", "K1=K2"],
    "--amend": [None],
    "--discard": ["1", "-1"],
    "--why": ["", "\0", "typed twice"],
    "--nothing": [None],
}
QUICK = ("log", "aside", "lives", "sheet", "life", "wear", "leak", "trend", "plan")


def words_of(command: str, folder: Path, rng: random.Random) -> list[str]:
    """Return a call of a command with options that may or may not be its own."""
    book, file = str(folder / "season.book"), str(folder / "runs.csv")
    words = [command]
    words += {
        "log": [rng.choice([book, str(folder / "new.book"), file, "nosuch://x"]), file],
        "sheet": [str(folder / rng.choice(["entry.xlsx", "entry.csv"])), "--overwrite"],
    }.get(command, [rng.choice([book, book, book, file, str(folder)])])
    for option in rng.sample(sorted(OPTIONS), rng.choice([0, 0, 1, 2])):
        value = rng.choice(OPTIONS[option])
        words += [option] if value is None else [option, value]
    return [*words, "--json"]


def test_commands_answer_or_refuse_whatever_they_are_given(tmp_path: Path) -> None:
    codes: Counter[str] = Counter()
    for number in range(FIRST, FIRST + COMMANDS):
        rng = random.Random(f"command {number}")  # noqa: S311 - as above
        file, book = tmp_path / "runs.csv", tmp_path / "season.book"
        book.unlink(missing_ok=True)
        (tmp_path / "new.book").unlink(missing_ok=True)
        with Book.create(book) as opened:
            for content in (RUNS.encode(), as_text(RUNS, rng), a_sheet(rng)):
                file.write_bytes(content)
                with suppress(WearstatsError):
                    result = opened.log(file)
                    done = result.logged + result.already_there + result.set_aside
                    assert result.rows_read == done
        command = QUICK[number % len(QUICK)]
        with bounded(number, MOST_SECONDS):
            code, printed, _ = called(words_of(command, tmp_path, rng))
        codes[f"{command} {code}"] += 1
        assert code in {0, 1, 2, 3}, number
        if printed.startswith("{"):
            assert json.loads(printed)["command"] == command
        else:
            assert code == 2, (number, printed)
    print(f"\n{COMMANDS} calls: {dict(sorted(codes.items()))}")  # noqa: T201 - for `make fuzz`

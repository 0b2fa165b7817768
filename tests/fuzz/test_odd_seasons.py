"""Odd seasons: every cell is one the book takes, and the records as a whole are strange.

All strips failed at once, or none; one value everywhere; loads of nothing; counters of thousands;
readings at their limits, one-sided or missing. Every command must answer in words or numbers:
never a traceback, a warning of a library, NaN, or a wait without end. A short run is part of every
test run; `make fuzz` makes it long. FUZZ_FIRST=<number> FUZZ_CASES=100 brings a case back.
"""

import json
import os
import random
import sys
from collections import Counter
from pathlib import Path

import pytest

from bounded import bounded
from told import called

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="bounds time by signals")

FIRST = int(os.environ.get("FUZZ_FIRST", "0"))
SEASONS = max(int(os.environ.get("FUZZ_CASES", "1200")) // 100, 1)
MOST_SECONDS = 60.0

EXTREMES = {
    "boost psi": ("0", "100", "35"),
    "overdrive %": ("-50", "150", "3", "40"),
    "engine speed": ("500", "15000"),
    "air temperature F": ("-20", "130"),
    "barometer inHg": ("20", "31.5"),
    "humidity %": ("0", "100"),
    "tip thou": ("0", "120", "<1", ">119", "3/4", "4/5"),
    "mesh thou": ("0", "120", "4/5"),
    "end thou": ("0", "120", "<2"),
    "strip height thou": ("-60", "120", "30"),
    "load": ("0", "1", "0.01", "0.5"),
}
COSTS = 'planned_restrip = 350.0\nburn_through = 900\nlost_psi_per_run = 6.0\ncurrency = "USD"\n'
CALLS = (
    "lives BOOK",
    "life BOOK",
    "life BOOK --with overdrive,strip_lot",
    "wear BOOK",
    "wear BOOK --limit 8",
    "leak BOOK",
    "trend BOOK",
    "plan BOOK --runs 4",
    "plan BOOK --meet-runs 3 --stock 1",
    "plan BOOK --what-if overdrive=45",
    "lookback BOOK",
    "season BOOK --out REPORT --workers 1",
)


def usual(column: str, age: int, rng: random.Random) -> str:
    """Return what a run at this age would read."""
    gap = 3 + age // 5
    reads = {
        "boost psi": f"{36 - 0.1 * age + rng.gauss(0, 0.5):.1f}",
        "overdrive %": str(rng.choice((34, 36, 38, 40))),
        "engine speed": str(rng.randrange(7800, 8400)),
        "air temperature F": str(rng.randrange(60, 95)),
        "barometer inHg": f"{rng.uniform(29, 30):.2f}",
        "humidity %": str(rng.randrange(20, 80)),
        "strip height thou": f"{30 - 0.2 * age:.1f}",
        "load": "1",
    }
    return reads.get(column, f"{gap}/{gap + 1}")


def a_season(rng: random.Random) -> tuple[str, str]:
    """Return a sheet of runs and one of restrips."""
    columns = rng.sample(sorted(EXTREMES), rng.randrange(len(EXTREMES) + 1))
    odd, blank = rng.choice((0.0, 0.0, 0.1, 1.0)), rng.choice((0.0, 0.3, 0.9))
    looked = rng.choice((0.0, 0.3, 1.0))
    everywhere = {name: rng.choice(EXTREMES[name]) for name in columns if rng.random() < 0.3}
    modes = ("burned", "pulled", "cut", "rubbed", "hot", "sound")
    ends = rng.choice((("burned",), ("sound",), ("burned", "sound"), modes))
    longest, counter = rng.choice((1, 3, 12)), rng.choice((0, 0, 0, 5000))
    builds = rng.choice((1, 3, 6))

    def cell(column: str, age: int) -> str:
        if column in everywhere:
            return everywhere[column]
        if rng.random() < odd:
            return rng.choice(EXTREMES[column])
        return "" if rng.random() < blank else usual(column, age, rng)

    runs = [",".join(["date", "unit", "runs since restrip", "meet", "strips", *columns])]
    restrips = ["date,unit,reason,found,strip lot,strip height thou,metal thou"]
    for unit in range(rng.choice((1, 2, 5))):
        day = 0
        for _ in range(builds):
            why, lot = rng.choice(("planned", "burned", "other", "")), rng.choice("AB ")
            height, metal = rng.choice(("30", "30.5", "")), rng.choice(("34", "34/35", ""))
            restrips.append(f"{date(day)},U{unit},{why},,{lot},{height},{metal}")
            length = rng.randrange(1, longest + 1)
            for age in range(1, length + 1):
                day = min(day + (rng.choice((0, 1, 1, 2)) if age > 1 else 1), 330)
                seen = "sound" if rng.random() < looked else ""
                state = rng.choice(ends) if age == length else seen
                count = str(age + counter) if rng.random() > blank else ""
                head = [date(day), f"U{unit}", count, f"Meet {day // 7}", state]
                runs.append(",".join([*head, *(cell(column, age) for column in columns)]))
            day += 1
    return "\n".join(runs) + "\n", "\n".join(restrips) + "\n"


def date(day: int) -> str:
    return f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}"


def refuse(word: str) -> None:
    message = f"{word} in the JSON"
    raise AssertionError(message)


def test_odd_seasons_are_answered_or_refused_in_words(tmp_path: Path) -> None:
    codes: Counter[str] = Counter()
    book = tmp_path / "season.book"
    runs, restrips, costs = (tmp_path / name for name in ("runs.csv", "restrips.csv", "costs.toml"))
    costs.write_text(COSTS, encoding="utf-8")
    for number in range(FIRST, FIRST + SEASONS):
        rng = random.Random(f"season {number}")  # noqa: S311 - seeded, keeps no secret
        for path, text in zip((runs, restrips), a_season(rng), strict=True):
            path.write_text(text, encoding="utf-8")
        book.unlink(missing_ok=True)
        logged = [runs, restrips, costs][: rng.choice((2, 3, 3))]
        call = CALLS[number % len(CALLS)]
        places = {"BOOK": str(book), "REPORT": str(tmp_path / "report")}
        words = [places.get(word, word) for word in call.split()]
        if words[0] != "season" and rng.random() < 0.5:
            words.append("--json")
        with bounded(number, MOST_SECONDS):
            assert called(["log", str(book), *map(str, logged)]).code in {0, 3}
            said = called(words)
            assert said.code in {0, 1}, said.err
            assert "Warning" not in said.err, said.err
            if "--json" in words:
                json.loads(said.out, parse_constant=refuse)
            assert not {"nan", "inf", "None"} & set(said.out.replace("(", " ").split()), said.out
        codes[f"{words[0]} {said.code}"] += 1
    print(f"\n{SEASONS} seasons: {dict(sorted(codes.items()))}")  # noqa: T201 - for `make fuzz`
    if SEASONS >= 500:
        assert all(codes[f"{call.split()[0]} 0"] for call in CALLS)


@pytest.mark.parametrize("number", range(20))
def test_the_seasons_are_ones_the_book_takes(number: int, tmp_path: Path) -> None:
    # Else the models are never asked.
    sheets = a_season(random.Random(f"season {number}"))  # noqa: S311 - seeded
    names = ("runs.csv", "restrips.csv")
    for name, text in zip(names, sheets, strict=True):
        (tmp_path / name).write_text(text, encoding="utf-8")
    words = ["log", str(tmp_path / "season.book"), *(str(tmp_path / name) for name in names)]
    files = json.loads(called([*words, "--json"]).out)["files"]
    taken = sum(file["logged"] for file in files)
    assert taken > 0.9 * sum(file["rows_read"] for file in files)

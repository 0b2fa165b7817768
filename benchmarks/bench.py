"""Measure side by side in one run, and print ratios: absolute times are of one machine, today.

    python benchmarks/bench.py [--rows 1000000] [--repeats 5]

1. start-up of the command line against `import click`, and `life --json` of a demo's season
   against `import lifelines`;
2. a sheet of 50 rows logged against `import pandas`; a million rows logged against a bare load of
   the same file into SQLite (csv and executemany, one transaction), with memory and growth;
3. one fit of interval-censored lives against lifelines on the same data;
4. a thousand bootstrap refits of 60 interval-censored lives against a loop over lifelines on the
   same resamples (20 of them timed, and the time scaled to a thousand);
5. ten thousand lives with four covariates against lifelines on the same data, with the largest
   difference of the numbers;
6. strip lives from a million runs of 2,000 units, with growth.

Two things compared take turns (A B A B ...); medians are shown.
"""

import argparse
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from wearstats.lives import lives_of
from wearstats.records.season import Season

SEED = 20260503
COLUMNS = (
    "Date,Unit,Run,Meet,Load,Boost (psi),Overdrive (%),Engine rpm,Baro (inHg),"
    "Runs since restrip,Tip (thou),Strips"
)


def seconds(call: Callable[[], object]) -> float:
    """Return the wall time of one call."""
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def in_turn(
    first: Callable[[], object], second: Callable[[], object], repeats: int
) -> tuple[float, float]:
    """Return the medians of two calls made in turn, after one warm-up of each."""
    first(), second()
    times = [(seconds(first), seconds(second)) for _ in range(repeats)]
    return statistics.median(a for a, _ in times), statistics.median(b for _, b in times)


def python(*words: str) -> Callable[[], object]:
    """Return a call that starts a fresh interpreter with byte code kept, as once installed."""
    place = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
    return lambda: subprocess.run(
        [sys.executable, *words], check=True, capture_output=True, env=place
    )


def say(name: str, ours: float, theirs: float, against: str) -> None:
    """Print one line of the table."""
    print(f"{name:<44}{ours:>10.4f} s{theirs:>12.4f} s{ours / theirs:>9.3g} x  {against}")


def start_up(repeats: int) -> None:
    """Compare `wearstats --help` with `import click`."""
    ours, theirs = in_turn(
        python("-m", "wearstats_cli", "--help"), python("-c", "import click"), repeats
    )
    say("wearstats --help", ours, theirs, "import click")


def strip_life(repeats: int) -> None:
    """Compare `wearstats life --json` of a demo's season with `import lifelines`."""
    with tempfile.TemporaryDirectory() as folder:
        python("-m", "wearstats_cli", "demo", f"{folder}/demo")()
        ours, theirs = in_turn(
            python("-m", "wearstats_cli", "life", f"{folder}/demo/season.book", "--json"),
            python("-c", "import lifelines"),
            repeats,
        )
    say("wearstats life --json, a season of 39 lives", ours, theirs, "import lifelines")


@contextmanager
def sheet(rows: int) -> Iterator[Path]:
    """Write a run sheet of many units, 12 columns, in a folder that goes afterwards."""
    rng = np.random.default_rng(SEED)
    units = max(rows // 500, 1)
    number = np.arange(rows)
    unit, turn = number % units, number // units
    days = np.datetime64("2020-01-01") + (turn // 4).astype("timedelta64[D]")
    frame = pd.DataFrame(
        {
            "Date": days.astype(str),
            "Unit": np.char.add("U", unit.astype(str)),
            "Run": turn % 4 + 1,
            "Meet": np.char.add("Meet ", (turn // 16).astype(str)),
            "Load": "",
            "Boost (psi)": rng.normal(33, 1, rows).round(1),
            "Overdrive (%)": 40,
            "Engine rpm": rng.integers(780, 830, rows) * 10,
            "Baro (inHg)": rng.normal(29.2, 0.2, rows).round(2),
            "Runs since restrip": turn % 12 + 1,
            "Tip (thou)": np.where(turn % 3 == 0, "3/4", ""),
            "Strips": np.where(turn % 3 == 0, "sound", ""),
        }
    )
    if ",".join(frame.columns) != COLUMNS:
        raise AssertionError
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "runs.csv"
        frame.to_csv(path, index=False)
        yield path


# Each ends by printing its seconds and the most memory it ever had, in MiB (Linux).
_SAID = """
most = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(time.perf_counter() - start, int(most[0]) / 1024)
"""
_BARE = """
import csv, sqlite3, sys, time
start = time.perf_counter()
held = sqlite3.connect(sys.argv[2], isolation_level=None)
with open(sys.argv[1], newline="", encoding="utf-8") as file:
    rows = csv.reader(file)
    names = ", ".join(f"c{place} text" for place, _ in enumerate(next(rows)))
    held.execute(f"create table runs ({names})")
    held.execute("begin")
    held.executemany(f"insert into runs values ({', '.join('?' * (names.count(',') + 1))})", rows)
    held.execute("commit")
"""
_LOG = """
import sys, time
from wearstats.book import Book
start = time.perf_counter()
with Book.create(sys.argv[2]) as book:
    result = book.log(sys.argv[1])
assert result.rows_read == result.logged == int(sys.argv[3]), result
"""


def _measured(code: str, path: Path, rows: int) -> tuple[float, float]:
    """Return seconds and MiB of a fresh process that loads a sheet."""
    out = path.with_name("out.db")
    words = [sys.executable, "-c", code + _SAID, str(path), str(out), str(rows)]
    done = subprocess.run(words, check=True, capture_output=True, text=True)
    out.unlink()
    took, most = map(float, done.stdout.split())
    return took, most


def logging(rows: int) -> None:
    """Compare logging a sheet, every promise kept, with a bare load of it into SQLite."""
    took = {}
    for count in (rows // 100, rows):
        with sheet(count) as path:
            theirs, _ = _measured(_BARE, path, count)
            ours, most = _measured(_LOG, path, count)
        took[count] = ours
        say(f"log {count:,} rows", ours, theirs, "sqlite3 executemany, one transaction")
        print(f"{'':<44}{count / ours:>10,.0f} rows a second, at most {most:,.0f} MiB")
    grows = math.log(took[rows] / took[rows // 100]) / math.log(100)
    print(f"{'':<44}time grows as n^{grows:.2f}")


def used(rows: int, every: int = 10) -> Season:
    """Return a season of units with 500 runs each, restripped every so many, some burned."""
    rng = np.random.default_rng(SEED)
    number = np.arange(rows)
    unit, turn = np.char.add("U", (number // 500).astype(str)), number % 500
    age = turn % every + 1
    days = np.datetime64("2020-01-01") + (turn // 4).astype("timedelta64[D]")
    seen = np.where(rng.random(rows) < 1 / 3, "sound", "")
    last = np.where(rng.random(rows) < 1 / 2, "burned", "sound")
    strips = np.where(age == every, last, seen).astype(object)
    strips[strips == ""] = None
    runs = {"date": days, "unit": unit, "run": turn % 4 + 1, "runs_since_restrip": 1.0 * age}
    fitted = turn % every == 0
    restrips = {
        "date": days[fitted],
        "unit": unit[fitted],
        "after_run": 1.0 * (turn[fitted] % 4),
        "reason": "planned",
    }
    return Season.from_frames(
        runs=pd.DataFrame({**runs, "strips": strips}), restrips=pd.DataFrame(restrips)
    )


def lives(rows: int) -> None:
    """Time the road from runs to strip lives."""
    took = {}
    for count in (rows // 100, rows):
        season = used(count)
        took[count] = min(seconds(partial(lives_of, season)) for _ in range(3))
        builds = len(season.restrips)
        print(f"{f'{builds:,} lives from {count:,} runs':<44}{took[count]:>10.4f} s")
    grows = math.log(took[rows] / took[rows // 100]) / math.log(100)
    print(f"{'':<44}time grows as n^{grows:.2f}")


def small_sheet(repeats: int) -> None:
    """Compare `wearstats log` of 50 rows into a new book with `import pandas`."""
    with sheet(50) as path:
        book = path.with_name("small.book")

        def log() -> None:
            book.unlink(missing_ok=True)
            python("-m", "wearstats_cli", "log", str(book), str(path), "--json")()

        ours, theirs = in_turn(log, python("-c", "import pandas"), repeats)
        say("wearstats log, a sheet of 50 rows", ours, theirs, "import pandas")


def one_fit(repeats: int) -> None:
    """Compare one fit of 20 and of 200 interval-censored lives with lifelines."""
    from lifelines import WeibullFitter

    from wearstats.life import StripLife
    from wearstats.lives import Observations

    rng = np.random.default_rng(SEED)
    for count in (20, 200):
        failed_at = 12 * rng.weibull(2.5, count)
        looked = np.floor(failed_at)
        lower = np.minimum(looked, 12.0)
        upper = np.where(looked < 12, looked + 1.0, np.inf)
        labels = tuple(f"life {number}" for number in range(count))
        lives = Observations(np.zeros(count), lower, upper, np.ones(count), labels)
        # lifelines wants a lower end above nought.
        ends = np.maximum(lower, 1e-9), upper
        fitter = WeibullFitter()
        shape = StripLife().fit(lives).parameters()["shape"].estimate
        fitter.fit_interval_censoring(*ends)
        # Not a race between two answers: both must say the same.
        if shape is None or abs(shape / fitter.rho_ - 1) > 1e-3:
            raise AssertionError((shape, fitter.rho_))
        ours, theirs = in_turn(
            partial(StripLife().fit, lives),
            partial(fitter.fit_interval_censoring, *ends),
            repeats,
        )
        say(f"fit {count} interval-censored lives", ours, theirs, "lifelines")


def refits() -> None:
    """Compare a thousand refits of 60 lives with a loop over lifelines, 20 of them timed."""
    from lifelines import WeibullFitter

    from wearstats.life import StripLife, bootstrap
    from wearstats.life.resampling import drawn_again
    from wearstats.lives import Observations

    sets, timed, count = 1000, 20, 60
    rng = np.random.default_rng(SEED)
    fails, ends = 12 * rng.weibull(2.5, count), rng.uniform(4, 21, count)
    lower, upper = np.zeros(count), np.full(count, np.inf)
    for place in range(count):
        while lower[place] < ends[place] and np.isinf(upper[place]):
            ahead = min(lower[place] + rng.integers(1, 5), ends[place])
            if ahead >= fails[place]:
                upper[place] = ahead
            else:
                lower[place] = ahead
    labels = tuple(f"life {number}" for number in range(count))
    lives = Observations(np.zeros(count), lower, upper, np.ones(count), labels)
    fit = StripLife().fit(lives)
    all_at_once = partial(bootstrap, fit, lives, kind="cases", resamples=sets, seed=SEED)
    found = all_at_once()
    _, low, high, weight = drawn_again(lives, sets, np.random.default_rng(SEED))
    shapes = np.exp(found.theta[:timed, 1])

    def loop() -> list[float]:
        library = []
        for times in weight[:timed]:
            drawn = times > 0
            fitter = WeibullFitter()
            ends = np.maximum(low[drawn], 1e-9), high[drawn]
            fitter.fit_interval_censoring(*ends, weights=times[drawn])
            library.append(float(fitter.rho_))
        return library

    apart = np.abs(np.array(loop()) / shapes - 1).max()
    if not apart < 1e-3:
        raise AssertionError(apart)
    ours = statistics.median(seconds(all_at_once) for _ in range(5))
    theirs = seconds(loop) * sets / timed
    say(f"{sets} refits of {count} interval-censored lives", ours, theirs, "a loop over lifelines")
    print(f"{'':<44}{theirs / ours:>10,.0f} times faster; shapes agree to {apart:.1g}")


def regression(repeats: int) -> None:
    """Compare ten thousand right-censored lives with four covariates with lifelines."""
    from lifelines import WeibullAFTFitter

    from wearstats.life import HazardRegression
    from wearstats.lives import Histories, Observations

    count, names = 10_000, ("a", "b", "c", "d")
    rng = np.random.default_rng(SEED)
    covariates = rng.normal(size=(count, 4))
    effects = np.array([0.5, -0.3, 0.0, 0.1])
    failed_at = 12 * (rng.exponential(size=count) * np.exp(-covariates @ effects)) ** (1 / 2.5)
    ends = rng.uniform(4, 21, count)
    age, failed = np.minimum(failed_at, ends), failed_at <= ends
    labels = tuple(f"life {number}" for number in range(count))
    upper = np.where(failed, age, np.inf)
    lives = Observations(np.zeros(count), age, upper, np.ones(count), labels)
    histories = Histories(lives, labels, names, np.arange(count), np.zeros(count), age, covariates)
    frame = pd.DataFrame(covariates, columns=list(names)).assign(age=age, failed=failed)
    fitter = WeibullAFTFitter()
    fitter.fit(frame, "age", "failed")
    shape = float(np.exp(fitter.params_["rho_"]["Intercept"]))
    theirs_as_ours = -fitter.params_["lambda_"][list(names)].to_numpy() * shape
    fit = HazardRegression().fit(histories)
    apart = np.abs(np.array([fit.estimates[name] for name in names]) - theirs_as_ours).max()
    value = abs(fit.log_likelihood - fitter.log_likelihood_)
    if not (apart < 1e-4 and value < 1e-3):
        raise AssertionError((apart, value))
    ours, theirs = in_turn(
        partial(HazardRegression().fit, histories),
        partial(WeibullAFTFitter().fit, frame, "age", "failed"),
        repeats,
    )
    say(f"{count:,} lives with four covariates", ours, theirs, "lifelines")
    print(f"{'':<44}log hazard ratios agree to {apart:.1g}, log likelihoods to {value:.1g}")


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rows", type=int, default=1_000_000)
    options.add_argument("--repeats", type=int, default=5)
    chosen = options.parse_args()
    print(f"{'':<44}{'wearstats':>12}{'other':>14}{'ratio':>9}    against")
    start_up(chosen.repeats)
    strip_life(chosen.repeats)
    one_fit(chosen.repeats)
    refits()
    regression(chosen.repeats)
    small_sheet(chosen.repeats)
    logging(chosen.rows)
    lives(chosen.rows)


if __name__ == "__main__":
    main()

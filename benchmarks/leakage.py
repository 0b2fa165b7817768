"""Boost lost to leakage: simulated seasons against their truth, and how the time grows.

    python benchmarks/leakage.py            # both
    python benchmarks/leakage.py errors --replicates 200 --seed 1
    python benchmarks/leakage.py ahead --replicates 40
    python benchmarks/leakage.py time

The truth is the balance of blower and engine with a discharge coefficient, path multipliers,
heat shares and a friction law of its own; the fits see readings and boost only. Errors are of the
mean over all runs of the boost lost since the restrip.
"""

import argparse
import contextlib
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import FitError
from wearstats.estimates import Estimate
from wearstats.leakage import BoostModel, LeakFit, LeakModel
from wearstats.leakage.boost import REFERENCE_PSI
from wearstats.leakage.geometry import leak_area, swept_ratio
from wearstats.leakage.physics import leakage_number, no_leak_ratio, pressure_ratio
from wearstats.units import INHG_PA, PSI_PA
from wearstats.wear import ClearanceWear, ClearanceWearFit

INCH = 0.0254
THOU = INCH / 1000.0
LENGTH, DIAMETER, VOLUME = 19.0, 5.8, 500.0
FRESH, LIMIT = 4.0, 8.0
MESH, END = 4.0, 6.0
RATE, BURN = 0.15, 0.02
GAUGE = 0.25
EVENT_PSI, NOISE_PSI = 0.3, 0.7
HEAT_TIP, HEAT_MESH, HEAT_END = -1.376, -0.26, -0.585
"""What heat does to each clearance by the worked example's expansion, thou."""
LEVEL = 0.9


@dataclass(frozen=True)
class Season:
    """What was written down, and what is true."""

    rows: pd.DataFrame
    readings: pd.DataFrame
    units: pd.DataFrame
    since: FloatArray
    total: FloatArray


@dataclass
class Path:
    """One unit's strips, run by run."""

    build: list[int] = field(default_factory=list)
    age: list[float] = field(default_factory=list)
    tip: list[float] = field(default_factory=list)
    fresh: list[float] = field(default_factory=list)
    readings: list[tuple[int, float, float]] = field(default_factory=list)


def path_of(runs: int, rng: np.random.Generator) -> Path:
    """Wear run by run, a service every 6 to 15 runs and at the end, new strips above the limit."""
    path, build, age = Path(), 1, 0.0
    fresh = tip = FRESH + 0.5 * rng.standard_normal()
    path.readings.append((build, age, tip + GAUGE * rng.standard_normal()))
    until = int(rng.integers(6, 16))
    for run in range(runs):
        tip += RATE * math.exp(0.5 * rng.standard_normal() - 0.125)
        if rng.random() < BURN:
            tip += rng.uniform(1.5, 4.0)
        age += 1.0
        path.build.append(build)
        path.age.append(age)
        path.tip.append(tip)
        path.fresh.append(fresh)
        until -= 1
        if until and run < runs - 1:
            continue
        path.readings.append((build, age, tip + GAUGE * rng.standard_normal()))
        until = int(rng.integers(6, 16))
        if tip > LIMIT and run < runs - 1:
            build, age = build + 1, 0.0
            fresh = tip = FRESH + 0.5 * rng.standard_normal()
            path.readings.append((build, age, tip + GAUGE * rng.standard_normal()))
    return path


def knee(gap: FloatArray) -> FloatArray:
    """Friction in tight gaps, 1 at the fresh clearance."""
    return np.asarray((1.0 + (1.24 / FRESH) ** 1.29) / (1.0 + (1.24 / gap) ** 1.29))


def simulate(seed: int, runs: int, units: int) -> Season:
    """Make one season with a truth drawn anew."""
    rng = np.random.default_rng(seed)
    names = [f"K{place + 1:02d}" for place in range(units)]
    paths = [path_of(runs // units, rng) for _ in names]
    unit = np.repeat(np.arange(units), runs // units)
    tip, fresh, age, build = (
        np.concatenate([getattr(path, name) for path in paths])
        for name in ("tip", "fresh", "age", "build")
    )
    event = np.concatenate([np.arange(runs // units) // 5 for _ in names])
    events = int(event.max()) + 1
    barometer = rng.uniform(28.3, 30.1, events)[event]
    air_f = rng.uniform(65.0, 95.0, events)[event]
    speed = 8000.0 + 100.0 * rng.standard_normal(len(tip))
    heat = np.clip(0.30 + 0.05 * rng.standard_normal(units), 0.1, 0.6)[unit]
    level = np.exp(0.03 * rng.standard_normal(units))[unit]
    coefficient = 0.70 * math.exp(0.30 * rng.standard_normal())
    paths_off = np.exp(0.15 * rng.standard_normal(3))
    drift = 3e-4 * rng.standard_normal()
    swept = float(swept_ratio(1.4, VOLUME, VOLUME))

    def ratio(gap: FloatArray) -> FloatArray:
        hot = np.maximum(gap + HEAT_TIP, 0.1)
        area = leak_area(
            hot * knee(hot) * paths_off[0] * THOU,
            (MESH + HEAT_MESH) * paths_off[1] * THOU,
            (END + HEAT_END) * paths_off[2] * THOU,
            (END + HEAT_END) * paths_off[2] * THOU,
            rotor_length=LENGTH * INCH,
            rotor_diameter=DIAMETER * INCH,
        )
        number = leakage_number(
            area.total,
            engine_speed=speed / 60.0,
            engine_displacement=VOLUME * INCH**3,
            inlet_temperature=(air_f - 32.0) / 1.8 + 273.15,
            discharge_coefficient=coefficient,
        )
        return pressure_ratio(swept, number, heat_share=heat).pressure_ratio

    now = ratio(tip)
    station_psi = barometer * INHG_PA / PSI_PA
    noise = EVENT_PSI * rng.standard_normal(events)[event]
    noise = noise + NOISE_PSI * rng.standard_normal(len(tip))
    boost = station_psi * (now * level * np.exp(drift * age) - 1.0) + noise
    rows = pd.DataFrame(
        {
            "unit": np.array(names)[unit],
            "build": build,
            "age": age,
            "date": pd.Timestamp("2026-04-01") + pd.to_timedelta(7 * event, unit="D"),
            "meet": [f"meet {each}" for each in event],
            "boost_psi": boost,
            "overdrive_pct": 40.0,
            "engine_speed_rpm": speed,
            "air_temperature_f": air_f,
            "barometer_inhg": barometer,
            "strips": None,
        }
    )
    return Season(
        rows=rows,
        readings=_readings(names, paths, rng),
        units=pd.DataFrame(
            {
                "unit": names,
                "displacement_in3": VOLUME,
                "engine_displacement_in3": VOLUME,
                "rotor_length_in": LENGTH,
                "rotor_diameter_in": DIAMETER,
            }
        ),
        since=REFERENCE_PSI * level * (ratio(fresh) - now),
        total=REFERENCE_PSI * level * (no_leak_ratio(swept, heat_share=heat) - now),
    )


def _readings(names: list[str], paths: list[Path], rng: np.random.Generator) -> pd.DataFrame:
    """Tip clearance at every service, mesh and ends at the first."""
    found = []
    for name, path in zip(names, paths, strict=True):
        found += [(name, build, age, "tip", value) for build, age, value in path.readings]
        for what, true in (("mesh", MESH), ("end", END)):
            found.append((name, 1, 0.0, what, true + GAUGE * rng.standard_normal()))
    table = pd.DataFrame(found, columns=["unit", "build", "age", "what", "low_thou"])
    return table.assign(high_thou=table["low_thou"], strips=None, left_out=False)


def fitted(season: Season) -> tuple[ClearanceWearFit, LeakFit]:
    """Fit the wear of the tips, then the leakage."""
    wear = ClearanceWear("tip", level=LEVEL).fit(season.readings)
    model = LeakModel(level=LEVEL)
    return wear, model.fit(season.rows, {"tip": wear}, season.units, readings=season.readings)


def without_physics(season: Season, wear: ClearanceWearFit) -> Estimate:
    """Mean loss since the restrip by a straight line in tip clearance."""
    fit = BoostModel(level=LEVEL).fit(season.rows, wear, season.units)
    rows = season.rows
    growth = wear.growth(list(rows["unit"]), list(rows["build"]), rows["age"].to_numpy())[0]
    worth, mean = fit.psi_per_thou, float(np.mean(growth))
    low, high = (None if end is None else end * mean for end in (worth.low, worth.high))
    return Estimate((worth.estimate or 0.0) * mean, low, high, LEVEL, "psi")


@dataclass
class Tally:
    """Relative errors, and whether intervals held the truth."""

    errors: dict[str, list[float]] = field(default_factory=dict)
    held: dict[str, list[bool]] = field(default_factory=dict)

    def add(self, name: str, estimate: Estimate, truth: float) -> None:
        """Count one estimate against its truth."""
        value = math.nan if estimate.estimate is None else estimate.estimate
        self.errors.setdefault(name, []).append(abs(value / truth - 1.0))
        low = -math.inf if estimate.low is None else estimate.low
        high = math.inf if estimate.high is None else estimate.high
        self.held.setdefault(name, []).append(low <= truth <= high)

    def lines(self) -> Iterator[str]:
        """Median (and 90th percentile) relative error and coverage, each with its own error."""
        rng = np.random.default_rng(0)
        for name, errors in self.errors.items():
            values, held = np.array(errors), np.array(self.held[name], float)
            again = np.median(rng.choice(values, (500, len(values))), axis=1)
            share = held.mean()
            yield (
                f"  {name:34s} median error {np.median(values):5.1%} +- {again.std():4.1%}, "
                f"90th percentile {np.quantile(values, 0.9):6.1%}; 90 % interval holds "
                f"{share:5.1%} +- {math.sqrt(share * (1 - share) / len(held)):4.1%}"
            )


def errors(options: argparse.Namespace) -> None:
    """Print errors and coverage for 60, 150 and 400 runs."""
    for runs, units in ((60, 4), (150, 6), (400, 8)):
        tally, failed, started, hardly = Tally(), 0, time.perf_counter(), 0
        truths = []
        for replicate in range(options.replicates):
            season = simulate(options.seed * 100_000 + runs * 1000 + replicate, runs, units)
            since, total = float(season.since.mean()), float(season.total.mean())
            truths.append((since, total))
            try:
                wear, fit = fitted(season)
            except FitError as problem:
                failed += 1
                print(f"    not fitted ({runs} runs, {replicate}): {problem}")
                continue
            hardly += any("hardly moved" in said for said in fit.not_told_apart)
            tally.add("since restrip, physics", fit.fleet_since_restrip(), since)
            last = int(np.flatnonzero((season.rows["unit"] == "K01").to_numpy())[-1])
            tally.add("  one unit today", fit.lost_since_restrip("K01"), float(season.since[last]))
            tally.add("in all, physics", fit.fleet_in_all(), total)
            with contextlib.suppress(FitError):
                tally.add("since restrip, without physics", without_physics(season, wear), since)
        took = time.perf_counter() - started
        mean = np.mean(truths, axis=0)
        print(
            f"{runs} runs, {units} units, {options.replicates} seasons ({failed} not fitted, "
            f"{took:.0f} s); true mean loss {mean[0]:.2f} psi since the restrip, {mean[1]:.2f} in "
            f"all; the data hardly moved the multiplier in {hardly}"
        )
        for line in tally.lines():
            print(line)


def last_meet(season: Season) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return the rows before the last meet, that meet's on its first strips, and old readings."""
    rows = season.rows
    at = rows["date"] == rows["date"].max()
    first = rows[at].groupby("unit")[["build", "age"]].first()
    told = season.readings.join(first, on="unit", rsuffix="_then")
    same = told["build"] == told["build_then"]
    old = (told["build"] < told["build_then"]) | (same & (told["age"] < told["age_then"]))
    meet = rows[at & (rows["build"] == rows["unit"].map(first["build"]))]
    return rows[~at], meet, season.readings[old]


def ahead(options: argparse.Namespace) -> None:
    """Print how often the boost of the last meet came within its interval, and errors."""
    for runs, units in ((120, 6), (150, 6), (300, 6)):
        held, errors_psi, last_psi, widths, failed = [], [], [], [], 0
        for replicate in range(options.replicates):
            season = simulate(options.seed * 100_000 + runs * 1000 + replicate, runs, units)
            known, meet, readings = last_meet(season)
            try:
                wear = ClearanceWear("tip", level=LEVEL).fit(readings)
                fit = LeakModel(draws=50).fit(known, {"tip": wear}, season.units, readings=readings)
            except FitError:
                failed += 1
                continue
            both = pd.concat([known, meet])
            station = both["barometer_inhg"] * INHG_PA / PSI_PA
            both = both.assign(psi=REFERENCE_PSI * both["boost_psi"] / station)
            inside = []
            for unit, said in fit.boost_ahead(meet).items():
                if isinstance(said, str):
                    continue
                mean, own = said.mean_psi(LEVEL), both[both["unit"] == unit]
                days = own.groupby("date")["psi"].mean().to_numpy()
                low, high = mean.low or -math.inf, mean.high or math.inf
                inside.append(low <= days[-1] <= high)
                widths.append(high - low)
                errors_psi.append((mean.estimate or math.nan) - days[-1])
                last_psi.append(days[-2] - days[-1])
            held.append(float(np.mean(inside)))
        share = np.array(held)
        print(
            f"{runs // units // 5 - 1} meets on record, {len(widths)} forecasts ({failed} seasons "
            f"not fitted): 90 % interval holds {share.mean():.1%} +- "
            f"{share.std(ddof=1) / math.sqrt(len(share)):.1%}, median width "
            f"{np.median(widths):.2f} psi; mean error {np.mean(errors_psi):.2f}, absolute "
            f"{np.mean(np.abs(errors_psi)):.2f}, of the last meet's "
            f"{np.mean(np.abs(last_psi)):.2f} psi"
        )


def times(options: argparse.Namespace) -> None:
    """Print seconds of a whole analysis for growing seasons of 50 units, and the exponent."""
    sizes = (1_000, 5_000, 15_000, 50_000)
    took = []
    fitted(simulate(options.seed, 400, 8))
    for runs in sizes:
        season = simulate(options.seed, runs, 50)
        started = time.perf_counter()
        ClearanceWear("tip").fit(season.readings)
        middle = time.perf_counter()
        _, fit = fitted(season)
        for unit in fit.units:
            fit.lost_since_restrip(unit)
            fit.lost_in_all(unit)
            fit.worth(unit)
        took.append(time.perf_counter() - middle)
        print(
            f"{runs:6d} runs, {fit.sizes.restrips + 50} builds: {took[-1]:6.2f} s, of which wear "
            f"{middle - started:.2f} s"
        )
    slope = float(np.polyfit(np.log(sizes[1:]), np.log(took[1:]), 1)[0])
    print(f"time grows as runs to the power {slope:.2f} (5,000 to 50,000 runs)")


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "what", nargs="?", choices=["errors", "ahead", "time", "both"], default="both"
    )
    parser.add_argument("--replicates", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.what in {"errors", "both"}:
        errors(options)
    if options.what == "ahead":
        ahead(options)
    if options.what in {"time", "both"}:
        times(options)


if __name__ == "__main__":
    main()

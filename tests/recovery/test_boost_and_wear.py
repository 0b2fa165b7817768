"""Known wear and leakage, asked back: intervals must hold the truth as often as they say.

The truth is the physics itself (a root solve of blower and engine for each run), never the
regression: wear differs by unit and build, readings are whole blades, boost carries noise of the
logger, the meet and the unit.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from wearstats.arrays import FloatArray
from wearstats.leakage import BoostFit, BoostModel
from wearstats.leakage.geometry import leak_area, swept_ratio
from wearstats.leakage.physics import leakage_number, pressure_ratio
from wearstats.units import INHG_PA, PSI_PA, STANDARD_PRESSURE_PA
from wearstats.wear import ClearanceWear, ClearanceWearFit

INCH = 0.0254
THOU = INCH / 1000.0
RATE = 0.15
START = 4.0
NOMINAL = 0.9


@dataclass(frozen=True, slots=True)
class Shop:
    """A simulated fleet: what is true, and what was written down."""

    readings: pd.DataFrame
    rows: pd.DataFrame
    units: pd.DataFrame
    last_clearance: dict[str, float]
    psi_per_thou: float
    lost: dict[str, float]


def ratio_at(tip_thou: FloatArray) -> FloatArray:
    """Pressure ratio of a 19 in blower, 500 in3 engine, 40 % over, by the physics."""
    gaps = leak_area(
        tip_thou * THOU,
        4.0 * THOU,
        6.0 * THOU,
        6.0 * THOU,
        rotor_length=19.0 * INCH,
        rotor_diameter=5.8 * INCH,
    )
    number = leakage_number(
        gaps.total,
        engine_speed=8000.0 / 60.0,
        engine_displacement=500.0 * INCH**3,
        inlet_temperature=300.0,
    )
    return pressure_ratio(swept_ratio(1.4, 500.0, 500.0), number, heat_share=0.35).pressure_ratio


def simulate(seed: int, units: int = 6, builds: int = 5) -> Shop:
    """One season's records; 9 to 14 runs a build, a look every two to four runs."""
    rng = np.random.default_rng(seed)
    readings, rows, last, lost = [], [], {}, {}
    meet_level = 0.008 * rng.normal(size=9)
    barometer = rng.uniform(28.3, 30.1, size=9)
    for unit in (f"K{number}" for number in range(1, units + 1)):
        unit_rate = RATE * np.exp(0.2 * rng.normal() - 0.02)
        unit_level = 0.03 * rng.normal()
        meets = np.sort(rng.integers(0, 9, size=14 * builds))
        for build in range(1, builds + 1):
            start = START + 0.8 * rng.normal()
            rate = unit_rate * np.exp(0.3 * rng.normal() - 0.045)
            ages = np.arange(1, rng.integers(9, 15))
            looks = np.cumsum(np.r_[0, rng.integers(2, 5, size=7)])
            for age in looks[looks <= ages[-1]]:
                read = np.floor(start + rate * age + 0.3 * rng.normal())
                readings.append((unit, build, float(age), "tip", read, read + 1.0, None))
            tip = start + rate * ages
            meet = meets[14 * (build - 1) : 14 * (build - 1) + len(ages)]
            level = unit_level + meet_level[meet] + 0.015 * rng.normal(size=len(ages))
            station = barometer[meet] * INHG_PA
            boost = station * (ratio_at(tip) * np.exp(level) - 1.0) / PSI_PA
            rows += [
                (unit, build, float(a), f"2026-05-{m + 1:02d}", int(a), f"meet {m}", b, 40.0, hg)
                for a, m, b, hg in zip(ages, meet, boost, barometer[meet], strict=True)
            ]
            last[unit] = float(tip[-1])
            change = ratio_at(np.array([start, tip[-1]]))
            lost[unit] = float(change[0] - change[1]) * STANDARD_PRESSURE_PA / PSI_PA
    frame = pd.DataFrame(
        rows,
        columns=[
            *("unit", "build", "age", "date", "run", "meet"),
            *("boost_psi", "overdrive_pct", "barometer_inhg"),
        ],
    ).assign(date=lambda table: pd.to_datetime(table["date"]), strips=None)
    around = ratio_at(np.array([START + RATE * 6.0 + 0.5, START + RATE * 6.0 - 0.5]))
    return Shop(
        readings=pd.DataFrame(
            readings, columns=["unit", "build", "age", "what", "low_thou", "high_thou", "strips"]
        ),
        rows=frame,
        units=pd.DataFrame(
            {
                "unit": sorted(last),
                "displacement_in3": 500.0,
                "engine_displacement_in3": 500.0,
            }
        ),
        last_clearance=last,
        psi_per_thou=float(around[1] - around[0]) * STANDARD_PRESSURE_PA / PSI_PA,
        lost=lost,
    )


def fitted(shop: Shop) -> tuple[ClearanceWearFit, BoostFit]:
    wear = ClearanceWear("tip", level=NOMINAL).fit(shop.readings)
    return wear, BoostModel(level=NOMINAL).fit(shop.rows, wear, shop.units)


def holds(low: float | None, high: float | None, truth: float) -> bool:
    assert low is not None
    assert high is not None
    return low <= truth <= high


def hits(seeds: range, **size: int) -> dict[str, list[bool]]:
    """For each seed, whether each interval holds the truth; of one unit, so that seeds count."""
    found: dict[str, list[bool]] = {
        name: [] for name in ("rate", "start", "forecast", "psi per thou", "lost")
    }
    for seed in seeds:
        shop = simulate(seed, **size)
        wear, boost = fitted(shop)
        here = shop.rows.loc[shop.rows["unit"] == "K1"].iloc[-1]
        row = wear.forecast("K1", here["build"], [here["age"]]).iloc[0]
        per_thou, gone = boost.psi_per_thou, boost.lost_since_restrip("K1")
        found["rate"].append(holds(wear.rate.low, wear.rate.high, RATE))
        found["start"].append(holds(wear.start.low, wear.start.high, START))
        found["forecast"].append(holds(row["low"], row["high"], shop.last_clearance["K1"]))
        found["psi per thou"].append(holds(per_thou.low, per_thou.high, shop.psi_per_thou))
        found["lost"].append(holds(gone.low, gone.high, shop.lost["K1"]))
    return found


def test_intervals_hold_the_truth_in_a_few_seasons() -> None:
    # 40 seasons. A true 90 % interval holds in fewer than the count below with a chance of at most
    # 1e-4 (binomial), five of them with 5e-4; one that holds in 60 % of seasons fails with 0.9.
    least = int(binom.ppf(1e-4, 40, NOMINAL))
    assert least >= 27
    for name, held in hits(range(40), units=4, builds=3).items():
        assert sum(held) >= least, name


def test_intervals_are_not_so_wide_that_they_say_nothing() -> None:
    # Per season 30 rates of spread 0.05 and 6 units of spread 0.03, about 0.015 thou per run on
    # the mean rate: 90 % intervals about 0.05 wide. Boost: 335 rows of noise 0.015 in the log over
    # a spread of 1.1 thou, 0.04 psi per thou: about 0.13 wide. Twice that is too much.
    widths = []
    for seed in range(3):
        wear, boost = fitted(simulate(seed))
        for estimate in (wear.rate, boost.psi_per_thou):
            assert estimate.low is not None
            assert estimate.high is not None
            widths.append(estimate.high - estimate.low)
    assert np.median(widths[0::2]) < 0.10
    assert np.median(widths[1::2]) < 0.26


@pytest.mark.slow
@pytest.mark.parametrize(("units", "builds"), [(6, 5), (3, 3)])
def test_intervals_hold_the_truth_as_often_as_they_say(units: int, builds: int) -> None:
    # 300 seasons. Not fewer than a true 88 % interval would hold but for a chance of 1e-3 each.
    least = int(binom.ppf(1e-3, 300, 0.88))
    assert least >= 246
    for name, held in hits(range(1000, 1300), units=units, builds=builds).items():
        assert sum(held) >= least, name


def test_the_wrong_truth_is_not_held() -> None:
    # The test has teeth: a rate twice as great is outside nearly always.
    outside = 0
    for seed in range(10):
        rate = ClearanceWear("tip").fit(simulate(seed, builds=3).readings).rate
        outside += not holds(rate.low, rate.high, 2.0 * RATE)
    assert outside == 10

"""The curve for lives known to intervals, against published data, formulas and the truth.

"Recomputed" figures come from a self-consistency iteration and pool-adjacent-violators written
by hand, as said.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import optimize

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError
from wearstats.life import IntervalCurve, kaplan_meier, npmle
from wearstats.life.hazard_steps import GAP
from wearstats.lives.observations import Observations

DATA = Path(__file__).parent / "data"
CHI_90 = 2.705543454095404  # chi-square(1), 0.9 quantile: scipy.special.chdtri

# 167 parts inspected at 8 ages (months): Nelson 1982, p. 145 and chapter 9.
V04 = "v04_part_cracks_inspections.csv"
# 432 wheels each inspected once (100 h): Nelson 1982, p. 409.
V05 = "v05_turbine_wheels_current_status.csv"
# 7 intervals: Fay & Shaw 2010, J. Statistical Software 36(2), Table 2.
V06 = "v06_interval_example_seven.csv"
# 462 residents, ages in months, late entry: Hyde 1980; Klein & Moeschberger 2003, Table 1.16.
V07 = "v07_retirement_house_left_truncated.csv"


def known(
    lower: FloatArray, upper: FloatArray, weight: FloatArray, entry: FloatArray | None = None
) -> Observations:
    labels = tuple(f"life {place}" for place in range(lower.size))
    return Observations(0 * lower if entry is None else entry, lower, upper, weight, labels)


def intervals(name: str) -> Observations:
    frame = pd.read_csv(DATA / name)
    lower = frame["lower"].to_numpy(dtype=float)
    weight = frame["weight"].to_numpy(dtype=float) if "weight" in frame else np.ones(lower.size)
    return known(lower, frame["upper"].fillna(np.inf).to_numpy(dtype=float), weight)


def residents(male: int) -> Observations:
    frame = pd.read_csv(DATA / V07)
    # 4 of 462 leave the day they enter
    frame = frame[(frame["exit"] > frame["entry"]) & (frame["male"] == male)]
    leaves = frame["exit"].to_numpy(dtype=float)
    upper = np.where(frame["event"] == 1, leaves, np.inf)
    return known(leaves, upper, np.ones(len(frame)), frame["entry"].to_numpy(dtype=float))


def value(curve: IntervalCurve, runs: float) -> float:
    found = curve.at(runs).estimate
    assert found is not None
    return found


def test_seven_intervals() -> None:
    curve = npmle(intervals(V06))
    # read in the article: mass 2/7, 2/7, 3/14, 3/14 on (2,3], (5,6], (9,10], (10,12]
    assert curve.lower.tolist() == [2, 5, 9, 10]
    assert curve.upper.tolist() == [3, 6, 10, 12]
    assert curve.mass == pytest.approx([2 / 7, 2 / 7, 3 / 14, 3 / 14], abs=1e-10)
    assert curve.log_likelihood == pytest.approx(-7.552945, abs=6e-7)  # recomputed
    assert curve.gap <= GAP


def test_shared_looks_give_the_binomial_fraction_and_its_error() -> None:
    curve = npmle(intervals(V04))
    ages = [6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48]
    cracked = np.cumsum([5, 16, 12, 18, 18, 2, 6, 17])  # the counts of the data, by look
    assert [float(age) for age in curve.upper] == ages
    for age, count in zip(ages, cracked.tolist(), strict=True):
        share = count / 167  # arithmetic: no part was lost before the last look
        assert value(curve, age) == pytest.approx(1 - share, abs=1e-12)
        assert curve.standard_error(age) == pytest.approx(
            np.sqrt(share * (1 - share) / 167), rel=1e-9
        )
    # recomputed: F(63.48) 0.5628743, its error 0.0383840
    assert value(curve, 63.48) == pytest.approx(1 - 0.5628743, abs=5.1e-8)
    assert curve.standard_error(63.48) == pytest.approx(0.0383840, abs=5.1e-8)


def test_wheels_looked_at_once() -> None:
    curve = npmle(intervals(V05))
    # recomputed, two methods: F at the ages of the looks
    expected = {
        4: 0.0, 10: 0.0697674, 14: 0.0697674, 18: 0.0958904, 22: 0.1666667, 26: 0.2222222,
        30: 0.2222222, 34: 0.4615385, 38: 0.5810811, 42: 0.5810811, 46: 0.5833333,
    }  # fmt: skip
    for age, failed in expected.items():
        assert 1 - value(curve, age) == pytest.approx(failed, abs=5.1e-8)
    assert curve.log_likelihood == pytest.approx(-184.988153, abs=6e-7)
    between = curve.at(16)
    assert between.estimate is None
    assert between.note
    assert between.low is not None
    assert between.high is not None
    assert between.low < 1 - 0.0958904
    assert between.high > 1 - 0.0697674
    assert curve.standard_error(16) is None


def test_looks_are_half_open() -> None:
    # (4, 8] and (8, 12] share no age; read as closed, all mass would stand on 8
    curve = npmle(known(np.array([4.0, 8.0]), np.array([8.0, 12.0]), np.ones(2)))
    assert curve.lower.tolist() == [4, 8]
    assert curve.upper.tolist() == [8, 12]
    assert curve.mass == pytest.approx([0.5, 0.5], abs=1e-12)
    # failed at exactly 8: in the first, and then at that age
    curve = npmle(known(np.array([4.0, 8.0, 8.0]), np.array([8.0, 8.0, 12.0]), np.ones(3)))
    assert curve.lower.tolist() == [8, 8]
    assert curve.upper.tolist() == [8, 12]
    assert curve.mass == pytest.approx([2 / 3, 1 / 3], abs=1e-12)


@pytest.mark.parametrize("male", [0, 1])
def test_exact_lives_with_late_entry_give_the_product_limit(male: int) -> None:
    lives = residents(male)
    curve, product = npmle(lives, given_age=816), kaplan_meier(lives, given_age=816)
    falls = product.failed[product.defined] > 0
    assert curve.upper[curve.defined].tolist() == product.age[product.defined][falls].tolist()
    assert curve.after[curve.defined] == pytest.approx(product.survival[product.defined], abs=1e-10)


def test_late_entries_do_not_take_the_curve_to_zero() -> None:
    # two men at risk at 777 months, one at 781: unconditional S is 0 for ever after
    lives = residents(1)
    curve = npmle(lives)
    assert curve.given_age == kaplan_meier(lives).given_age
    assert curve.given_age > 781
    assert curve.after[curve.defined].min() > 0
    assert np.isnan(curve.after[~curve.defined]).all()
    assert any("given sound" in note for note in curve.notes)
    assert npmle(lives, given_age=0).after[-1] == 0


@pytest.mark.parametrize("whole_runs", [True, False])
def test_a_hundred_thousand_lives_come_to_the_truth(*, whole_runs: bool) -> None:
    shape, scale, size = 2.5, 12.0, 100_000
    rng = np.random.default_rng(11)
    life = scale * rng.weibull(shape, size)
    # looks 1 to 3 whole runs apart, or at ages of their own up to a run apart
    gaps = rng.integers(1, 4, (size, 45)) if whole_runs else rng.uniform(0.05, 1, (size, 90))
    looks = np.cumsum(gaps, axis=1).astype(float)
    seen = (looks < life[:, None]).sum(axis=1)
    padded = np.column_stack([np.zeros(size), looks, np.full(size, np.inf)])
    rows = np.arange(size)
    curve = npmle(known(padded[rows, seen], padded[rows, seen + 1], np.ones(size)))
    assert curve.gap <= GAP
    ages = np.arange(2.0, 23.0, 2.0)
    truth = np.exp(-((ages / scale) ** shape))
    found = np.interp(
        ages,
        np.column_stack([curve.lower, curve.upper]).ravel(),
        np.column_stack([curve.before, curve.after]).ravel(),
    )
    # 0.0016 is the binomial standard error of the middle
    assert np.abs(found - truth).max() < 0.003


def binomial_ends(failed: int, lives: int) -> tuple[float, float]:
    """Likelihood-ratio interval of a share sound, from the binomial likelihood itself."""

    def excess(sound: float) -> float:
        share = 1 - failed / lives
        best = (lives - failed) * np.log(share) + (failed * np.log(1 - share) if failed else 0)
        here = (lives - failed) * np.log(sound) + (failed * np.log(1 - sound) if failed else 0)
        return float(2 * (best - here) - CHI_90)

    middle = 1 - failed / lives
    low = optimize.brentq(excess, 1e-9, middle, xtol=1e-13)
    high = 1.0 if failed == 0 else optimize.brentq(excess, middle, 1 - 1e-9, xtol=1e-13)
    return low, high


@pytest.mark.parametrize(("failed", "lives"), [(0, 10), (1, 6), (7, 20), (19, 20)])
def test_interval_at_a_shared_look_is_the_binomial_one(failed: int, lives: int) -> None:
    counts = np.array([failed, lives - failed], dtype=float)
    told = counts > 0
    lower, upper = np.array([0.0, 5.0]), np.array([5.0, np.inf])
    found = npmle(known(lower[told], upper[told], counts[told])).at(5)
    assert found.estimate == pytest.approx(1 - failed / lives, abs=1e-12)
    assert (found.low, found.high) == pytest.approx(binomial_ends(failed, lives), abs=1e-8)


def test_interval_of_right_censored_lives_is_that_of_thomas_and_grunkemeier() -> None:
    # 21 treated patients, weeks in remission: Freireich et al. 1963; Gehan 1965 (from memory)
    failed = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    sound = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    ages = np.array(failed + sound, dtype=float)
    upper = np.where(np.arange(ages.size) < len(failed), ages, np.inf)
    curve = npmle(known(ages, upper, np.ones(ages.size)))
    at = np.array([6.0, 7, 10, 13])
    risk = np.array([(ages >= age).sum() for age in at], dtype=float)
    deaths = np.array([failed.count(int(age)) for age in at], dtype=float)
    assert value(curve, 13) == pytest.approx(0.6901961, abs=5.1e-8)  # R survival; published 0.690

    def ratio(more: float) -> float:
        # Thomas & Grunkemeier 1975, J. American Statistical Association 70:865-871 (from memory)
        left = risk - deaths
        terms = left * np.log1p(more / left) - risk * np.log1p(more / risk)
        return float(-2 * terms.sum() - CHI_90)

    ends = [
        float(np.prod(1 - deaths / (risk + more)))
        for more in (
            optimize.brentq(ratio, -(risk - deaths).min() + 1e-9, 0, xtol=1e-13),
            optimize.brentq(ratio, 0, 1e4, xtol=1e-13),
        )
    ]
    found = curve.at(13)
    assert (found.low, found.high) == pytest.approx((ends[0], ends[1]), abs=1e-7)


def test_the_curve_does_not_begin_between_two_looks() -> None:
    with pytest.raises(ObservationError, match="between looks at 2 and 3"):
        npmle(intervals(V06), given_age=2.5)

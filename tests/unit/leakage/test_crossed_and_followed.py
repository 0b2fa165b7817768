"""The regression against dense algebra, and clearances that follow their readings."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, norm

from wearstats.leakage.crossed import Groups, fit_crossed
from wearstats.leakage.followed import Followed, _stands_for, _usable
from wearstats.wear import ClearanceWear


def test_regression_is_generalised_least_squares_at_its_variances() -> None:
    # The same answer by dense matrices: V = rest I + sum of Z Z' variances + prior columns.
    rng = np.random.default_rng(5)
    rows = 90
    unit, meet, build = (
        rng.integers(0, 5, rows),
        rng.integers(0, 7, rows),
        rng.integers(0, 20, rows),
    )
    slope = rng.normal(size=(rows, 2))
    response = 1.0 + slope @ [0.5, -0.2] + rng.normal(size=5)[unit] + 0.5 * rng.normal(size=7)[meet]
    response = response + 0.7 * rng.normal(size=20)[build] + 0.3 * rng.normal(size=rows)
    groups = {
        name: Groups.of([int(each) for each in codes])
        for name, codes in (("unit", unit), ("meet", meet), ("build", build))
    }
    prior = np.array([0.4, 0.3])
    fit = fit_crossed(response, np.ones((rows, 1)), slope, prior, groups, small="build")
    total = fit.variances["rest"] * np.eye(rows)
    for name, codes in (("unit", unit), ("meet", meet), ("build", build)):
        total += fit.variances[name] * (codes[:, np.newaxis] == codes)
    columns = np.column_stack([np.ones(rows), slope])
    inverse = np.linalg.inv(total)
    precision = columns.T @ inverse @ columns + np.diag([0.0, *(1.0 / prior**2)])
    expected = np.linalg.solve(precision, columns.T @ inverse @ response)
    assert fit.coefficients == pytest.approx(expected, rel=1e-7)
    assert fit.covariance == pytest.approx(np.linalg.inv(precision), rel=1e-6, abs=1e-12)
    left = response - columns @ expected
    level = fit.variances["unit"] * np.array(
        [float((inverse @ left)[unit == label].sum()) for label in groups["unit"].labels]
    )
    assert fit.levels["unit"] == pytest.approx(level, rel=1e-6, abs=1e-10)
    # Errors that rows share move the coefficients by A e, A = P^-1 X' V^-1.
    errors = rng.normal(size=(20, 50))[build] + rng.normal(size=(rows, 50))
    shared = fit_crossed(
        response, np.ones((rows, 1)), slope, prior, groups, small="build", shared_errors=errors
    )
    by_draw = np.linalg.solve(precision, columns.T @ inverse @ errors)
    more = by_draw @ by_draw.T / 50
    assert shared.coefficients == pytest.approx(fit.coefficients)
    assert shared.covariance == pytest.approx(fit.covariance + more, rel=1e-6, abs=1e-12)
    assert shared.solved[0].covariance[:3, :3] == pytest.approx(shared.covariance)


def test_variances_are_a_maximum_of_the_penalised_likelihood() -> None:
    rng = np.random.default_rng(8)
    rows = 60
    unit = rng.integers(0, 6, rows)
    response = rng.normal(size=6)[unit] + 0.5 * rng.normal(size=rows)
    fit = fit_crossed(
        response,
        np.ones((rows, 1)),
        np.linspace(-1.0, 1.0, rows)[:, np.newaxis],
        np.array([0.5]),
        {"unit": Groups.of([int(each) for each in unit])},
    )

    def height(spread: float, rest: float) -> float:
        column = np.linspace(-1.0, 1.0, rows)
        total = rest * np.eye(rows) + spread * (unit[:, np.newaxis] == unit)
        total += 0.25 * np.outer(column, column)
        # Restricted: the mean has a flat prior, so it is integrated out.
        ones = np.ones(rows)
        inverse = np.linalg.inv(total)
        mean = float(ones @ inverse @ response / (ones @ inverse @ ones))
        full = multivariate_normal(np.full(rows, mean), total).logpdf(response)
        restricted = float(full) - 0.5 * np.log(float(ones @ inverse @ ones))
        return float(restricted + 0.5 * np.log(spread / rest))

    best = height(fit.variances["unit"], fit.variances["rest"])
    for factor in (0.9, 1.1):
        assert height(factor * fit.variances["unit"], fit.variances["rest"]) < best
        # The penalty is on the ratio of the two, which is held here.
        both = (factor * fit.variances["unit"], factor * fit.variances["rest"])
        assert height(*both) < best


def readings() -> pd.DataFrame:
    rng = np.random.default_rng(2)
    rows = []
    for unit in ("K1", "K2", "K3"):
        for build in (1, 2):
            jump = 3.0 if (unit, build) == ("K1", 1) else 0.0
            for age in (0.0, 6.0, 12.0):
                tip = 4.0 + 0.15 * age + (jump if age >= 12.0 else 0.0) + 0.1 * rng.normal()
                rows.append((unit, build, age, "tip", tip, tip, None, False))
    names = ["unit", "build", "age", "what", "low_thou", "high_thou", "strips", "left_out"]
    return pd.DataFrame(rows, columns=names)


def test_a_jump_is_followed_and_its_spread_is_widest_between_looks() -> None:
    table = readings()
    wear = ClearanceWear("tip").fit(table)
    followed = Followed.of(wear, table, "tip")
    ages = np.array([6.0, 9.0, 12.0, 16.0, 24.0])
    mean, sd = followed.clearance_at(["K1"] * 5, [1] * 5, ages)
    line, _ = wear.clearance_at(["K1"] * 5, [1] * 5, ages)
    read = table[(table["unit"] == "K1") & (table["build"] == 1)]["low_thou"].to_numpy()
    assert abs(mean[2] - read[2]) < 0.5 * abs(line[2] - read[2]) + 0.2
    assert mean[1] == pytest.approx((mean[0] + mean[2]) / 2.0, abs=0.3)
    assert sd[1] > sd[0]
    assert sd[1] > sd[2]
    assert sd[2] < sd[3] < sd[4]


def test_growth_is_the_change_and_a_build_without_readings_follows_its_unit() -> None:
    table = readings()
    wear = ClearanceWear("tip").fit(table)
    followed = Followed.of(wear, table, "tip")
    at, _ = followed.clearance_at(["K2", "K2"], [1, 1], [0.0, 9.0])
    grown, spread = followed.growth(["K2"], [1], [9.0])
    assert grown[0] == pytest.approx(at[1] - at[0], abs=1e-9)
    none, none_sd = followed.growth(["K2"], [1], [0.0])
    assert (none[0], none_sd[0]) == pytest.approx((0.0, 0.0), abs=1e-6)
    new, new_sd = followed.growth(["K2"], [9], [9.0])
    assert np.isfinite(new[0])
    assert new_sd[0] > spread[0]


def test_runs_of_a_build_stray_together_and_hardly_at_a_look() -> None:
    table = readings()
    followed = Followed.of(ClearanceWear("tip").fit(table), table, "tip")
    assert isinstance(followed, Followed)
    units, builds = ["K1"] * 4 + ["K2", "K9"], [1.0] * 4 + [1.0, 1.0]
    ages = np.array([3.0, 8.9, 9.1, 12.0, 9.0, 9.0])
    found = followed.strays(units, builds, ages, 20_000, np.random.default_rng(3))
    _, sd = followed.clearance_at(units, builds, ages)
    # The wear that builds have in common is left out here, and is little of it.
    assert found[:5].std(axis=1) == pytest.approx(sd[:5], rel=0.15)
    assert (found.std(axis=1)[:5] <= 1.02 * sd[:5]).all()
    together = np.asarray(np.corrcoef(found[:5]))
    assert together[1, 2] > 0.9
    assert abs(together[0, 1]) < 0.5
    assert abs(together[1, 4]) < 0.05
    assert (found[5] == 0.0).all()


@pytest.mark.parametrize(("expected", "sd"), [(5.0, 1.0), (9.0, 0.5), (3.0, 0.6)])
def test_what_an_open_reading_stands_for_gives_the_moments_beyond_the_blade(
    expected: float, sd: float
) -> None:
    # By sums over the clearance: normal before, then the chance that the 8 enters, feel 0.25.
    grid = np.linspace(expected - 9 * sd, expected + 30 * sd, 200_001)
    weight = norm.pdf(grid, expected, sd) * norm.cdf((grid - 8.0) / 0.25)
    mean = float((grid * weight).sum() / weight.sum())
    variance = float(((grid - mean) ** 2 * weight).sum() / weight.sum())
    ((middle, spread),) = _stands_for(np.array([8.0]), np.array([expected]), np.array([sd]))
    precision = 1.0 / sd**2 + 1.0 / spread
    assert 1.0 / precision == pytest.approx(variance, rel=1e-4)
    assert (expected / sd**2 + middle / spread) / precision == pytest.approx(mean, rel=1e-4)


def test_a_reading_open_above_is_followed_and_a_sure_one_says_nothing() -> None:
    table = readings()
    wear = ClearanceWear("tip").fit(table)
    at = ["K2"], [1], np.array([6.0])
    before, _ = Followed.of(wear, table, "tip").clearance_at(*at)
    place = (table["unit"] == "K2") & (table["build"] == 1) & (table["age"] == 6.0)

    def read_over(least: float) -> float:
        open_above = table.assign(
            low_thou=table["low_thou"].where(~place, least),
            high_thou=table["high_thou"].where(~place),
        )
        return float(Followed.of(wear, open_above, "tip").clearance_at(*at)[0][0])

    none, _ = Followed.of(wear, table[~place], "tip").clearance_at(*at)
    assert read_over(9.0) > float(before[0]) + 2.0
    assert read_over(0.5) == pytest.approx(float(none[0]), abs=0.02)


def test_end_stations_of_a_look_count_half() -> None:
    # By the trapezoidal rule: (5.2 / 2 + 4.0 + 5.6 / 2) / 2 = 4.7; the plain mean is 4.933.
    table = readings()
    place = (table["unit"] == "K2") & (table["build"] == 1) & (table["age"] == 6.0)
    wear = ClearanceWear("tip").fit(table)

    def followed(stations: list[str], values: list[float]) -> float:
        look = pd.concat([table[place]] * len(values), ignore_index=True)
        look = look.assign(low_thou=values, high_thou=values, station=stations)
        whole = pd.concat([table[~place].assign(station=None), look], ignore_index=True)
        usable = _usable(whole, "tip", wear)
        mine = usable[(usable["unit"] == "K2") & (usable["build"] == 1) & (usable["age"] == 6.0)]
        # Variance of the weighted mean: (1/4)^2 + (1/2)^2 + (1/4)^2 of one reading's 1/12.
        expected = 0.375 / 12.0 if len(values) > 1 else 1.0 / 12.0
        assert float(mine["variance"].iloc[0]) == pytest.approx(expected)
        return float(mine["middle"].iloc[0])

    values = [5.2, 4.0, 5.6]
    assert followed(["front", "center", "rear"], values) == pytest.approx(4.7)
    assert followed(["1.0", "9.5", "18"], values) == pytest.approx(4.7)
    assert followed(["rear"], [5.6]) == pytest.approx(5.6)


def test_a_reading_open_above_that_was_sure_spoils_no_look() -> None:
    table = readings()
    wear = ClearanceWear("tip").fit(table)
    place = (table["unit"] == "K2") & (table["build"] == 1) & (table["age"] == 6.0)
    sure = table[place].assign(low_thou=3.0, high_thou=np.nan)

    def look(whole: pd.DataFrame) -> np.ndarray:
        usable = _usable(whole, "tip", wear)
        mine = usable[(usable["unit"] == "K2") & (usable["build"] == 1) & (usable["age"] == 6.0)]
        return np.asarray(mine[["middle", "variance"]].to_numpy(float)[0])

    alone, both = look(table), look(pd.concat([table, sure], ignore_index=True))
    assert both == pytest.approx(alone, rel=0.02)
    assert both[1] < alone[1]

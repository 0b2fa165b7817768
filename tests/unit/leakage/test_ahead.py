"""Rows to come against one dense normal distribution, and the boost that is said of a meet."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from wearstats.errors import TooFewError, UsageError
from wearstats.leakage import BoostAhead, LeakFit, LeakModel
from wearstats.leakage.balance import REFERENCE_PSI
from wearstats.leakage.crossed import Groups, fit_crossed
from wearstats.leakage.crossed_ahead import rows_ahead
from wearstats.lives import boost_rows, clearance_readings, lives_of
from wearstats.wear import fit_paths
from wearstats_synthetic import simulate


@pytest.mark.parametrize(("seed", "small"), [(1, "build"), (2, "build"), (3, None)])
def test_rows_to_come_are_those_of_one_dense_normal(seed: int, small: str | None) -> None:
    # y and y* are normal together: V = rest I + sum of variance Z Z' + X P X', flat mean apart.
    rng = np.random.default_rng(seed)
    rows, ahead = 60, 6
    old = {
        "unit": rng.integers(0, 4, rows),
        "meet": rng.integers(0, 6, rows),
        "build": rng.integers(0, 15, rows),
    }
    groups = {name: Groups.of([int(one) for one in codes]) for name, codes in old.items()}
    slope = rng.normal(size=(rows, 2))
    response = 2.0 + slope @ [0.4, -0.3] + 0.3 * rng.normal(size=rows)
    for codes, spread in zip(old.values(), (0.5, 0.4, 0.6), strict=True):
        response = response + spread * rng.normal(size=codes.max() + 1)[codes]
    prior = np.array([0.5, 0.2])
    fit = fit_crossed(
        response, np.ones((rows, 1)), slope, prior, groups, small=small, unsure="meet"
    )
    new = {
        "unit": np.array([0, 0, 1, 1, -1, 2]),
        "meet": np.array([-1, -1, -1, -1, -1, 3]),
        "build": np.array([0, -7, 2, 2, -7, 5]),
    }
    further = rng.normal(size=(ahead, 2))
    design = np.column_stack([np.ones(ahead), further])
    assert len(fit.solved) > 10
    for solved in fit.solved[::5]:
        mean, covariance = rows_ahead(solved, design, new)
        all_slopes = np.concatenate([slope, further])
        whole = solved.variances["rest"] * np.eye(rows + ahead)
        whole += all_slopes @ np.diag(prior**2) @ all_slopes.T
        for name, group in groups.items():
            codes = np.concatenate([group.codes, new[name]])
            whole += solved.variances[name] * (codes[:, np.newaxis] == codes)
        cross = np.linalg.solve(whole[:rows, :rows], whole[:rows, rows:])
        ones = np.linalg.solve(whole[:rows, :rows], np.ones(rows))
        level = float(ones @ response / ones.sum())
        expected = level + cross.T @ (response - level)
        open_mean = 1.0 - cross.sum(axis=0)
        spread_of = whole[rows:, rows:] - whole[rows:, :rows] @ cross
        spread_of = spread_of + np.outer(open_mean, open_mean) / ones.sum()
        assert mean == pytest.approx(expected, rel=1e-8, abs=1e-8)
        assert covariance == pytest.approx(spread_of, rel=1e-8, abs=1e-8)


def test_mean_of_one_normal_by_hand() -> None:
    spread = np.array([[[0.0004, 0.0001], [0.0001, 0.0009]]])
    said = BoostAhead("K1", np.ones(1), np.full((1, 2), 0.9), spread)
    found = said.mean_psi(0.9)
    reach = norm.ppf(0.95) * np.sqrt((0.0004 + 0.0009 + 2 * 0.0001) / 4.0)
    ends = [REFERENCE_PSI * np.expm1(0.9 + off) for off in (0.0, -reach, reach)]
    assert [found.estimate, found.low, found.high] == pytest.approx(ends, rel=1e-9)
    one = said.mean_psi(0.9, np.array([True, False]))
    assert one.high == pytest.approx(REFERENCE_PSI * np.expm1(0.9 + norm.ppf(0.95) * 0.02))
    with pytest.raises(UsageError):
        said.mean_psi(0.9, np.zeros(2, dtype=bool))


def test_ends_of_a_mixture_hold_their_share() -> None:
    chances, means, sds = np.array([0.3, 0.7]), np.array([0.8, 0.9]), np.array([0.01, 0.05])
    said = BoostAhead("K1", chances, means[:, np.newaxis], (sds**2)[:, np.newaxis, np.newaxis])
    high = brentq(lambda at: float(chances @ norm.cdf(at, means, sds)) - 0.95, 0.0, 2.0)
    assert said.mean_psi(0.9).high == pytest.approx(REFERENCE_PSI * np.expm1(high), rel=1e-9)


@pytest.fixture(scope="module")
def fit() -> LeakFit:
    season = simulate(1, meets=5, units=3).records
    lives = lives_of(season)
    readings = clearance_readings(season, lives)
    model = LeakModel(draws=50)
    rows = boost_rows(season, lives)
    return model.fit(rows, fit_paths(readings), season.units, readings=readings)


def a_meet(fit: LeakFit, **changed: float) -> pd.DataFrame:
    last = fit.corrected[fit.corrected["why"] == ""].groupby("unit", sort=False).tail(1)
    rows = last[["unit", "build", "age", "overdrive_pct", "engine_speed_rpm", "air_temperature_f"]]
    return rows.assign(**changed)


def said_of(fit: LeakFit, rows: pd.DataFrame) -> BoostAhead:
    found = next(iter(fit.boost_ahead(rows).values()))
    assert isinstance(found, BoostAhead)
    return found


def test_the_same_run_again_comes_near_what_the_fit_makes_of_it(fit: LeakFit) -> None:
    used = fit.corrected[fit.corrected["why"] == ""].groupby("unit").tail(1)
    predicted = dict(zip(used["unit"], used["predicted_psi"].to_numpy(float), strict=True))
    for unit, said in fit.boost_ahead(a_meet(fit)).items():
        assert isinstance(said, BoostAhead)
        mean = said.mean_psi(0.9)
        assert mean.low is not None
        assert mean.high is not None
        assert mean.low < predicted[unit] < mean.high
        assert mean.estimate == pytest.approx(predicted[unit], abs=1.5)


def test_more_overdrive_makes_more_boost_and_new_strips_widen_it(fit: LeakFit) -> None:
    now = said_of(fit, a_meet(fit))
    overdrive = float(a_meet(fit)["overdrive_pct"].iloc[0])
    faster = said_of(fit, a_meet(fit, overdrive_pct=overdrive + 5.0))
    assert (faster.log_ratio > now.log_ratio + 0.01).all()
    assert faster.mean_psi(0.9).estimate == pytest.approx(
        now.mean_psi(0.9).estimate or 0.0, rel=0.3
    )
    older = said_of(fit, a_meet(fit, age=float(a_meet(fit)["age"].iloc[0]) + 10.0))
    assert older.log_ratio[7, 0] < now.log_ratio[7, 0]
    blank = said_of(fit, a_meet(fit, overdrive_pct=np.nan, engine_speed_rpm=np.nan))
    assert blank.log_ratio == pytest.approx(now.log_ratio, abs=1e-9)


def test_a_clearance_off_before_is_in_the_level_of_its_build(fit: LeakFit) -> None:
    rows = a_meet(fit).iloc[:1].reset_index(drop=True)
    unit, wear = str(rows["unit"].iloc[0]), fit.known.wears["tip"]

    def sd_at(build: float, age: float) -> float:
        return float(wear.clearance_at([unit], [build], np.array([age]))[1][0])

    build, age = float(rows["build"].iloc[0]), float(rows["age"].iloc[0])
    for more, on in ((0.0, build), (4.0, build), (4.0, build + 1.0)):
        later = rows.assign(age=age + more, build=on)
        sd = np.array([sd_at(on, age + more)])
        before = sd_at(build, age) if on == build else 0.0
        found = fit.known._unknown_thou(unit, later, sd)
        assert found**2 == pytest.approx(sd**2 - before**2, abs=1e-12)


def test_who_cannot_be_told_of_says_why(fit: LeakFit) -> None:
    rows = a_meet(fit)
    assert set(fit.boost_ahead(rows.assign(unit="K99")).values()) == {
        "no usable boost of it was on record"
    }
    said = set(fit.boost_ahead(rows.assign(overdrive_pct=-90.0)).values())
    assert said == {"displacements and overdrive as entered give no boost"}


def test_two_meets_cannot_tell_of_the_next() -> None:
    season = simulate(1, meets=5, units=3).records
    lives = lives_of(season)
    readings = clearance_readings(season, lives)
    rows = boost_rows(season, lives)
    rows = rows.assign(meet=np.where(np.arange(len(rows)) % 2, "M", "N"))
    fit = LeakModel(draws=50).fit(rows, fit_paths(readings), season.units, readings=readings)
    with pytest.raises(TooFewError, match="of 2 meets"):
        fit.boost_ahead(rows)

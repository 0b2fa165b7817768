import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.leakage import BoostFit, BoostModel, no_leak_ratio, swept_ratio
from wearstats.units import INHG_PA, PSI_PA, STANDARD_PRESSURE_PA

PER_THOU = 0.007  # log of the pressure ratio lost per thou


class LineOfWear:
    """A wear fit that knows the truth: 4 thou at a restrip, 0.2 a run."""

    def __init__(self, growth_sd: float = 0.0) -> None:
        self.growth_sd = growth_sd

    def clearance_at(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        assert len(unit) == len(build)
        ages = np.asarray(age, float)
        return 4.0 + 0.2 * ages, np.full(len(ages), 0.1)

    def growth(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        assert len(unit) == len(build)
        ages = np.asarray(age, float)
        return 0.2 * ages, np.full(len(ages), self.growth_sd)


def season(units: int = 4, noise: float = 0.01, seed: int = 5) -> pd.DataFrame:
    """Two builds of ten runs for each unit, over six meets in changing weather."""
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(units):
        level = 1.2 + 0.03 * rng.normal()
        for run in range(20):
            age = run % 10 + 1
            meet = run * 6 // 20
            inhg = 29.9 - 0.3 * meet
            log_ratio = level - PER_THOU * (4.0 + 0.2 * age) + noise * rng.normal()
            boost = inhg * INHG_PA * math.expm1(log_ratio) / PSI_PA
            day = pd.Timestamp("2026-05-01") + pd.Timedelta(days=14 * meet)
            rows.append(
                (f"K{number}", run // 10 + 1, float(age), day, f"meet {meet}", boost, 40.0, inhg)
            )
    return pd.DataFrame(
        rows,
        columns=[
            *("unit", "build", "age", "date", "meet"),
            *("boost_psi", "overdrive_pct", "barometer_inhg"),
        ],
    ).assign(strips=None, engine_speed_rpm=math.nan)


def sizes(units: int = 4, engine: float = 500.0) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit": [f"K{number}" for number in range(units)],
            "displacement_in3": 500.0,
            "engine_displacement_in3": engine,
        }
    )


@pytest.fixture(scope="module")
def fit() -> BoostFit:
    return BoostModel().fit(season(), LineOfWear(0.3), sizes())


def test_a_season_without_noise_gives_the_truth() -> None:
    fit = BoostModel().fit(season(noise=1e-4), LineOfWear(), sizes())
    truth = PER_THOU * fit.mean_ratio * STANDARD_PRESSURE_PA / PSI_PA
    # The noise of 1e-4 leaves about 1e-4 / (0.57 thou * sqrt(80)) = 2e-5 of 0.007: 0.3 %.
    assert fit.psi_per_thou.estimate == pytest.approx(truth, rel=1e-2)
    assert fit.psi_per_thou.unit == "psi per thou"


def test_counts(fit: BoostFit) -> None:
    assert (fit.rows, fit.units, fit.meets) == (80, 4, 6)
    assert fit.left_out == ()


def test_lost_since_restrip_is_the_effect_times_the_growth(fit: BoostFit) -> None:
    lost = fit.lost_since_restrip("K2")
    per_thou = fit.psi_per_thou
    assert lost.estimate is not None
    assert per_thou.estimate is not None
    scale = fit.unit_ratio["K2"] / fit.mean_ratio
    assert lost.estimate == pytest.approx(per_thou.estimate * 2.0 * scale)
    assert lost.note == "with 10 runs on the strips"


def test_lost_carries_the_uncertainty_of_both(fit: BoostFit) -> None:
    # By hand: Var(xy) = x^2 v + y^2 u + u v for independent x (variance u) and y (variance v).
    sure = BoostModel().fit(season(), LineOfWear(0.0), sizes()).lost_since_restrip("K2")
    unsure = fit.lost_since_restrip("K2")
    assert sure.high is not None
    assert sure.estimate is not None
    assert unsure.high is not None
    scale = fit.unit_ratio["K2"] / fit.mean_ratio
    per_thou = fit.psi_per_thou
    assert per_thou.estimate is not None
    assert per_thou.high is not None
    half = (per_thou.high - per_thou.estimate) * scale
    effect = per_thou.estimate * scale
    assert sure.high - sure.estimate == pytest.approx(2.0 * half)
    critical = half / (scale * math.sqrt(fit.line.covariance[1, 1]) * 14.695949 * fit.mean_ratio)
    error = half / critical
    by_hand = critical * math.sqrt((effect * 0.3) ** 2 + (2.0 * error) ** 2 + (error * 0.3) ** 2)
    assert unsure.high - sure.estimate == pytest.approx(by_hand, rel=1e-6)


def test_corrected_rows_are_at_the_standard_barometer(fit: BoostFit) -> None:
    rows = season()
    assert len(fit.corrected) == len(rows)
    expected = rows["boost_psi"] * STANDARD_PRESSURE_PA / (rows["barometer_inhg"] * INHG_PA)
    assert fit.corrected["boost_norm_psi"].to_numpy() == pytest.approx(expected.to_numpy())
    assert (fit.corrected["why"] == "").all()
    miss = fit.corrected["boost_norm_psi"] - fit.corrected["predicted_psi"]
    assert abs(miss.mean()) < 0.1
    assert miss.std() < 0.6  # 1 % of 45 psi absolute


def test_altitude_does_not_look_like_leakage() -> None:
    low = season()
    high = low.assign(
        barometer_inhg=low["barometer_inhg"] * 0.85, boost_psi=low["boost_psi"] * 0.85
    )
    first = BoostModel().fit(low, LineOfWear(), sizes()).psi_per_thou
    second = BoostModel().fit(high, LineOfWear(), sizes()).psi_per_thou
    assert second.estimate == pytest.approx(first.estimate, rel=1e-9)


def test_rows_left_out_are_counted_and_kept_in_the_corrected_frame() -> None:
    rows = season()
    rows.loc[0, "boost_psi"] = math.nan
    rows.loc[1, "boost_psi"] = 0.0
    rows.loc[[2, 3], "barometer_inhg"] = math.nan
    rows.loc[4, "strips"] = "burned"
    rows.loc[5, "build"] = math.nan
    rows.loc[6, "overdrive_pct"] = math.nan
    rows.loc[7, "strips"] = "hot"
    rows["left_out"] = np.arange(len(rows)) >= 77
    fit = BoostModel().fit(rows, LineOfWear(), sizes())
    assert {out.reason: out.count for out in fit.left_out} == {
        "build set aside": 3,
        "no boost logged": 1,
        "boost of 0 or less": 1,
        "no barometer": 2,
        "strips had failed": 1,
        "no tip clearance known": 1,
        "no overdrive": 1,
    }
    assert fit.rows == 70
    assert len(fit.corrected) == 80
    assert fit.corrected["predicted_psi"].notna().sum() == 70


def test_strips_nobody_saw_sound_since_do_not_count_as_wear() -> None:
    # From age 6 on the strips have burned unseen and cost 6 % more: no line of wear shows it.
    rows = season(noise=0.001)
    burned = rows["age"] > 6
    air = rows["barometer_inhg"] * INHG_PA / PSI_PA
    rows["boost_psi"] = (rows["boost_psi"] + air) * np.where(burned, 0.94, 1.0) - air
    fooled = BoostModel().fit(rows, LineOfWear(), sizes())
    fit = BoostModel().fit(rows.assign(known_sound=~burned), LineOfWear(), sizes())
    assert {out.reason: out.count for out in fit.left_out} == {
        "nobody has seen these strips sound since": int(burned.sum())
    }
    truth, honest = BoostModel().fit(season(noise=0.001), LineOfWear(), sizes()), fit.psi_per_thou
    assert honest.low is not None
    assert honest.high is not None
    assert truth.psi_per_thou.estimate is not None
    assert honest.low < truth.psi_per_thou.estimate < honest.high
    assert fooled.psi_per_thou.low is not None
    assert fooled.psi_per_thou.low > truth.psi_per_thou.estimate


def test_where_nobody_ever_looks_all_runs_are_taken_and_it_is_said() -> None:
    fit = BoostModel().fit(season().assign(known_sound=False), LineOfWear(), sizes())
    assert fit.rows == 80
    assert any("what burned strips cost" in warning for warning in fit.warnings)


def test_no_barometer_anywhere_is_taken_as_standard_and_said() -> None:
    fit = BoostModel().fit(season().assign(barometer_inhg=math.nan), LineOfWear(), sizes())
    assert fit.rows == 80
    assert any("no row has a barometer" in warning for warning in fit.warnings)


def test_a_sea_level_barometer_in_hectopascal_is_refused() -> None:
    with pytest.raises(ObservationError, match="not a station pressure"):
        BoostModel().fit(season().assign(barometer_inhg=1013.0), LineOfWear(), sizes())


def with_overdrives() -> pd.DataFrame:
    """The season with overdrive changed at every other meet, as the physics has it."""
    rows = season()
    over = np.where(rows["meet"].isin(["meet 1", "meet 3", "meet 5"]), 50.0, 40.0)
    ratios = no_leak_ratio(swept_ratio(np.array([1.5, 1.4]), 500.0, 500.0), heat_share=0.35)
    pressure = rows["barometer_inhg"] * INHG_PA / PSI_PA
    absolute = (pressure + rows["boost_psi"]) * np.where(over > 45.0, ratios[0] / ratios[1], 1.0)
    return rows.assign(overdrive_pct=over, boost_psi=absolute - pressure)


def test_overdrive_is_computed_where_displacements_are_known() -> None:
    fit = BoostModel().fit(with_overdrives(), LineOfWear(), sizes())
    plain = BoostModel().fit(season(), LineOfWear(), sizes())
    assert fit.line.names == ("level", "tip clearance")
    # The same numbers but for a constant: what is left is where the optimiser stops.
    assert fit.line.coefficients[1] == pytest.approx(plain.line.coefficients[1], rel=1e-5)


@pytest.mark.parametrize(
    ("units", "said"),
    [
        (sizes().assign(displacement_in3=math.nan), "not entered for every unit"),
        (sizes(3), "not entered for every unit"),
        (sizes(engine=5000.0), "would give no boost"),
    ],
)
def test_overdrive_is_fitted_where_they_are_not(units: pd.DataFrame, said: str) -> None:
    fit = BoostModel().fit(with_overdrives(), LineOfWear(), units)
    assert fit.line.names == ("level", "tip clearance", "ln overdrive ratio")
    assert any(said in warning for warning in fit.warnings)
    # By the physics from 40 to 50 % over: ln of the ratios of no-leak ratio over that of drive.
    ratios = no_leak_ratio(swept_ratio(np.array([1.5, 1.4]), 500.0, 500.0), heat_share=0.35)
    slope = math.log(ratios[0] / ratios[1]) / math.log(1.5 / 1.4)
    error = fit.line.standard_error(np.array([0.0, 0.0, 1.0]))
    assert abs(fit.line.coefficients[2] - slope) < 4.0 * error


def test_engine_speed_is_used_where_every_row_has_it_and_said_where_not() -> None:
    rows = season()
    speed = np.where(np.arange(len(rows)) % 2, 8000.0, 8200.0)
    used = BoostModel().fit(rows.assign(engine_speed_rpm=speed), LineOfWear(), sizes())
    assert "ln engine speed" in used.line.names
    speed[3] = math.nan
    not_used = BoostModel().fit(rows.assign(engine_speed_rpm=speed), LineOfWear(), sizes())
    assert "ln engine speed" not in not_used.line.names
    assert any("missing on 1 rows" in warning for warning in not_used.warnings)


def test_two_units_get_a_level_each() -> None:
    fit = BoostModel().fit(season(units=2), LineOfWear(), sizes(2))
    assert fit.line.names == ("level", "tip clearance", "unit K1")
    assert any("only 2 units" in warning for warning in fit.warnings)
    assert fit.psi_per_thou.low is not None


def test_without_a_wear_fit_the_measured_clearance_is_used_and_the_pull_said() -> None:
    rows = season()
    tip = 4.0 + 0.2 * rows["age"]
    some = rows.assign(
        tip_low_thou=np.where(rows["age"] % 2 == 0, tip - 0.5, math.nan),
        tip_high_thou=np.where(rows["age"] % 2 == 0, tip + 0.5, math.nan),
    )
    fit = BoostModel().fit(some, None, sizes())
    assert fit.rows == 40
    assert any("toward nought" in warning for warning in fit.warnings)
    with pytest.raises(ObservationError, match="needs a fit of its tip clearance"):
        fit.lost_since_restrip("K1")


def test_without_any_clearance_nothing_can_be_told() -> None:
    with pytest.raises(TooFewError, match=r"80 left out \(no tip clearance known\)"):
        BoostModel().fit(season(), None, sizes())


def test_a_clearance_that_never_changes_is_refused() -> None:
    with pytest.raises(TooFewError, match="hardly changes"):
        BoostModel().fit(season().assign(age=3.0), LineOfWear(), sizes())


def test_a_clearance_that_changes_by_less_than_a_feeler_tells_is_refused() -> None:
    # readings all of 4 thou: the fitted line moves by rounding alone
    class Flat(LineOfWear):
        def clearance_at(
            self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
        ) -> tuple[FloatArray, FloatArray]:
            tip, sd = super().clearance_at(unit, build, age)
            return 4.0 + 1e-14 * tip, sd

    with pytest.raises(TooFewError, match="hardly changes"):
        BoostModel().fit(season(), Flat(), sizes())


def test_a_missing_column_is_named() -> None:
    with pytest.raises(ObservationError, match="barometer_inhg"):
        BoostModel().fit(season().drop(columns="barometer_inhg"), LineOfWear(), sizes())


def test_an_unknown_unit_is_refused_with_the_known_ones(fit: BoostFit) -> None:
    with pytest.raises(UsageError, match="K0, K1, K2, K3"):
        fit.lost_since_restrip("K9")


def test_a_level_is_a_share(fit: BoostFit) -> None:
    with pytest.raises(UsageError, match="between 0 and 1"):
        fit.lost_since_restrip("K1", 90.0)


def test_fitting_leaves_the_rows_alone() -> None:
    rows = season()
    before = rows.copy(deep=True)
    BoostModel().fit(rows, LineOfWear(), sizes())
    pd.testing.assert_frame_equal(rows, before)

"""The leakage model: what it finds, what widens it, what it says and what it refuses."""

import dataclasses
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.leakage import LeakFit, LeakModel, SlipTest, slip_multiplier, slip_speed
from wearstats.leakage.balance import Balance
from wearstats.leakage.expected import ExpectedLoss
from wearstats.leakage.geometry import leak_area, swept_ratio
from wearstats.leakage.machines import machines_of
from wearstats.leakage.physics import leakage_number, pressure_ratio
from wearstats.leakage.running import running_tip
from wearstats.leakage.slip import SLOW_TIP_SHARE
from wearstats.leakage.slot import slot_table
from wearstats.units import INCH_MM, INHG_PA, PSI_PA, STANDARD_PRESSURE_PA

INCH = INCH_MM / 1000.0
THOU = INCH / 1000.0
RATE, START = 0.25, 4.0


class LineOfWear:
    """Clearance known as a line in age, with a spread of our choice."""

    def __init__(self, sd: float = 0.05, start: float = START, rate: float = RATE) -> None:
        self.sd, self.start, self.rate = sd, start, rate

    def clearance_at(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        del unit, build
        ages = np.asarray(age, float)
        return self.start + self.rate * ages, np.full(len(ages), self.sd)

    def growth(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        del unit, build
        ages = np.asarray(age, float)
        return self.rate * ages, np.full(len(ages), self.sd)


WEARS = {
    "tip": LineOfWear(),
    "mesh": LineOfWear(start=4.0, rate=0.0),
    "end": LineOfWear(start=6.0, rate=0.0),
}


def truth_psi(tip_thou: FloatArray, multiplier: float, drive: float = 1.4) -> FloatArray:
    """Boost at the standard barometer: areas, friction and balance written out once more."""
    hot = running_tip(tip_thou, bore_radius_in=2.9).thou
    cd = slot_table()
    # Mesh and ends as heat leaves them: 4 in between shafts, 19 in long (magnesium, aluminium).
    mesh = 4.0 + 4000.0 * (26e-6 * 20.0 - 23.4e-6 * 25.0)
    end = 6.0 + 19_000.0 * (26e-6 * 20.0 - 23.4e-6 * 25.0) / 2.0
    boost = 14.696 * 2.5
    area = leak_area(
        hot * cd.coefficient(hot, boost) * THOU,
        mesh * cd.coefficient(mesh, boost) * THOU,
        end * cd.coefficient(end, boost) * THOU,
        end * cd.coefficient(end, boost) * THOU,
        rotor_length=19.0 * INCH,
        rotor_diameter=5.8 * INCH,
    ).total
    number = leakage_number(
        area,
        engine_speed=8000.0 / 60.0,
        engine_displacement=500.0 * INCH**3,
        inlet_temperature=298.15,
        discharge_coefficient=1.0,
        multiplier=multiplier,
    )
    point = pressure_ratio(swept_ratio(drive, 500.0, 500.0), number, heat_share=0.35)
    return (point.pressure_ratio - 1.0) * STANDARD_PRESSURE_PA / PSI_PA


def season(
    multiplier: float = 1.0, units: int = 4, builds: int = 3, noise: float = 0.004
) -> pd.DataFrame:
    rng = np.random.default_rng(7)
    ages = np.arange(1.0, 13.0)
    true_ratio = 1.0 + truth_psi(START + RATE * ages, multiplier) / 14.6959
    rows = []
    for unit in range(units):
        level = 0.02 * rng.normal()
        for build in range(1, builds + 1):
            for age, ratio in zip(ages, true_ratio, strict=True):
                hg = 29.2 + 0.3 * rng.normal()
                shown = hg * INHG_PA / PSI_PA * (ratio * np.exp(level + noise * rng.normal()) - 1.0)
                day = f"2026-0{4 + build}-{1 + (int(age) - 1) // 4 + 7 * (unit % 2):02d}"
                rows.append((f"K{unit}", build, age, pd.Timestamp(day), shown, hg))
    names = ["unit", "build", "age", "date", "boost_psi", "barometer_inhg"]
    return pd.DataFrame(rows, columns=names).assign(
        meet=None,
        overdrive_pct=40.0,
        engine_speed_rpm=8000.0,
        air_temperature_f=77.0,
        strips=None,
    )


def sizes(units: int = 4) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit": [f"K{unit}" for unit in range(units)],
            "displacement_in3": 500.0,
            "engine_displacement_in3": 500.0,
            "rotor_length_in": 19.0,
            "rotor_diameter_in": 5.8,
        }
    )


@pytest.fixture(scope="module")
def fit() -> LeakFit:
    return LeakModel().fit(season(), WEARS, sizes())


def width(estimate: object) -> float:
    low, high = getattr(estimate, "low"), getattr(estimate, "high")  # noqa: B009
    return float(high - low)


@pytest.mark.parametrize("multiplier", [0.6, 1.0, 1.6])
def test_the_multiplier_and_the_loss_are_found(multiplier: float) -> None:
    found = LeakModel().fit(season(multiplier, noise=0.001), WEARS, sizes())
    theta = found.multiplier_estimate
    assert theta.low is not None
    assert theta.high is not None
    assert theta.low < multiplier < theta.high
    fresh, worn = truth_psi(np.array([START, START + 12 * RATE]), multiplier)
    lost = found.lost_since_restrip("K1")
    assert lost.estimate == pytest.approx(float(fresh - worn), rel=0.2)
    assert lost.low is not None
    assert lost.high is not None
    assert lost.low < fresh - worn < lost.high


@pytest.mark.parametrize("at", [0.5, 1.0, 2.0])
def test_the_line_touches_the_balance_where_it_is_laid(at: float) -> None:
    rows, step = season(units=2, builds=1), 1e-4
    none = np.full(len(rows), 0.9)
    machines = machines_of(rows, sizes(2), none, 0.35)
    balance = Balance.of(machines, slot_table(), 0.35)
    hot = np.stack([2.0 + 0.2 * rows["age"].to_numpy(), none + 3.0, none + 5.0])
    line = ExpectedLoss.about(at, balance, hot)
    above, below = (ExpectedLoss.about(at + each, balance, hot) for each in (step, -step))
    assert line.with_multiplier(at) == pytest.approx(line.loss, rel=1e-14)
    assert (above.loss - below.loss) / (2 * step) == pytest.approx(line.slope, rel=1e-5)
    thou = np.array([[0.01], [0.0], [0.0]])
    wider, tighter = (ExpectedLoss.about(at, balance, hot + each).loss for each in (thou, -thou))
    # The slot coefficient comes from a table: its slope is a chord's.
    assert (wider - tighter) / 0.02 == pytest.approx(line.per_thou, rel=0.02)
    # It bends: a line laid elsewhere misses it to one side.
    assert (line.with_multiplier(1.5 * at) > ExpectedLoss.about(1.5 * at, balance, hot).loss).all()


def test_paths_add_up_and_the_tip_carries_what_wore(fit: LeakFit) -> None:
    # Medians do not add exactly; means of draws do.
    whole = fit.lost.since.sum(axis=0).mean()
    assert fit.lost.since.mean(axis=1).sum(axis=0).mean() == pytest.approx(whole, rel=1e-12)
    by_path = fit.since_restrip_by_path("K0")
    tip, mesh = by_path["tip"].estimate, by_path["mesh"].estimate
    assert tip is not None
    assert mesh is not None
    assert tip > 10.0 * abs(mesh)
    total = fit.lost_in_all("K0").estimate
    assert total is not None
    assert total > 2.0 * tip


def test_a_thou_is_worth_what_one_more_thou_costs(fit: LeakFit) -> None:
    theta = float(fit.multiplier_estimate.estimate or 0.0)
    at = START + 12 * RATE
    less, more = truth_psi(np.array([at - 0.5, at + 0.5]), theta)
    worth = fit.worth("K2")
    assert worth["tip"].estimate == pytest.approx(float(less - more), rel=0.05)
    assert set(worth) == {"tip", "mesh", "end"}


@pytest.mark.parametrize("overdrive", [25.0, 55.0])
def test_a_thou_at_another_overdrive_is_worth_what_it_costs_there(
    fit: LeakFit, overdrive: float
) -> None:
    theta = float(fit.multiplier_estimate.estimate or 0.0)
    at, drive = START + 12 * RATE, 1.0 + overdrive / 100.0
    less, more = truth_psi(np.array([at - 0.5, at + 0.5]), theta, drive)
    worth = float(np.median(fit.fleet_worth(overdrive)["tip"]))
    # The slot's coefficient is taken at one boost here: a few percent.
    assert worth == pytest.approx(float(less - more), rel=0.06)
    now = float(np.median(fit.fleet_worth()["tip"]))
    assert (worth > now) == (overdrive > 40.0)


def test_at_the_overdrive_as_run_nothing_changes(fit: LeakFit) -> None:
    for path, worth in fit.fleet_worth(40.0).items():
        assert worth == pytest.approx(fit.fleet_worth()[path], rel=1e-12)


def test_a_percent_or_two_over_is_no_drive_ratio(fit: LeakFit) -> None:
    worth = {over: float(np.median(fit.fleet_worth(over)["tip"])) for over in (0.0, 1.5, 3.0)}
    assert worth[0.0] < worth[1.5] < worth[3.0] < float(np.median(fit.fleet_worth(10.0)["tip"]))


@pytest.mark.parametrize("overdrive", [-50.0, 400.0])
def test_an_overdrive_without_a_balance_is_refused(fit: LeakFit, overdrive: float) -> None:
    with pytest.raises(ObservationError, match="no boost, or heat without end"):
        fit.fleet_worth(overdrive)


def test_a_clearance_less_well_known_widens_the_loss(fit: LeakFit) -> None:
    unsure = {**WEARS, "tip": LineOfWear(sd=0.8)}
    wider = LeakModel().fit(season(), unsure, sizes())
    assert width(wider.lost_since_restrip("K1")) > 1.3 * width(fit.lost_since_restrip("K1"))
    assert width(wider.fleet_since_restrip()) > width(fit.fleet_since_restrip())
    # In quadrature: a thou at the tip is worth w psi, so 0.8 thou add 0.8 w.
    worth = float(fit.worth("K1")["tip"].estimate or 0.0)
    added = np.std(wider.lost.since[0, :, 1]) ** 2 - np.std(fit.lost.since[0, :, 1]) ** 2
    assert np.sqrt(added) == pytest.approx(0.8 * worth, rel=0.15)


def test_heat_widens_the_total_and_hardly_what_was_lost_since(fit: LeakFit) -> None:
    from wearstats.leakage import Warmth

    known = LeakModel(warmth=Warmth(25.0, 0.0, 20.0, 0.0)).fit(season(), WEARS, sizes())
    assert width(known.lost_in_all("K1")) < 0.8 * width(fit.lost_in_all("K1"))
    since = (width(each.lost_since_restrip("K1")) for each in (known, fit))
    assert next(since) == pytest.approx(next(since), rel=0.15)


def test_few_runs_rest_on_the_prior_and_are_said_to() -> None:
    few = LeakModel().fit(season(units=1, builds=1, noise=0.01), WEARS, sizes())
    assert any("rest on the prior" in caution for caution in few.cautions)
    assert any("hardly moved by the data" in said for said in few.not_told_apart)
    assert few.multiplier.width_over_prior > 0.8
    assert few.sizes.restrips == 0


def test_many_runs_narrow_the_prior(fit: LeakFit) -> None:
    assert fit.multiplier.width_over_prior < 0.6
    before = fit.multiplier.before(0.95)
    # The prior of ln theta, N(0, 0.35^2), in 95 %: exp(-+1.96 x 0.35), by hand.
    assert (before.estimate, before.low, before.high) == pytest.approx((1.0, 0.50, 1.99), abs=5e-3)
    assert not any("hardly moved" in said for said in fit.not_told_apart)
    assert any("variance inflation" in said for said in fit.not_told_apart)
    assert (fit.sizes.runs, fit.sizes.units, fit.sizes.restrips) == (144, 4, 8)


def test_a_clearance_nobody_measured_is_said_and_two_thou_uncertain(fit: LeakFit) -> None:
    alone = LeakModel().fit(season(), {"tip": WEARS["tip"]}, sizes())
    assert any("mesh clearance was never measured" in caution for caution in alone.cautions)
    assert width(alone.lost_in_all("K1")) > width(fit.lost_in_all("K1"))


def test_sizes_not_entered_are_stood_in_for_and_said(fit: LeakFit) -> None:
    bare = sizes()[["unit", "displacement_in3"]]
    found = LeakModel().fit(season().drop(columns="engine_speed_rpm"), WEARS, bare)
    said = " ".join(found.cautions)
    for words in ("rotor diameter", "engine displacement", "no engine speed on every run"):
        assert words in said
    got, wanted = found.lost_since_restrip("K1").estimate, fit.lost_since_restrip("K1").estimate
    assert got == pytest.approx(wanted, rel=0.2)


def test_a_slip_test_takes_the_place_of_the_prior(fit: LeakFit) -> None:
    table = slot_table()
    gaps = np.array([4.0, 4.0, 6.0, 6.0])
    area = leak_area(
        *(gaps * table.coefficient(gaps, 5.0) * THOU),
        rotor_length=19.0 * INCH,
        rotor_diameter=5.8 * INCH,
        tip_share=SLOW_TIP_SHARE,
    ).total
    density = STANDARD_PRESSURE_PA / (287.053 * 293.15)
    rpm = 60.0 * 1.3 * float(slip_speed(area, 500.0 * INCH**3, 5.0 * PSI_PA, density))
    test = SlipTest("K1", rpm, 5.0, 4.0, 4.0, 6.0, 6.0)
    size = {"displacement_in3": 500.0, "rotor_length_in": 19.0, "rotor_diameter_in": 5.8}
    assert slip_multiplier(test, **size) == pytest.approx(1.3, rel=1e-6)
    tested = LeakModel().fit(season(), WEARS, sizes(), slip_tests=[test])
    assert tested.multiplier.prior_middle == pytest.approx(1.3, rel=1e-3)
    assert width(tested.multiplier_estimate) < width(fit.multiplier_estimate)
    with pytest.raises(UsageError, match="without usable boost"):
        LeakModel().fit(season(), WEARS, sizes(), slip_tests=[dataclasses.replace(test, unit="K9")])


def test_no_boost_is_no_leak_and_is_counted() -> None:
    rows = season()
    rows.loc[:2, "boost_psi"] = 0.0
    found = LeakModel().fit(rows, WEARS, sizes())
    assert found.left_out[0].reason == "boost of 0 or less"
    assert found.left_out[0].count == 3
    assert found.sizes.runs == len(rows) - 3


def test_machines_that_give_no_boost_are_refused() -> None:
    small = sizes().assign(displacement_in3=100.0)
    with pytest.raises(ObservationError, match="give no boost"):
        LeakModel().fit(season(), WEARS, small)


def test_a_run_no_machine_can_make_is_left_out_and_said() -> None:
    # Slips of the pen: 0.35 * 0.4 / 1.4 of B is past 1 from B = 10.
    rows = season()
    rows.loc[3, "overdrive_pct"] = 1500.0
    rows.loc[4, "overdrive_pct"] = -60.0
    found = LeakModel().fit(rows, WEARS, sizes())
    assert [(left.reason, left.count) for left in found.left_out] == [
        ("displacements and overdrive as entered heat the charge without end", 1),
        ("displacements and overdrive as entered give no boost", 1),
    ]
    assert found.sizes.runs == len(rows) - 2
    kept = LeakModel().fit(rows.drop(index=[3, 4]), WEARS, sizes())
    assert found.lost_since_restrip("K1") == kept.lost_since_restrip("K1")


def test_one_unit_with_sizes_that_give_no_boost_does_not_stop_the_others() -> None:
    wrong = sizes()
    wrong.loc[wrong["unit"] == "K1", "displacement_in3"] = 100.0
    found = LeakModel().fit(season(), WEARS, wrong)
    (left,) = found.left_out
    assert left.count == int((season()["unit"] == "K1").sum())
    assert "K1" not in set(found.now["unit"])


def test_too_few_rows_and_unknown_units_are_refused(fit: LeakFit) -> None:
    with pytest.raises(TooFewError, match="at least 8"):
        LeakModel().fit(season().iloc[:5], WEARS, sizes())
    with pytest.raises(UsageError, match="K0, K1, K2, K3"):
        fit.worth("K9")
    with pytest.raises(UsageError, match="tip clearance"):
        LeakModel().fit(season(), {}, sizes())
    with pytest.raises(UsageError, match="between 0 and 1"):
        fit.lost_in_all("K1", 90.0)


def test_a_seed_gives_the_same_answer_and_rows_are_left_alone(fit: LeakFit) -> None:
    rows = season()
    before = rows.copy(deep=True)
    again = LeakModel().fit(rows, WEARS, sizes())
    pd.testing.assert_frame_equal(rows, before)
    assert again.lost_since_restrip("K1") == fit.lost_since_restrip("K1")
    other = LeakModel(seed=1).fit(rows, WEARS, sizes()).lost_since_restrip("K1").estimate
    assert other == pytest.approx(fit.lost_since_restrip("K1").estimate, rel=0.05)


def test_order_of_units_and_rows_does_not_matter(fit: LeakFit) -> None:
    rows = season()
    shuffled = rows.sample(frac=1.0, random_state=3)
    # Within a unit the last row is the latest run, so only units change places.
    by_unit = shuffled.sort_values(["unit", "build", "age"], ascending=[False, True, True])
    again = LeakModel().fit(by_unit, WEARS, sizes())
    assert again.multiplier_estimate.estimate == pytest.approx(
        fit.multiplier_estimate.estimate, rel=1e-4
    )

import math

import numpy as np
import pytest

from wearstats.errors import UsageError
from wearstats_synthetic import Truth, demo_fleet, wide_fleet
from wearstats_synthetic.fleet import SIMULATED, BoatSpec, Fleet, UnitSpec


def test_without_frailty_life_is_the_plain_weibull() -> None:
    truth = Truth(frailty_sd=0.0)
    # Closed form: scale * (-log(1 - p))^(1 / shape).
    assert truth.life_at(0.1) == pytest.approx(11.0 * (-math.log(0.9)) ** 0.4, rel=1e-9)
    assert truth.survival(11.0) == pytest.approx(math.exp(-1.0), rel=1e-12)


@pytest.mark.parametrize("sd", [0.1, 0.5, 1.0])
def test_survival_averages_over_the_frailty(sd: float) -> None:
    truth = Truth(frailty_sd=sd)
    frailty = np.exp(sd * np.random.default_rng(1).standard_normal(400_000))
    drawn = np.exp(-frailty * (8.0 / 11.0) ** 2.5)
    # Four standard errors of the simulated mean.
    room = 4.0 * drawn.std() / math.sqrt(drawn.size)
    assert truth.survival(8.0) == pytest.approx(drawn.mean(), abs=room)


@pytest.mark.parametrize("failed", [0.001, 0.1, 0.5, 0.99])
def test_life_at_turns_survival_round(failed: float) -> None:
    truth = Truth(frailty_sd=0.4)
    assert truth.survival(truth.life_at(failed)) == pytest.approx(1.0 - failed, abs=1e-9)


def test_mean_wear_is_the_mean_of_the_lognormal_rates() -> None:
    truth = Truth(tip_rate_unit_log_sd=0.3, tip_rate_build_log_sd=0.4)
    # Closed form: a lognormal's mean is median * exp(variance / 2), here variance 0.25.
    assert truth.mean_wear_thou_per_run == pytest.approx(0.15 * math.exp(0.125), rel=1e-12)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"shape": 0.0}, "shape"),
        ({"look_chance": 1.2}, "look_chance"),
        ({"noise_log_sd": -0.1}, "noise_log_sd"),
        ({"planned_low": 9, "planned_high": 8}, "planned"),
        ({"burn_jump_high_thou": 1.0}, "burn_jump_high_thou"),
    ],
)
def test_an_impossible_truth_is_refused_by_name(wrong: dict[str, float], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        Truth(**wrong)  # type: ignore[arg-type]  # the case table mixes int and float


def test_life_at_refuses_a_share_outside_its_range() -> None:
    with pytest.raises(UsageError, match="between 0 and 1"):
        Truth().life_at(1.0)


def test_the_demo_is_seven_units_three_boats_nine_meets() -> None:
    fleet = demo_fleet()
    assert [unit.name for unit in fleet.units] == [f"K{n}" for n in range(1, 8)]
    assert len(fleet.boats) == 3
    assert len(fleet.meets) == 9
    assert all(SIMULATED in meet.name for meet in fleet.meets)
    assert 6 not in fleet.present(0)
    assert 6 in fleet.present(2)
    assert 5 not in fleet.present(7)


def test_meets_of_a_long_season_have_names_of_their_own() -> None:
    names = [meet.name for meet in demo_fleet(meets=30).meets]
    assert len(set(names)) == 30


@pytest.mark.parametrize(("units", "runs"), [(50, 60), (500, 20)])
def test_a_wide_fleet_has_boats_in_proportion(units: int, runs: int) -> None:
    fleet = wide_fleet(units, runs)
    assert len(fleet.units) == units
    assert len(fleet.boats) == 3 * units // 7


def test_a_fleet_that_cannot_run_is_refused() -> None:
    meets = demo_fleet(meets=2).meets
    boat = BoatSpec("Heron", "dock", 38.0, 8000.0)
    with pytest.raises(UsageError, match="fewer units"):
        Fleet((UnitSpec("K1"),), (boat, boat), meets)
    with pytest.raises(UsageError, match="share a name"):
        Fleet((UnitSpec("K1"), UnitSpec("K1")), (boat,), meets)
    with pytest.raises(UsageError, match="less than four days"):
        Fleet((UnitSpec("K1"),), (boat,), (meets[0], meets[0]))
    with pytest.raises(UsageError, match="needs two units"):
        wide_fleet(1, 10)
    with pytest.raises(UsageError, match="needs a meet"):
        demo_fleet(meets=0)

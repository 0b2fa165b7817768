import numpy as np
import pytest

from wearstats.errors import UsageError
from wearstats.leakage import (
    elasticity,
    flow_function,
    no_leak_ratio,
    nozzle_flux,
    pressure_ratio,
)


def test_nothing_flows_without_a_pressure_drop_or_against_one() -> None:
    assert flow_function([1.0, 1.5]) == pytest.approx([0.0, 0.0])
    assert nozzle_flux(1e5, 300.0, 1e5) == 0.0


def test_a_blower_smaller_than_the_engine_makes_no_boost() -> None:
    point = pressure_ratio([0.8, 1.0, 1.5], 0.05, heat_share=0.35)
    assert point.boosts.tolist() == [False, False, True]
    assert point.pressure_ratio[:2].tolist() == [1.0, 1.0]
    assert point.slip[:2].tolist() == [0.0, 0.0]
    assert elasticity(point, [0.8, 1.0, 1.5], heat_share=0.35)[:2].tolist() == [0.0, 0.0]


def test_no_boost_with_the_temperature_held() -> None:
    point = pressure_ratio(0.8, 0.05, fixed_temperature_ratio=1.1)
    assert point.pressure_ratio == 1.0
    assert not point.boosts


def test_without_a_leak_the_root_is_the_closed_form() -> None:
    swept = np.linspace(1.05, 4.0, 40)
    point = pressure_ratio(swept, 0.0, heat_share=0.5)
    assert point.pressure_ratio == pytest.approx(no_leak_ratio(swept, heat_share=0.5), rel=1e-12)


def test_arrays_broadcast() -> None:
    point = pressure_ratio(np.array([[2.0], [3.0]]), np.array([0.0, 0.1, 0.2]), heat_share=0.3)
    assert point.pressure_ratio.shape == (2, 3)


def test_too_much_heat_is_refused_with_the_reason() -> None:
    with pytest.raises(UsageError, match="heat without end"):
        no_leak_ratio(3.6, heat_share=1.0)


@pytest.mark.parametrize(
    "given",
    [{}, {"heat_share": 0.3, "fixed_temperature_ratio": 1.2}],
)
def test_heat_share_or_temperature_but_not_both(given: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="not both and not none"):
        no_leak_ratio(2.0, **given)


@pytest.mark.parametrize("leakage", [np.nan, -0.1, np.inf])
def test_a_leakage_that_is_no_number_is_refused(leakage: float) -> None:
    with pytest.raises(UsageError, match="finite"):
        pressure_ratio(2.0, leakage, heat_share=0.3)

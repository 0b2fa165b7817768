"""Laws that hold for every blower."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wearstats.leakage import (
    choked_ratio,
    elasticity,
    flow_function,
    leak_area,
    leak_from_ratio,
    leakage_number,
    no_leak_ratio,
    normalise_boost,
    pressure_ratio,
)

swept = st.floats(1.05, 4.0)
leak = st.floats(0.0, 1.0)
heat = st.floats(0.0, 0.8)
gap = st.floats(0.0, 1e-3)
pressure = st.floats(70e3, 106e3)


@given(swept, leak, heat)
def test_leak_to_ratio_and_back(swept: float, leak: float, heat: float) -> None:
    point = pressure_ratio(swept, leak, heat_share=heat)
    again = leak_from_ratio(point.pressure_ratio, point.temperature_ratio, swept)
    # The way back divides by the flow function, which magnifies rounding of a ratio near 1.
    flow = float(flow_function(1.0 / point.pressure_ratio))
    assert again == pytest.approx(leak, rel=1e-9, abs=1e-12 * swept / flow**2)


@given(swept, leak, heat)
def test_a_leak_costs_boost_and_never_gives_any(swept: float, leak: float, heat: float) -> None:
    point = pressure_ratio(swept, np.array([0.0, leak, leak + 0.01]), heat_share=heat)
    first, second, third = point.pressure_ratio
    assert first == pytest.approx(float(no_leak_ratio(swept, heat_share=heat)), rel=1e-12)
    assert first >= second > third >= 1.0
    assert 0.0 <= point.slip[1] < 1.0


@given(gap, gap, gap, st.integers(0, 3))
def test_every_wider_gap_costs_boost(tip: float, mesh: float, end: float, which: int) -> None:
    gaps = np.array([tip, mesh, end, end])
    wider = gaps.copy()
    wider[which] += 1e-4
    ratios = [
        float(
            pressure_ratio(
                2.8,
                leakage_number(
                    leak_area(*g, rotor_length=0.48, rotor_diameter=0.147).total,
                    engine_speed=133.0,
                    engine_displacement=8.2e-3,
                    inlet_temperature=300.0,
                ),
                heat_share=0.35,
            ).pressure_ratio
        )
        for g in (gaps, wider)
    ]
    assert ratios[1] < ratios[0]


@given(swept, st.floats(1e-5, 5e-4), heat, st.floats(50.0, 150.0))
def test_a_faster_engine_loses_less(swept: float, area: float, heat: float, speed: float) -> None:
    number = leakage_number(
        area,
        engine_speed=np.array([speed, 1.1 * speed]),
        engine_displacement=8.2e-3,
        inlet_temperature=300.0,
    )
    slow, fast = pressure_ratio(swept, number, heat_share=heat).pressure_ratio
    assert slow < fast


@given(swept, st.floats(1e-4, 1.0), st.floats(1.0, 1.5))
def test_choked_closed_form_is_the_root(swept: float, leak: float, tau: float) -> None:
    closed = float(choked_ratio(swept, leak, tau))
    assume(closed > 1.0 / 0.528)  # where gaps are choked, which the closed form is for
    solved = pressure_ratio(swept, leak, fixed_temperature_ratio=tau).pressure_ratio
    assert solved == pytest.approx(closed, rel=1e-10)


@given(swept, st.floats(1e-3, 0.5), heat)
def test_elasticity_is_the_slope(swept: float, leak: float, heat: float) -> None:
    step = 1e-4
    point = pressure_ratio(swept, leak, heat_share=heat)
    low, high = pressure_ratio(swept, leak * np.exp([-step, step]), heat_share=heat).pressure_ratio
    slope = np.log(high / low) / (2.0 * step)
    # The flow function has a corner in its slope where it chokes, hence the allowance.
    assert elasticity(point, swept, heat_share=heat) == pytest.approx(slope, rel=1e-3, abs=1e-9)


@given(pressure, st.floats(1.01, 5.0))
def test_boost_at_the_standard_barometer_depends_on_the_ratio_alone(
    station: float, ratio: float
) -> None:
    psi = (ratio - 1.0) / 6894.757293168361
    assert normalise_boost(psi * station, station) == pytest.approx(psi * 101_325.0, rel=1e-12)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_flow_never_falls_as_the_back_pressure_does(first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert flow_function(low) >= flow_function(high)

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
    nozzle_flux,
    pressure_ratio,
    slip_speed,
    slot_flux,
)
from wearstats.leakage.slot import slot_table, sutherland_viscosity

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


thou = st.floats(0.3, 45.0)
psi_drop = st.floats(0.2, 70.0)
ATMOSPHERE = 101_325.0
PSI = 6894.757293168361


@given(thou, psi_drop, st.floats(1e-3, 0.04))
def test_a_slot_passes_less_than_a_nozzle_and_more_when_wider(
    gap: float, boost: float, land: float
) -> None:
    upstream = ATMOSPHERE + boost * PSI
    gaps = np.array([gap, 1.1 * gap]) * 25.4e-6
    first, second = slot_flux(gaps, land, upstream, ATMOSPHERE)
    assert 0.0 < first < second < float(nozzle_flux(upstream, 350.0, ATMOSPHERE))


def test_a_wide_short_slot_without_entrance_loss_is_a_nozzle() -> None:
    # Limit: land over gap to nought. Friction is 0.316 Re^-0.25 t / (2 c), under 1e-4 heads here.
    upstream = ATMOSPHERE + np.geomspace(0.2, 70.0, 60) * PSI
    through = slot_flux(0.02, 1e-5, upstream, ATMOSPHERE, entrance_loss=0.0)
    assert through == pytest.approx(nozzle_flux(upstream, 350.0, ATMOSPHERE), rel=1e-2)


@given(st.floats(0.1, 0.6), st.floats(0.05, 1.0))
def test_a_long_tight_slot_is_plane_poiseuille_flow(gap: float, boost: float) -> None:
    # Limit: c^2 (p0^2 - p1^2) / (24 mu R T t), compressible and isothermal.
    c, upstream = gap * 25.4e-6, ATMOSPHERE + boost * PSI
    viscosity = float(sutherland_viscosity(350.0))
    law = c**2 * (upstream**2 - ATMOSPHERE**2) / (24.0 * viscosity * 287.053 * 350.0 * 0.03)
    assert slot_flux(c, 0.03, upstream, ATMOSPHERE) == pytest.approx(law, rel=1e-3)


def test_the_table_is_the_solution() -> None:
    gap, boost = np.meshgrid(np.geomspace(0.5, 40.0, 97), np.geomspace(0.5, 70.0, 89))
    upstream = ATMOSPHERE + boost * PSI
    solved = slot_flux(gap * 25.4e-6, 6.35e-3, upstream, ATMOSPHERE)
    table = slot_table().coefficient(gap, boost) * nozzle_flux(upstream, 350.0, ATMOSPHERE)
    # The corner where flow turns turbulent is rounded by the grid.
    assert table == pytest.approx(solved, rel=0.012)


@given(st.floats(1e-5, 5e-4), st.floats(0.005, 0.05), pressure)
def test_slip_follows_the_root_of_a_small_pressure_rise(
    area: float, boost: float, station: float
) -> None:
    rise, kelvin, volume = boost * PSI, 300.0, 8.2e-3
    density = station / (287.053 * kelvin)
    slip = nozzle_flux(station + rise, kelvin, station) * area / density / volume
    assert slip == pytest.approx(float(slip_speed(area, volume, rise, density)), rel=1e-3)


@given(st.floats(1.3, 4.0), heat, st.floats(40.0, 150.0))
def test_no_area_no_loss(swept: float, heat: float, speed: float) -> None:
    number = leakage_number(
        0.0, engine_speed=speed, engine_displacement=8.2e-3, inlet_temperature=300.0
    )
    point = pressure_ratio(swept, number, heat_share=heat)
    assert point.pressure_ratio == pytest.approx(
        float(no_leak_ratio(swept, heat_share=heat)), rel=1e-12
    )
    assert point.slip == 0.0

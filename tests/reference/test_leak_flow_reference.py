"""Narrow slots, running clearances and slip tests against tables and second ways of computing.

"Derived" is a figure of the method's description, computed there by other code from the equations
named; "from memory" a textbook value not read again.
"""

import math

import numpy as np
import pytest
from fluids import compressible
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from wearstats.feeler import feeler
from wearstats.leakage import geometry, physics, running, slip, slot, weather
from wearstats.units import INCH_MM, INHG_PA, PSI_PA, STANDARD_PRESSURE_PA

INCH = INCH_MM / 1000.0
THOU = INCH / 1000.0
CUBIC_INCH = INCH**3
ATMOSPHERE = STANDARD_PRESSURE_PA
BOOSTS = np.array([1.0, 15.0, 30.0, 60.0])


def test_friction_length_at_half_the_speed_of_sound() -> None:
    # A10: f L / D = 1.0691 at Mach 0.5, gas tables (from memory).
    assert slot.fanno(0.5) == pytest.approx(1.0691, abs=5e-5)
    assert slot.fanno(1.0) == pytest.approx(0.0, abs=1e-12)


def test_long_tight_slot_is_poiseuille_flow() -> None:
    # A11, derived: 1 thou over 30 mm at 1 psi, 350 K: 0.62141 kg/(s m2) by
    # c^2 (p0^2 - p1^2) / (24 mu R T t), 0.62139 by the slot without entrance loss.
    gap, land, upstream = THOU, 0.030, ATMOSPHERE + PSI_PA
    viscosity = 1.458e-6 * 350.0**1.5 / (350.0 + 110.4)  # Sutherland, 1976 standard atmosphere
    law = gap**2 * (upstream**2 - ATMOSPHERE**2) / (24.0 * viscosity * 287.053 * 350.0 * land)
    through = slot.slot_flux(gap, land, upstream, ATMOSPHERE, 350.0, entrance_loss=0.0)
    assert law == pytest.approx(0.62141, abs=6e-6)
    assert through == pytest.approx(0.62139, abs=6e-6)


def test_slot_against_isothermal_flow() -> None:
    # A12, derived: 4 thou over 30 mm at 5 psi, 350 K: 53.33 adiabatic, 54.19 isothermal by the
    # library (which wants the inlet's density) with the same friction, 1.6 % apart.
    gap, land, upstream = 4.0 * THOU, 0.030, ATMOSPHERE + 5.0 * PSI_PA
    through = float(slot.slot_flux(gap, land, upstream, ATMOSPHERE, 350.0, entrance_loss=0.0))
    diameter = 2.0 * gap
    reynolds = through * diameter / float(slot.sutherland_viscosity(350.0))
    flow = compressible.isothermal_gas(
        rho=upstream / (287.053 * 350.0),
        fd=max(96.0 / reynolds, 0.316 * reynolds**-0.25),
        P1=upstream,
        P2=ATMOSPHERE,
        L=land,
        D=diameter,
    )
    assert through == pytest.approx(53.33, abs=6e-3)
    assert float(flow) / (math.pi / 4.0 * diameter**2) == pytest.approx(54.19, abs=0.02)


@pytest.mark.parametrize(
    ("land_mm", "gap_thou", "coefficients"),
    # Derived, printed to two digits: 350 K, one atmosphere, boost 1 / 15 / 30 / 60 psi.
    [
        (1.5, 1, (0.10, 0.43, 0.55, 0.64)),
        (1.5, 2, (0.34, 0.69, 0.73, 0.74)),
        (1.5, 4, (0.64, 0.78, 0.79, 0.79)),
        (1.5, 8, (0.77, 0.81, 0.82, 0.82)),
        (1.5, 12, (0.79, 0.82, 0.83, 0.83)),
        (1.5, 20, (0.80, 0.83, 0.83, 0.83)),
        (6.35, 1, (0.02, 0.14, 0.23, 0.35)),
        (6.35, 2, (0.10, 0.42, 0.54, 0.58)),
        (6.35, 4, (0.33, 0.65, 0.68, 0.69)),
        (6.35, 8, (0.63, 0.74, 0.76, 0.76)),
        (6.35, 12, (0.71, 0.77, 0.79, 0.79)),
        (6.35, 20, (0.76, 0.80, 0.81, 0.81)),
        (30.0, 1, (0.01, 0.03, 0.05, 0.10)),
        (30.0, 2, (0.02, 0.12, 0.20, 0.32)),
        (30.0, 4, (0.08, 0.38, 0.45, 0.47)),
        (30.0, 8, (0.29, 0.55, 0.59, 0.60)),
        (30.0, 12, (0.49, 0.63, 0.66, 0.67)),
        (30.0, 20, (0.61, 0.70, 0.72, 0.73)),
    ],
)
def test_table_of_discharge_coefficients(
    land_mm: float, gap_thou: float, coefficients: tuple[float, ...]
) -> None:
    upstream = ATMOSPHERE + BOOSTS * PSI_PA
    solved = slot.cd_slot(gap_thou * THOU, land_mm * 1e-3, upstream, ATMOSPHERE, 350.0)
    # Half the last digit printed, and a hair for figures that fall between two digits.
    assert solved == pytest.approx(coefficients, abs=5.5e-3)
    table = slot.slot_table(land_mm * 1e-3)
    assert table.coefficient(gap_thou, BOOSTS) == pytest.approx(solved, rel=0.01)


def test_quick_form_of_the_coefficient() -> None:
    # Derived: 0.793 / (1 + (1.44 / c)^1.93) within 7 % from 4 thou and 15 psi, land 6.35 mm.
    gap, boost = np.meshgrid([4.0, 6.0, 10.0, 20.0], [15.0, 30.0, 60.0])
    quick = 0.793 / (1.0 + (1.44 / gap) ** 1.93)
    assert slot.slot_table().coefficient(gap, boost) == pytest.approx(quick, rel=0.07)


def test_slip_law_beside_the_nozzle() -> None:
    # Derived: nozzle over square-root law at T2 = T1; 0.998 at 1 psi ... 1.218 at 60 psi.
    boost = np.array([1.0, 5.0, 10.0, 15.0, 30.0, 45.0, 60.0])
    upstream = ATMOSPHERE + boost * PSI_PA
    density = ATMOSPHERE / (287.053 * 298.15)
    volume, area = 500.0 * CUBIC_INCH, 1e-4
    law = slip.slip_speed(area, volume, boost * PSI_PA, density)
    by_nozzle = physics.nozzle_flux(upstream, 298.15, ATMOSPHERE) * area / density / volume
    printed = (0.998, 0.988, 0.977, 0.968, 1.031, 1.124, 1.218)
    assert by_nozzle / law == pytest.approx(printed, abs=6e-4)
    # D1: 17.682 over 17.684 at 0.05 psi, whatever the blower.
    tiny = 0.05 * PSI_PA
    nozzle = physics.nozzle_flux(ATMOSPHERE + tiny, 298.15, ATMOSPHERE) / density
    ratio = float(nozzle / math.sqrt(2.0 * tiny / density))
    assert ratio == pytest.approx(17.682 / 17.684, abs=3e-5)
    assert slip.slip_area(law, volume, boost * PSI_PA, density) == pytest.approx(area, rel=1e-12)


def test_two_gaps_in_series_pass_less_than_one() -> None:
    # C10, derived: 0.70711 (one over root two) at a small drop; 0.81 from where the
    # second gap chokes (2.3) up, stated there from ratio 2, where it is still 0.80.
    def share(rise: float) -> float:
        upstream = ATMOSPHERE + rise

        def left(middle: float) -> float:
            first = physics.nozzle_flux(upstream, 300.0, middle)
            return float(first - physics.nozzle_flux(middle, 300.0, ATMOSPHERE))

        middle = brentq(left, ATMOSPHERE + 1e-6 * rise, upstream - 1e-6 * rise, xtol=1e-9)
        one = float(physics.nozzle_flux(upstream, 300.0, ATMOSPHERE))
        return float(physics.nozzle_flux(upstream, 300.0, middle)) / one

    assert share(0.01 * PSI_PA) == pytest.approx(0.70711, abs=1e-4)
    assert share(2.0 * ATMOSPHERE) == pytest.approx(0.81, abs=6e-3)


def test_middle_of_a_reading_is_uncertain_by_its_width() -> None:
    # C8: 0.28868 thou for an interval of one (JCGM 100:2008, 4.3.7, from memory).
    read = feeler([3.0], [4.0])
    assert read.mean_thou[0] == pytest.approx(3.5)
    assert read.u_thou[0] == pytest.approx(0.28868, abs=6e-6)


def test_running_tip_clearance_of_the_worked_example() -> None:
    # C9, derived: 30 - 26 = 4.00 cold; case +1.51, rotor -1.70, strip -1.19: 2.62 +- 1.11 thou.
    # Uncertain: both temperatures, the strip's expansion (even over 100e-6 to 200e-6), and two
    # readings to a thou.
    cold_u = math.sqrt(2.0 / 12.0)
    hot = running.running_tip(30.0 - 26.0, bore_radius_in=2.9, cold_u_thou=cold_u)
    assert hot.thou == pytest.approx(2.62, abs=6e-3)
    assert hot.u_thou == pytest.approx(1.11, abs=6e-3)
    assert not hot.interference
    rng = np.random.default_rng(1)
    case, rotor = rng.normal(20.0, 5.0, 200_000), rng.normal(25.0, 8.0, 200_000)
    strip = rng.uniform(100e-6, 200e-6, 200_000)
    metal, height = rng.uniform(29.5, 30.5, 200_000), rng.uniform(25.5, 26.5, 200_000)
    drawn = metal - height + 2900.0 * (26e-6 * case - 23.4e-6 * rotor)
    drawn -= 375.0 * (strip - 23.4e-6) * rotor
    assert drawn.std() == pytest.approx(1.11, abs=0.02)
    assert running.running_tip(1.0, bore_radius_in=2.9).thou == 0.0
    assert running.running_tip(1.0, bore_radius_in=2.9).interference


def test_ends_close_and_rotors_grow() -> None:
    # Derived: 19 in, 9.9 - 11.1 = -1.2 thou for both ends together. C6: 43.7 thou for 19 in of
    # aluminium (23e-6) and 100 K.
    both = running.running_ends(12.0, rotor_length_in=19.0)
    assert both.thou - 12.0 == pytest.approx(-1.2, abs=0.06)
    grown = running.running_ends(
        100.0,
        rotor_length_in=19.0,
        warmth=running.Warmth(100.0, 0.0, 0.0, 0.0),
        materials=running.Materials(rotor=23e-6),
    )
    assert 100.0 - grown.thou == pytest.approx(43.7, abs=0.06)


# The worked example (E), as in test_leakage_reference.py.
PRESSURE = 29.20 * INHG_PA
TEMPERATURE = (85.0 - 32.0) / 1.8 + 273.15
HEAT, SWEPT = 0.35, 2.8


def example() -> tuple[float, float, float]:
    """Area, leakage number and gas constant."""
    tip = float(running.running_tip(4.0, bore_radius_in=2.9).thou)
    area = geometry.leak_area(
        tip * THOU,
        4.0 * THOU,
        6.0 * THOU,
        6.0 * THOU,
        rotor_length=19.0 * INCH,
        rotor_diameter=5.8 * INCH,
    ).total
    gas = float(weather.air(TEMPERATURE, PRESSURE, relative_humidity=0.60).gas_constant)
    number = physics.leakage_number(
        area,
        engine_speed=8000.0 / 60.0,
        engine_displacement=500.0 * CUBIC_INCH,
        inlet_temperature=TEMPERATURE,
        gas_constant=gas,
    )
    return float(area), float(number), gas


def test_example_inlet() -> None:
    # E1, derived: 302.594 K, 98 882.6 Pa, 1.12771 kg/m3, R 289.78.
    state = weather.air(TEMPERATURE, PRESSURE, relative_humidity=0.60)
    assert pytest.approx(302.594, abs=6e-4) == TEMPERATURE
    assert pytest.approx(98_882.6, abs=0.06) == PRESSURE
    assert state.density == pytest.approx(1.12771, abs=6e-6)


def test_example_by_an_independent_integrator() -> None:
    # E3, E4: 33.196 psi and 2.658 lost, mass in the manifold marched to rest by scipy's
    # solve_ivp (LSODA), the leak written out anew in kg/s.
    area, _, gas = example()
    turns, volume = 1.40 * 8000.0 / 60.0, 500.0 * CUBIC_INCH

    def change(opening: float) -> float:
        def rate(_: float, state: np.ndarray) -> list[float]:
            p2 = float(state[0])
            t2 = TEMPERATURE / (1.0 - HEAT * (0.4 / 1.4) * SWEPT * (1.0 - PRESSURE / p2))
            x = max(PRESSURE / p2, (2.0 / 2.4) ** 3.5)
            psi = math.sqrt(7.0 * (x ** (2.0 / 1.4) - x ** (2.4 / 1.4)))
            leak = opening * p2 / math.sqrt(gas * t2) * psi
            drawn = PRESSURE * volume * turns / (gas * TEMPERATURE) - leak * t2 / TEMPERATURE
            swallowed = p2 / (gas * t2) * volume * 8000.0 / 120.0
            return [(drawn - swallowed) * gas * t2 / 0.015]

        marched = solve_ivp(rate, (0.0, 3.0), [1.5 * PRESSURE], "LSODA", rtol=1e-10, atol=1e-4)
        return float(marched.y[0, -1] - PRESSURE) / PSI_PA

    with_leak, without = change(0.70 * area), change(0.0)
    assert with_leak == pytest.approx(33.19602, abs=1e-4)
    assert without - with_leak == pytest.approx(2.658235, abs=1e-4)


def test_example_by_elasticity_alone() -> None:
    # E8, derived: 2.51 psi, 6 % low.
    _, number, _ = example()
    point = physics.pressure_ratio(SWEPT, number, heat_share=HEAT)
    share = -float(physics.elasticity(point, SWEPT, heat_share=HEAT))
    assert share * float(point.pressure_ratio) * PRESSURE / PSI_PA == pytest.approx(2.51, abs=6e-3)


def test_swallowing_and_heat_share_come_back() -> None:
    _, number, _ = example()
    shares = np.array([0.15, 0.35, 0.50])
    point = physics.pressure_ratio(SWEPT, number, 0.95, heat_share=shares)
    ratio, tau = point.pressure_ratio, point.temperature_ratio
    again = physics.swallowing_of(ratio, number, SWEPT, heat_share=shares)
    assert again == pytest.approx(0.95, rel=1e-10)
    assert physics.heat_share_of(tau, ratio, SWEPT, 0.95) == pytest.approx(shares, rel=1e-10)


@pytest.mark.parametrize(
    ("heat_share", "coefficient", "lost"),
    # E10, derived: the swallowing number set anew so that the boost stays 33.196 psi.
    [(0.15, 0.70, 2.34), (0.50, 0.70, 2.92), (0.35, 0.50, 1.87), (0.35, 0.90, 3.48)],
)
def test_example_recalibrated(heat_share: float, coefficient: float, lost: float) -> None:
    _, number, _ = example()
    shown = float(physics.pressure_ratio(SWEPT, number, heat_share=HEAT).pressure_ratio)
    other = number * coefficient / 0.70
    swallowing = physics.swallowing_of(shown, other, SWEPT, heat_share=heat_share)
    none = float(physics.no_leak_ratio(SWEPT, swallowing, heat_share=heat_share))
    assert (none - shown) * PRESSURE / PSI_PA == pytest.approx(lost, abs=6e-3)


@pytest.mark.parametrize(
    ("length_in", "drive", "lost", "worth"),
    # Derived: 4 / 4 / 6 thou, 500 in3 engine at 8000 rpm, 298 K, sea level; psi per thou of tip,
    # mesh and all end faces.
    [
        (15.0, 1.20, 1.36, (0.13, 0.09, 0.07)),
        (15.0, 1.50, 1.97, (0.18, 0.13, 0.10)),
        (15.0, 1.80, 2.77, (0.26, 0.18, 0.14)),
        (19.0, 1.00, 1.74, (0.17, 0.12, 0.08)),
        (19.0, 1.20, 2.36, (0.23, 0.17, 0.10)),
        (19.0, 1.40, 3.14, (0.31, 0.22, 0.14)),
        (19.0, 1.55, 3.86, (0.38, 0.27, 0.17)),
    ],
)
def test_what_a_thou_is_worth(
    length_in: float, drive: float, lost: float, worth: tuple[float, float, float]
) -> None:
    size = {"rotor_length": length_in * INCH, "rotor_diameter": 5.8 * INCH}
    volume = geometry.displacement(5.8 * INCH, length_in * INCH)
    swept = geometry.swept_ratio(drive, volume, 500.0 * CUBIC_INCH)
    gaps = geometry.leak_area(4.0 * THOU, 4.0 * THOU, 6.0 * THOU, 6.0 * THOU, **size)
    one = geometry.leak_area(THOU, THOU, THOU, THOU, **size)
    number = physics.leakage_number(
        gaps.total,
        engine_speed=8000.0 / 60.0,
        engine_displacement=500.0 * CUBIC_INCH,
        inlet_temperature=298.0,
    )
    point = physics.pressure_ratio(swept, number, heat_share=HEAT)
    psi = STANDARD_PRESSURE_PA / PSI_PA
    none = physics.no_leak_ratio(swept, heat_share=HEAT)
    assert psi * (none - point.pressure_ratio) == pytest.approx(lost, abs=6e-3)
    share = -physics.elasticity(point, swept, heat_share=HEAT) * point.pressure_ratio * psi
    per_thou = [float(share * path / gaps.total) for path in (one.tip, one.mesh, one.end)]
    assert per_thou == pytest.approx(worth, abs=6e-3)

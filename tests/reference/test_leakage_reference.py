"""Leak flow, balance and weather against published values and second ways of computing them.

Sources beside each number: "1976" is the U.S. Standard Atmosphere 1976, "ASHRAE" the Fundamentals
2017 tables of chapter 1, "derived" a closed form worked out for this method, "from memory" a
textbook value not read again.
"""

import math

import numpy as np
import psychrolib
import pytest
from fluids import compressible, flow_meter, safety_valve
from fluids.atmosphere import ATMOSPHERE_1976
from scipy.optimize import brentq

from wearstats.leakage import geometry, physics, weather
from wearstats.units import INCH_MM, INHG_PA, PSI_PA, STANDARD_PRESSURE_PA

INCH = INCH_MM / 1000.0
THOU = INCH / 1000.0
CUBIC_INCH = INCH**3

# The worked example: 19 in rotors of 5.8 in, 500 in3 blower and engine, 40 % over, 8000 rpm,
# 85 F, 29.20 inHg, 60 %; running gaps after heat 2.624625 (tip, from 4.00 cold), 4 and 6 thou.
PRESSURE = 29.20 * INHG_PA
TEMPERATURE = (85.0 - 32.0) / 1.8 + 273.15
HEAT = 0.35
SWEPT = 2.8
TIP_THOU = 4.0 + 1000.0 * (
    2.9 * 26e-6 * 20.0 - 2.9 * 23.4e-6 * 25.0 - 0.375 * (150e-6 - 23.4e-6) * 25.0
)


def area(tip_thou: float = TIP_THOU, mesh: float = 4.0, end: float = 6.0) -> geometry.LeakArea:
    return geometry.leak_area(
        tip_thou * THOU,
        mesh * THOU,
        end * THOU,
        end * THOU,
        rotor_length=19.0 * INCH,
        rotor_diameter=5.8 * INCH,
    )


def leakage(total: float, **more: float) -> float:
    state = weather.air(TEMPERATURE, PRESSURE, relative_humidity=0.60)
    return float(
        physics.leakage_number(
            total,
            engine_speed=8000.0 / 60.0,
            engine_displacement=500.0 * CUBIC_INCH,
            inlet_temperature=TEMPERATURE,
            gas_constant=state.gas_constant,
            **more,
        )
    )


def boost_psi(ratio: float) -> float:
    return (ratio - 1.0) * PRESSURE / PSI_PA


def test_critical_pressure_ratio_of_air() -> None:
    # A1: 0.52828, NACA Report 1135 (from memory); fluids as the second way.
    flat = physics.flow_function([0.52827, 0.4, 0.0])
    assert flat == pytest.approx(flat[0], rel=1e-12)
    assert physics.flow_function(0.5284) < flat[0]
    assert compressible.P_critical_flow(1.0, 1.4) == pytest.approx(0.52828, abs=5e-6)


def test_critical_temperature_ratio_of_air() -> None:
    # A2: 0.83333 = 2 / (gamma + 1), NACA Report 1135 (from memory): of our gamma.
    assert compressible.T_critical_flow(1.0, physics.GAMMA) == pytest.approx(0.83333, abs=5e-6)


def test_critical_flow_function_of_air() -> None:
    # A3: 0.68473, ISO 9300 form (from memory).
    assert physics.flow_function(0.0) == pytest.approx(0.68473, abs=5e-6)


def test_choked_flux_at_sea_level() -> None:
    # A4: 0.0404 p0 / sqrt(T0) = 241.15 kg/(s m2), textbook (from memory, three digits: 0.13 %).
    flux = physics.nozzle_flux(101_325.0, 288.15, 0.0)
    assert flux == pytest.approx(0.0404 * 101_325.0 / math.sqrt(288.15), rel=1.3e-3)
    assert flux == pytest.approx(241.24, abs=5e-3)  # derived
    # A5: API 520 sizing for an area that passes 1 kg/s; its constants carry four digits.
    api = safety_valve.API520_A_g(
        m=1.0, T=288.15, Z=1.0, MW=28.9644, k=1.4, P1=101_325.0, P2=1000.0, Kd=1.0
    )
    assert flux == pytest.approx(1.0 / api, rel=2e-4)


def test_subcritical_flux_against_nozzle_expansibility() -> None:
    # A6: 414.790 kg/(s m2), two ways. The gas constant is that of dry air, 287.053.
    upstream, back, temperature = 2e5, 1.4e5, 330.0
    density = upstream / (287.053 * temperature)
    factor = flow_meter.nozzle_expansibility(D=1.0, Do=1e-3, P1=upstream, P2=back, k=1.4)
    second = factor * math.sqrt(2.0 * density * (upstream - back))
    flux = physics.nozzle_flux(upstream, temperature, back)
    assert flux == pytest.approx(414.790, abs=6e-4)
    assert flux == pytest.approx(second, rel=1e-6)


def test_small_pressure_drop_follows_the_orifice_law() -> None:
    # D1, D2: flux -> sqrt(2 rho dp), 17.682 over 17.684 at 0.05 psi (of which blower is not
    # said); ratio 0.04 to 0.01 psi 1.99985, derived.
    drop = np.array([0.05, 0.04, 0.01]) * PSI_PA
    upstream = STANDARD_PRESSURE_PA + drop
    flux = physics.nozzle_flux(upstream, 350.0, STANDARD_PRESSURE_PA)
    law = np.sqrt(2.0 * STANDARD_PRESSURE_PA / (287.053 * 350.0) * drop)
    assert flux == pytest.approx(law, rel=1e-3)
    assert flux[1] / flux[2] == pytest.approx(1.99985, abs=2e-4)


@pytest.mark.parametrize(
    ("height_m", "density"),
    # B1: 1976 tables (sea level read, the others from memory).
    [(0.0, 1.2250), (1000.0, 1.1117), (2000.0, 1.0066)],
)
def test_density_altitude_of_the_standard_atmosphere(height_m: float, density: float) -> None:
    # B12 as well: the density altitude of 1.00655 kg/m3 is 2000.0 m. A table's last digit
    # (0.00005 kg/m3) is worth half a metre.
    assert weather.density_altitude(density) == pytest.approx(height_m, abs=0.6)
    assert ATMOSPHERE_1976(height_m).rho == pytest.approx(density, abs=6e-5)


def test_density_altitude_of_a_worked_density() -> None:
    assert weather.density_altitude(1.00655) == pytest.approx(2000.0, abs=0.06)  # B12, derived


def test_standard_pressures_at_altitude() -> None:
    # B2: 1976 at 1000 and 2000 m geometric, from memory.
    low, high = ATMOSPHERE_1976(1000.0).P, ATMOSPHERE_1976(2000.0).P
    assert low == pytest.approx(89_876.0, abs=0.6)
    assert high == pytest.approx(79_501.0, abs=0.6)


def test_standard_pressure_at_a_geopotential_height() -> None:
    # B4: 89875 Pa at 1000 m geopotential, ASHRAE table 1 as psychrolib's tests quote it.
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert psychrolib.GetStandardAtmPressure(1000.0) == pytest.approx(89_875.0, abs=1.0)


def test_standard_barometer_in_inches() -> None:
    # B5: 29.921 inHg is 101325 Pa (summary of the 1976 standard atmosphere), to a digit's worth.
    barometer = 29.921 * INHG_PA
    assert barometer == pytest.approx(STANDARD_PRESSURE_PA, abs=0.0005 * INHG_PA)


def saturation_pressure(celsius: float) -> float:
    """From our humidity ratio: W = 0.621945 p_v / (p - p_v) at saturation (ASHRAE eq. 20)."""
    kelvin = celsius + 273.15
    ratio = float(weather.air(kelvin, 101_325.0, relative_humidity=1.0).humidity_ratio)
    return 101_325.0 * ratio / (0.621945 + ratio)


def test_saturation_pressure_of_water() -> None:
    # B6: 3169.7 Pa at 25 C, ASHRAE table 3 as psychrolib's tests quote it (they allow 0.03 %).
    assert saturation_pressure(25.0) == pytest.approx(3169.7, rel=3e-4)
    # B7: 2339 Pa at 20 C, steam tables (from memory); B8: 2339.3 by a real-fluid library.
    assert saturation_pressure(20.0) == pytest.approx(2339.0, rel=3e-4)


def test_volume_of_dry_air() -> None:
    # B9: 0.8443 m3/kg at 25 C, ASHRAE table 2 (real gas; ours is ideal, 0.04 % apart).
    dry = weather.air(298.15, 101_325.0, relative_humidity=0.0)
    assert 1.0 / dry.dry_density == pytest.approx(0.8443, rel=5e-4)


def test_density_of_moist_air() -> None:
    # B10: 1.1994 kg/m3 at 20 C, 50 %, 1 atm by a real-fluid library; B11: 1.1993 by the OIML R 111
    # formula (from memory). Ideal mixture 0.05 % below.
    moist = weather.air(293.15, 101_325.0, relative_humidity=0.50)
    assert moist.density == pytest.approx(1.1994, rel=5e-4)
    oiml = (0.34848 * 1013.25 - 0.009 * 50.0 * math.exp(0.061 * 20.0)) / 293.15
    assert moist.density == pytest.approx(oiml, rel=5e-4)


def test_example_air() -> None:
    # B13: 1.1277 and 1.1100 kg/m3, W 0.01592, 854 m, two libraries.
    state = weather.air(TEMPERATURE, PRESSURE, relative_humidity=0.60)
    assert state.density == pytest.approx(1.1277, abs=6e-5)
    assert state.dry_density == pytest.approx(1.1100, abs=6e-5)
    assert state.humidity_ratio == pytest.approx(0.01592, abs=6e-6)
    assert state.density_altitude_m == pytest.approx(854.0, abs=0.5)
    assert state.gas_constant == pytest.approx(289.78, abs=6e-3)


def test_cycloidal_share_of_three_lobes() -> None:
    # C1: 13/32, derived: 1 - (1 + 1/(2 n^2)) / (1 + 1/n)^2; and by the area of the lobe's outline,
    # epicycloids of radius R/(2n) on the pitch circle R outside, hypocycloids inside.
    share = 1.0 - (1.0 + 1.0 / 18.0) / (1.0 + 1.0 / 3.0) ** 2
    angle = np.linspace(0.0, 2.0 * np.pi, 600_001)
    small = 1.0 / 6.0
    outside = np.floor(angle / (np.pi / 3.0)).astype(int) % 2 == 0
    reach = np.where(outside, 1.0 + small, 1.0 - small)
    sign = np.where(outside, -1.0, 1.0)
    turn = np.where(outside, (1.0 + small) / small, -(1.0 - small) / small) * angle
    x = reach * np.cos(angle) + sign * small * np.cos(turn)
    y = reach * np.sin(angle) + sign * small * np.sin(turn)
    outline = 0.5 * abs(np.sum(x[:-1] * np.diff(y) - y[:-1] * np.diff(x)))
    assert share == pytest.approx(13.0 / 32.0, rel=1e-12)
    assert 1.0 - outline / (np.pi * (1.0 + 2.0 * small) ** 2) == pytest.approx(share, abs=1e-5)
    # 19 in rotors of 5.8 in at a share of one half move 502 in3 a turn, derived.
    volume = geometry.displacement(5.8 * INCH, 19.0 * INCH) / CUBIC_INCH
    assert volume == pytest.approx(502.0, abs=0.5)


def test_dry_blower_at_ratio_two() -> None:
    # C4, C5: T2/T1 = 1.2857 and efficiency 0.7666 at ratio 2 without leak, derived. The ideal
    # isentropic rise over the blower's: (2^a - 1) / (tau - 1).
    swept = brentq(lambda b: float(physics.no_leak_ratio(b, heat_share=1.0)) - 2.0, 1.01, 3.0)
    rise = float(physics.temperature_ratio(2.0, swept, 1.0, 1.0))
    assert rise == pytest.approx(1.285714, abs=1e-6)
    ideal = 2.0 ** (0.4 / 1.4) - 1.0
    assert ideal / (rise - 1.0) == pytest.approx(0.7666, abs=6e-5)


def test_example_area_and_leakage_number() -> None:
    # E1, E2, derived: 0.0698 + 0.0760 + 0.0696 in2 = 1.3898 cm2, leakage number 0.052738.
    paths = area()
    assert paths.tip / INCH**2 == pytest.approx(0.0698, abs=6e-5)
    assert paths.mesh / INCH**2 == pytest.approx(0.0760, abs=6e-5)
    assert paths.end / INCH**2 == pytest.approx(0.0696, abs=6e-5)
    assert paths.total == pytest.approx(1.3898e-4, abs=6e-9)
    assert leakage(float(paths.total)) == pytest.approx(0.052738, abs=6e-7)
    assert geometry.swept_ratio(1.40, 500.0, 500.0) == pytest.approx(SWEPT, rel=1e-12)


def test_example_boost_and_loss() -> None:
    # E3, E4: 33.19602 psi shown, 2.658235 psi lost; no leak 3.5000, 35.854 psi.
    number = leakage(float(area().total))
    point = physics.pressure_ratio(SWEPT, number, heat_share=HEAT)
    none = float(physics.no_leak_ratio(SWEPT, heat_share=HEAT))
    assert none == pytest.approx(3.5, rel=1e-12)
    assert boost_psi(none) == pytest.approx(35.854, abs=6e-4)
    assert boost_psi(float(point.pressure_ratio)) == pytest.approx(33.19602, abs=6e-6)
    lost = boost_psi(none) - boost_psi(float(point.pressure_ratio))
    assert lost == pytest.approx(2.658235, abs=6e-6)
    assert point.slip == pytest.approx(0.0477, abs=6e-5)
    assert point.temperature_ratio * TEMPERATURE == pytest.approx(376.1, abs=0.06)


def test_example_against_a_manifold_marched_in_time() -> None:
    # E3, the second way: masses and energies in kg/s, the leak by the library's nozzle, a 15 L
    # manifold from atmospheric pressure to rest.
    state = weather.air(TEMPERATURE, PRESSURE, relative_humidity=0.60)
    gas = float(state.gas_constant)
    blower_turns = 1.40 * 8000.0 / 60.0
    volume = 500.0 * CUBIC_INCH
    opening = physics.DISCHARGE_COEFFICIENT * float(area().total)
    p2, step = PRESSURE * 1.5, 2e-4
    for _ in range(6000):
        t2 = TEMPERATURE * float(physics.temperature_ratio(p2 / PRESSURE, SWEPT, 1.0, HEAT))
        throat = max(PRESSURE, compressible.P_critical_flow(p2, 1.4))
        factor = flow_meter.nozzle_expansibility(D=1.0, Do=1e-4, P1=p2, P2=throat, k=1.4)
        leak = opening * factor * math.sqrt(2.0 * p2 / (gas * t2) * (p2 - throat))
        delivered = PRESSURE * volume * blower_turns / (gas * TEMPERATURE) - leak * t2 / TEMPERATURE
        swallowed = p2 / (gas * t2) * volume * 8000.0 / 60.0 / 2.0
        p2 += step * (delivered - swallowed) * gas * t2 / 0.015
    assert (p2 - PRESSURE) / PSI_PA == pytest.approx(33.19602, abs=2e-4)


def test_example_by_a_scalar_root_finder() -> None:
    number = leakage(float(area().total))

    def balance(ratio: float) -> float:
        tau = 1.0 / (1.0 - HEAT * (0.4 / 1.4) * SWEPT * (1.0 - 1.0 / ratio))
        x = max(1.0 / ratio, (2.0 / 2.4) ** 3.5)
        psi = math.sqrt(7.0 * (x ** (2.0 / 1.4) - x ** (2.4 / 1.4)))
        return SWEPT - number * ratio * math.sqrt(tau) * psi - ratio / tau

    root = brentq(balance, 1.0 + 1e-12, 3.5, xtol=1e-13)
    point = physics.pressure_ratio(SWEPT, number, heat_share=HEAT)
    assert point.pressure_ratio == pytest.approx(root, rel=1e-11)


def test_example_with_the_temperature_held() -> None:
    # E5: closed form and root solve 33.19602 (to 1e-6 psi of each other); 2.379 psi lost.
    number = leakage(float(area().total))
    tau = float(physics.pressure_ratio(SWEPT, number, heat_share=HEAT).temperature_ratio)
    closed = float(physics.choked_ratio(SWEPT, number, tau))
    solved = physics.pressure_ratio(SWEPT, number, fixed_temperature_ratio=tau)
    assert boost_psi(closed) == pytest.approx(boost_psi(float(solved.pressure_ratio)), abs=1e-6)
    assert boost_psi(closed) == pytest.approx(33.19602, abs=6e-6)
    none = float(physics.no_leak_ratio(SWEPT, fixed_temperature_ratio=tau))
    assert boost_psi(none) - boost_psi(closed) == pytest.approx(2.379, abs=6e-4)


def test_example_elasticity() -> None:
    # E6: -0.0528103 by formula and by finite difference, choked.
    number = leakage(float(area().total))
    point = physics.pressure_ratio(SWEPT, number, heat_share=HEAT)
    by_formula = float(physics.elasticity(point, SWEPT, heat_share=HEAT))
    step = 1e-5
    ratios = physics.pressure_ratio(
        SWEPT, number * np.exp([step, -step]), heat_share=HEAT
    ).pressure_ratio
    by_difference = float(np.log(ratios[0] / ratios[1])) / (2.0 * step)
    assert by_formula == pytest.approx(-0.0528103, abs=6e-8)
    assert by_formula == pytest.approx(by_difference, rel=1e-6)


def test_elasticity_below_choking() -> None:
    # E7: -0.0128574 by formula and by finite difference where no gap is choked. Its inputs are not
    # printed; swept ratio 1.25 and leakage number 0.02 give it.
    step = 1e-5
    point = physics.pressure_ratio(1.25, 0.02, heat_share=HEAT)
    assert point.pressure_ratio < 1.0 / 0.52829
    ratios = physics.pressure_ratio(
        1.25, 0.02 * np.exp([step, -step]), heat_share=HEAT
    ).pressure_ratio
    by_difference = float(np.log(ratios[0] / ratios[1])) / (2.0 * step)
    by_formula = float(physics.elasticity(point, 1.25, heat_share=HEAT))
    assert by_formula == pytest.approx(-0.0128574, abs=6e-8)
    assert by_formula == pytest.approx(by_difference, rel=1e-6)


def test_choked_elasticity_without_heat_is_the_slip() -> None:
    # Derived: exactly minus the slip for fixed temperature and choked gaps.
    point = physics.pressure_ratio(3.0, 0.08, heat_share=0.0)
    assert physics.elasticity(point, 3.0, heat_share=0.0) == pytest.approx(-point.slip, rel=1e-12)


def test_example_worth_of_a_thou_and_loss_by_tip_gap() -> None:
    # E9, derived: tip 0.31, mesh 0.22, all end faces 0.135 psi per thou by the elasticity.
    paths = area()
    number = leakage(float(paths.total))
    point = physics.pressure_ratio(SWEPT, number, heat_share=HEAT)
    pressure = float(point.pressure_ratio) * PRESSURE / PSI_PA
    share = -float(physics.elasticity(point, SWEPT, heat_share=HEAT)) * pressure / paths.total
    one = area(1.0, 1.0, 1.0)
    assert share * one.tip == pytest.approx(0.31, abs=6e-3)
    assert share * one.mesh == pytest.approx(0.22, abs=6e-3)
    assert share * one.end == pytest.approx(0.135, abs=6e-4)
    tips = (2.0, 4.0, 6.0, 8.0, 10.0, 15.0, 20.0)
    lost = [
        boost_psi(3.5)
        - boost_psi(
            float(
                physics.pressure_ratio(
                    SWEPT, leakage(float(area(tip).total)), heat_share=HEAT
                ).pressure_ratio
            )
        )
        for tip in tips
    ]
    assert lost == pytest.approx([2.46, 3.08, 3.68, 4.27, 4.83, 6.19, 7.47], abs=6e-3)


@pytest.mark.parametrize(
    ("heat_share", "coefficient", "lost"),
    # E10, derived: the swallowing number set anew so that the boost stays 33.196 psi.
    [(0.15, 0.70, 2.34), (0.50, 0.70, 2.92), (0.35, 0.50, 1.87), (0.35, 0.90, 3.48)],
)
def test_example_what_is_not_known(heat_share: float, coefficient: float, lost: float) -> None:
    shown = float(
        physics.pressure_ratio(SWEPT, leakage(float(area().total)), heat_share=HEAT).pressure_ratio
    )
    number = leakage(float(area().total), discharge_coefficient=coefficient)

    def miss(swallowing: float) -> float:
        point = physics.pressure_ratio(SWEPT, number, swallowing, heat_share=heat_share)
        return float(point.pressure_ratio) - shown

    swallowing = brentq(miss, 0.7, 1.3, xtol=1e-12)
    none = float(physics.no_leak_ratio(SWEPT, swallowing, heat_share=heat_share))
    assert boost_psi(none) - boost_psi(shown) == pytest.approx(lost, abs=6e-3)


@pytest.mark.parametrize(
    ("length_in", "drive", "boost", "slip", "lost"),
    # Derived: gaps 4 / 4 / 6 thou, 500 in3 engine at 8000 rpm, 298 K, sea level, share 0.50.
    [
        (15.0, 1.20, 15.0, 0.040, 1.36),
        (15.0, 1.80, 35.3, 0.047, 2.77),
        (19.0, 1.00, 16.8, 0.047, 1.74),
        (19.0, 1.40, 33.9, 0.055, 3.14),
        (19.0, 1.55, 41.2, 0.058, 3.86),
    ],
)
def test_table_of_blowers(
    length_in: float, drive: float, boost: float, slip: float, lost: float
) -> None:
    diameter = 5.8 * INCH
    length = length_in * INCH
    swept = geometry.swept_ratio(drive, geometry.displacement(diameter, length), 500.0 * CUBIC_INCH)
    gaps = geometry.leak_area(
        4.0 * THOU, 4.0 * THOU, 6.0 * THOU, 6.0 * THOU, rotor_length=length, rotor_diameter=diameter
    )
    number = physics.leakage_number(
        gaps.total,
        engine_speed=8000.0 / 60.0,
        engine_displacement=500.0 * CUBIC_INCH,
        inlet_temperature=298.0,
    )
    point = physics.pressure_ratio(swept, number, heat_share=HEAT)
    psi = STANDARD_PRESSURE_PA / PSI_PA
    none = physics.no_leak_ratio(swept, heat_share=HEAT)
    assert psi * (point.pressure_ratio - 1.0) == pytest.approx(boost, abs=0.06)
    assert point.slip == pytest.approx(slip, abs=6e-4)
    assert psi * (none - point.pressure_ratio) == pytest.approx(lost, abs=6e-3)


@pytest.mark.parametrize(
    ("boost", "inhg", "normal"),
    # Derived table of one blower in four weathers; printed to 0.01 psi.
    [(34.09, 29.92, 34.09), (33.21, 29.20, 34.03), (32.39, 28.50, 34.00), (28.34, 24.90, 34.05)],
)
def test_boost_at_the_standard_barometer(boost: float, inhg: float, normal: float) -> None:
    assert weather.normalise_boost(boost, inhg * INHG_PA) == pytest.approx(normal, abs=0.011)


def test_station_pressure_of_a_high_track() -> None:
    # Derived: sea-level pressure at a 2000 ft track is 7.5 % above the station's.
    station = float(weather.station_pressure(101_325.0, 2000.0 * 0.3048, 288.15))
    assert 101_325.0 / station - 1.0 == pytest.approx(0.075, abs=2e-3)

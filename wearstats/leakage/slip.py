"""The slip test: turn the blower with its discharge closed until it holds a pressure.

The displacement that leaks back at that speed gives the leakage area directly, so a test fixes
the multiplier of all leakage better than boost can.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.leakage.geometry import leak_area
from wearstats.leakage.physics import DRY_AIR_GAS_CONSTANT
from wearstats.leakage.slot import STRIP_LAND_M, slot_table
from wearstats.units import INCH_MM, PSI_PA, STANDARD_PRESSURE_PA

SLOW_TIP_SHARE = 0.9
"""Share of a turn a tip leaks at about 200 rpm, where the pocket fills (derived)."""
SLIP_TEST_U = 0.20
"""Relative standard uncertainty of the multiplier after correction to race conditions."""

_INCH_M = INCH_MM / 1000.0


@dataclass(frozen=True, slots=True)
class SlipTest:
    """One blocked-discharge test, clearances cold as measured on the day.

    Parameters
    ----------
    unit : str
    slip_rpm : float
        Blower turns per minute that hold the pressure.
    pressure_psi : float
        Held at the discharge, gauge; prefer 5 psi to 1.
    tip_thou, mesh_thou, front_thou, rear_thou : float
    air_temperature_f : float
    barometer_inhg : float
    """

    unit: str
    slip_rpm: float
    pressure_psi: float
    tip_thou: float
    mesh_thou: float
    front_thou: float
    rear_thou: float
    air_temperature_f: float = 68.0
    barometer_inhg: float = 29.921

    def __post_init__(self) -> None:
        """Refuse a test that shows nothing."""
        if not (self.slip_rpm > 0.0 and self.pressure_psi > 0.0):
            message = f"a slip test needs a speed and a pressure above 0 ({self.unit})"
            raise UsageError(message)


def slip_area(
    slip_speed: ArrayLike,
    displacement_volume: ArrayLike,
    pressure_rise: ArrayLike,
    density: ArrayLike,
) -> FloatArray:
    """Effective leakage area Cd A by the square-root law: N V_b sqrt(rho / (2 dp)).

    Parameters
    ----------
    slip_speed : array_like, turns per second
    displacement_volume : array_like, cubic metres per turn
    pressure_rise : array_like, Pa
        Up to about 30 psi (the law is then within 3.5 % of the nozzle's).
    density : array_like, kg/m^3
        At the inlet.
    """
    volume = np.asarray(slip_speed, float) * np.asarray(displacement_volume, float)
    rise = np.asarray(pressure_rise, float)
    return np.asarray(volume * np.sqrt(np.asarray(density, float) / (2.0 * rise)))


def slip_speed(
    area: ArrayLike,
    displacement_volume: ArrayLike,
    pressure_rise: ArrayLike,
    density: ArrayLike,
) -> FloatArray:
    """Blower turns per second that hold a pressure: the rotary-lobe slip rule, as `slip_area`."""
    speed = np.sqrt(2.0 * np.asarray(pressure_rise, float) / np.asarray(density, float))
    return np.asarray(np.asarray(area, float) * speed / np.asarray(displacement_volume, float))


def slip_multiplier(
    test: SlipTest,
    *,
    displacement_in3: float,
    rotor_length_in: float,
    rotor_diameter_in: float,
    land_m: float = STRIP_LAND_M,
) -> float:
    """Leakage the test shows over what its clearances should leak at its pressure and speed.

    Friction at the test's low pressure, the fuller pocket at its low speed and the clearances
    being cold are in the denominator, so the ratio is the multiplier of the race as well.

    Parameters
    ----------
    test : SlipTest
    displacement_in3, rotor_length_in, rotor_diameter_in : float
    land_m : float, m
    """
    table = slot_table(land_m)
    gaps = np.array([test.tip_thou, test.mesh_thou, test.front_thou, test.rear_thou])
    passes = gaps * table.coefficient(gaps, test.pressure_psi) * _INCH_M / 1000.0
    expected = leak_area(
        *passes,
        rotor_length=rotor_length_in * _INCH_M,
        rotor_diameter=rotor_diameter_in * _INCH_M,
        tip_share=SLOW_TIP_SHARE,
    ).total
    if not expected > 0.0:
        message = f"the slip test of {test.unit} has no clearance to leak through"
        raise UsageError(message)
    kelvin = (test.air_temperature_f - 32.0) / 1.8 + 273.15
    pressure = test.barometer_inhg / 29.921 * STANDARD_PRESSURE_PA
    shown = slip_area(
        test.slip_rpm / 60.0,
        displacement_in3 * _INCH_M**3,
        test.pressure_psi * PSI_PA,
        pressure / (DRY_AIR_GAS_CONSTANT * kelvin),
    )
    return float(shown / expected)

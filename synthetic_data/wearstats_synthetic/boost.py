"""Boost from the balance of blower and engine, and what a thou of tip clearance is truly worth."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.leakage import geometry, physics
from wearstats.units import INCH_MM, INHG_PA, PSI_PA, STANDARD_PRESSURE_PA
from wearstats_synthetic.fleet import Fleet
from wearstats_synthetic.schedule import Schedule
from wearstats_synthetic.truth import Truth

_THOU_M = INCH_MM * 1e-6
_INCH_M = INCH_MM * 1e-3
_STEP_THOU = 0.05
_MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class TrueBoost:
    """Boost of every run.

    Parameters
    ----------
    expected_psi : ndarray, psi gauge at that day's barometer
        With unit and meet offsets, without noise.
    boost_psi : ndarray, psi gauge
        With noise.
    normalised_psi : ndarray, psi gauge at the standard barometer
        `expected_psi` brought to 29.921 inHg: pressure ratio less 1 times 14.696 psi.
    psi_per_thou : ndarray
        Normalised psi lost per thou of tip clearance at that run: minus the derivative of
        `normalised_psi`, by central difference over 0.1 thou of tip clearance.
    """

    expected_psi: FloatArray
    boost_psi: FloatArray
    normalised_psi: FloatArray
    psi_per_thou: FloatArray


def true_boost(
    truth: Truth,
    fleet: Fleet,
    schedule: Schedule,
    clearances_thou: tuple[FloatArray, FloatArray, FloatArray],
    rng: np.random.Generator,
) -> TrueBoost:
    """Solve the balance for all runs at once and add offsets and noise.

    Unit and meet offsets and noise act on the log of the absolute pressure ratio.

    Parameters
    ----------
    truth : Truth
    fleet : Fleet
    schedule : Schedule
    clearances_thou : (tip, mesh, end), each ndarray, thou, cold
        `end` is at either end plate.
    rng : numpy.random.Generator
    """
    unit_offset = truth.unit_log_sd * rng.standard_normal(len(fleet.units))
    meet_offset = truth.meet_log_sd * rng.standard_normal(len(fleet.meets))
    noise = truth.noise_log_sd * rng.standard_normal(schedule.date.size)
    tip, mesh, end = clearances_thou
    running = np.maximum(tip - truth.tip_closing_thou, _STEP_THOU)
    stacked = np.stack([running, running - _STEP_THOU, running + _STEP_THOU])
    ratio = balance_ratio(
        truth, fleet, schedule, running_tip_thou=stacked, mesh_thou=mesh, end_thou=end
    )
    ratio *= np.exp(unit_offset[schedule.unit] + meet_offset[schedule.meet])
    station_psi = schedule.barometer_inhg * INHG_PA / PSI_PA
    standard_psi = STANDARD_PRESSURE_PA / PSI_PA
    expected = np.maximum(ratio[0] - 1.0, 0.0)
    return TrueBoost(
        expected_psi=station_psi * expected,
        boost_psi=np.maximum(station_psi * (ratio[0] * np.exp(noise) - 1.0), 0.0),
        normalised_psi=standard_psi * expected,
        psi_per_thou=standard_psi * (ratio[1] - ratio[2]) / (2.0 * _STEP_THOU),
    )


def balance_ratio(
    truth: Truth,
    fleet: Fleet,
    schedule: Schedule,
    *,
    running_tip_thou: FloatArray,
    mesh_thou: FloatArray,
    end_thou: FloatArray,
) -> FloatArray:
    """Pressure ratio of every run from the balance alone, with the gas constant of dry air.

    Parameters
    ----------
    truth : Truth
    fleet : Fleet
    schedule : Schedule
    running_tip_thou, mesh_thou, end_thou : ndarray, shape (..., runs), thou

    Returns
    -------
    ndarray, shape (..., runs)
    """
    units = fleet.units
    length = np.array([unit.rotor_length_in for unit in units])[schedule.unit] * _INCH_M
    diameter = np.array([unit.rotor_diameter_in for unit in units])[schedule.unit] * _INCH_M
    blower = np.array([unit.displacement_in3 for unit in units])[schedule.unit] * _INCH_M**3
    engine = np.array([unit.engine_displacement_in3 for unit in units])[schedule.unit] * _INCH_M**3
    area = geometry.leak_area(
        running_tip_thou * _THOU_M,
        mesh_thou * _THOU_M,
        end_thou * _THOU_M,
        end_thou * _THOU_M,
        rotor_length=length,
        rotor_diameter=diameter,
    )
    leakage = physics.leakage_number(
        area.total,
        engine_speed=schedule.engine_speed_rpm / _MINUTE_S,
        engine_displacement=engine,
        inlet_temperature=(schedule.air_temperature_f - 32.0) / 1.8 + 273.15,
        multiplier=truth.leak_multiplier,
    )
    swept = geometry.swept_ratio(1.0 + schedule.overdrive_pct / 100.0, blower, engine)
    point = physics.pressure_ratio(swept, leakage, truth.swallowing, heat_share=truth.heat_share)
    return point.pressure_ratio

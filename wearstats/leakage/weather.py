"""Air at the track, and boost brought to a reference barometer.

Boost is never corrected by density: a volume pump feeding an engine that swallows volume sets a
pressure ratio, so only the barometer counts. Density and density altitude belong to power.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec, module_from_spec
from types import ModuleType

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, UsageError
from wearstats.units import INHG_PA, STANDARD_PRESSURE_PA

STATION_LIMITS_INHG = (20.0, 31.5)
"""Outside, a barometer is not a station pressure (or not in inHg)."""

_DRY_AIR_GAS_CONSTANT = 287.053
_CELSIUS_ZERO_K = 273.15
_ALTITUDE_LIMITS_M = (-2000.0, 8000.0)


@dataclass(frozen=True, slots=True)
class Air:
    """State of moist air.

    Parameters
    ----------
    density, dry_density : ndarray, kg/m^3
        Of the mixture, and of its dry part (what the engine burns).
    humidity_ratio : ndarray, kg water per kg dry air
    gas_constant : ndarray, J/(kg K)
        Of the mixture: pressure / (density * temperature).
    density_altitude_m : ndarray, m
        Height at which the 1976 standard atmosphere has this density.
    """

    density: FloatArray
    dry_density: FloatArray
    humidity_ratio: FloatArray
    gas_constant: FloatArray
    density_altitude_m: FloatArray


def air(
    temperature_k: ArrayLike,
    station_pressure_pa: ArrayLike,
    *,
    relative_humidity: ArrayLike | None = None,
    dew_point_k: ArrayLike | None = None,
    wet_bulb_k: ArrayLike | None = None,
) -> Air:
    """Work out density, dryness and density altitude of the air.

    Parameters
    ----------
    temperature_k, station_pressure_pa : array_like
        Pressure absolute, at the track (not reduced to sea level).
    relative_humidity : array_like or None, 0 to 1
    dew_point_k, wet_bulb_k : array_like or None, K
        Exactly one of the three.

    Raises
    ------
    UsageError
        Not exactly one measure of humidity, or one outside its range.
    ObservationError
        A pressure outside 20 to 31.5 inHg, or air denser or thinner than at -2000 to 8000 m.

    Notes
    -----
    Moist air by ASHRAE Fundamentals 2017 chapter 1 (psychrolib); the standard atmosphere of 1976
    (fluids).
    """
    given = {
        "relative humidity": relative_humidity,
        "dew point": dew_point_k,
        "wet bulb": wet_bulb_k,
    }
    measures = [(name, value) for name, value in given.items() if value is not None]
    if len(measures) != 1:
        message = f"give exactly one of {', '.join(given)}, not {len(measures)}"
        raise UsageError(message)
    name, value = measures[0]
    temperature, pressure, moisture = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (temperature_k, station_pressure_pa, value))
    )
    check_station_pressure(pressure)
    if name == "relative humidity" and not ((moisture >= 0.0) & (moisture <= 1.0)).all():
        message = "relative humidity must lie between 0 and 1"
        raise UsageError(message)
    si = _psychrolib_si()
    celsius = temperature - _CELSIUS_ZERO_K
    if name == "relative humidity":
        ratio = _each(si.GetHumRatioFromRelHum, celsius, moisture, pressure)
    elif name == "dew point":
        ratio = _each(si.GetHumRatioFromTDewPoint, moisture - _CELSIUS_ZERO_K, pressure)
    else:
        ratio = _each(si.GetHumRatioFromTWetBulb, celsius, moisture - _CELSIUS_ZERO_K, pressure)
    density = _each(si.GetMoistAirDensity, celsius, ratio, pressure)
    vapour = _each(si.GetVapPresFromHumRatio, ratio, pressure)
    return Air(
        density=density,
        dry_density=np.asarray((pressure - vapour) / (_DRY_AIR_GAS_CONSTANT * temperature)),
        humidity_ratio=ratio,
        gas_constant=np.asarray(pressure / (density * temperature)),
        density_altitude_m=density_altitude(density),
    )


def density_altitude(density: ArrayLike) -> FloatArray:
    """Height at which the 1976 standard atmosphere has this density.

    Parameters
    ----------
    density : array_like, kg/m^3

    Returns
    -------
    ndarray, m (geometric)

    Raises
    ------
    ObservationError
        The density occurs nowhere between -2000 and 8000 m.
    """
    from fluids.atmosphere import ATMOSPHERE_1976  # slow to load, rarely needed
    from scipy.optimize import brentq

    low, high = _ALTITUDE_LIMITS_M
    wanted = np.asarray(density, float)
    densest, thinnest = ATMOSPHERE_1976(low).rho, ATMOSPHERE_1976(high).rho
    if not ((wanted <= densest) & (wanted >= thinnest)).all():
        message = (
            f"an air density of {wanted.min():.3f} to {wanted.max():.3f} kg/m³ is not that of air "
            f"between {low:.0f} and {high:.0f} m ({thinnest:.3f} to {densest:.3f})"
        )
        raise ObservationError(message)

    def height(rho: float) -> float:
        return float(brentq(lambda z: ATMOSPHERE_1976(z).rho - rho, low, high, xtol=1e-6))

    return _each(height, wanted)


def station_pressure(
    sea_level_pressure_pa: ArrayLike, elevation_m: ArrayLike, temperature_k: ArrayLike
) -> FloatArray:
    """Pressure at the track from a weather service's sea-level pressure and the elevation.

    Parameters
    ----------
    sea_level_pressure_pa, elevation_m, temperature_k : array_like

    Returns
    -------
    ndarray, Pa absolute

    Notes
    -----
    psychrolib `GetStationPressure` (Hess, Introduction to Theoretical Meteorology, ch. 6.5).
    """
    sea, elevation, temperature = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (sea_level_pressure_pa, elevation_m, temperature_k))
    )
    si = _psychrolib_si()
    return _each(si.GetStationPressure, sea, elevation, temperature - _CELSIUS_ZERO_K)


def normalise_boost(boost_psi: ArrayLike, station_pressure_pa: ArrayLike) -> FloatArray:
    """Boost the same pressure ratio gives at the standard barometer (29.921 inHg).

    Parameters
    ----------
    boost_psi : array_like, psi gauge
    station_pressure_pa : array_like, Pa absolute
        NaN gives NaN.

    Returns
    -------
    ndarray, psi gauge

    Raises
    ------
    ObservationError
        A pressure outside 20 to 31.5 inHg.
    """
    pressure = np.asarray(station_pressure_pa, float)
    check_station_pressure(pressure)
    return np.asarray(np.asarray(boost_psi, float) * (STANDARD_PRESSURE_PA / pressure))


def check_station_pressure(station_pressure_pa: ArrayLike) -> None:
    """Refuse what cannot be the pressure at a track; NaN passes.

    Raises
    ------
    ObservationError
    """
    inhg = np.atleast_1d(np.asarray(station_pressure_pa, float)) / INHG_PA
    low, high = STATION_LIMITS_INHG
    wrong = inhg[(inhg < low) | (inhg > high)]
    if wrong.size:
        message = (
            f"a barometer of {wrong[0]:.2f} inHg is not a station pressure: "
            f"expected {low:g} to {high:g} inHg"
        )
        raise ObservationError(message, hint="enter the pressure at the track, in inHg or hPa")


@cache
def _psychrolib_si() -> ModuleType:
    """Return a private copy of psychrolib set to SI.

    Its unit system is a global of the module, so a caller who uses it in inch-pound units would
    change our numbers and we theirs; a copy outside `sys.modules` belongs to nobody else.
    """
    spec = find_spec("psychrolib")
    if spec is None or spec.loader is None:  # a declared dependency
        message = "psychrolib is not installed"
        raise ImportError(message)
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    module.SetUnitSystem(module.SI)
    return module


def _each(function: Callable[..., float], *arguments: FloatArray) -> FloatArray:
    """Apply a scalar function to arrays element by element."""
    return np.asarray(np.vectorize(function, otypes=[float])(*arguments))

"""Leak flow, weather and boost: from clearances to the pressure they cost."""

from wearstats.feeler import FeelerReadings, feeler
from wearstats.leakage.boost import BoostFit, BoostModel
from wearstats.leakage.boost_data import LeftOutRows, Wear
from wearstats.leakage.geometry import LeakArea, displacement, leak_area, mean_gap, swept_ratio
from wearstats.leakage.physics import (
    OperatingPoint,
    choked_ratio,
    elasticity,
    flow_function,
    leak_from_ratio,
    leakage_number,
    no_leak_ratio,
    nozzle_flux,
    pressure_ratio,
    temperature_ratio,
)
from wearstats.leakage.weather import (
    Air,
    air,
    density_altitude,
    normalise_boost,
    station_pressure,
)

__all__ = [
    "Air",
    "BoostFit",
    "BoostModel",
    "FeelerReadings",
    "LeakArea",
    "LeftOutRows",
    "OperatingPoint",
    "Wear",
    "air",
    "choked_ratio",
    "density_altitude",
    "displacement",
    "elasticity",
    "feeler",
    "flow_function",
    "leak_area",
    "leak_from_ratio",
    "leakage_number",
    "mean_gap",
    "no_leak_ratio",
    "normalise_boost",
    "nozzle_flux",
    "pressure_ratio",
    "station_pressure",
    "swept_ratio",
    "temperature_ratio",
]

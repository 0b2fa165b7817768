"""Leak flow, weather and boost: from clearances to the pressure they cost."""

from wearstats.feeler import FeelerReadings, feeler
from wearstats.leakage.ahead import BoostAhead
from wearstats.leakage.boost import BoostFit, BoostModel
from wearstats.leakage.boost_data import LeftOutRows, Wear
from wearstats.leakage.geometry import (
    LeakArea,
    displacement,
    drive_ratio,
    leak_area,
    mean_gap,
    swept_ratio,
)
from wearstats.leakage.leak import LeakModel
from wearstats.leakage.leak_result import TOTAL_RESTS_ON, LeakFit
from wearstats.leakage.physics import (
    OperatingPoint,
    choked_ratio,
    elasticity,
    flow_function,
    heat_share_of,
    leak_from_ratio,
    leakage_number,
    no_leak_ratio,
    nozzle_flux,
    pressure_ratio,
    swallowing_of,
    temperature_ratio,
)
from wearstats.leakage.running import (
    ALCOHOL,
    DRY,
    Materials,
    RunningClearance,
    Warmth,
    running_ends,
    running_mesh,
    running_tip,
)
from wearstats.leakage.slip import SlipTest, slip_area, slip_multiplier, slip_speed
from wearstats.leakage.slot import SlotTable, cd_slot, slot_flux, slot_table
from wearstats.leakage.weather import (
    Air,
    air,
    density_altitude,
    normalise_boost,
    station_pressure,
)

__all__ = [
    "ALCOHOL",
    "DRY",
    "TOTAL_RESTS_ON",
    "Air",
    "BoostAhead",
    "BoostFit",
    "BoostModel",
    "FeelerReadings",
    "LeakArea",
    "LeakFit",
    "LeakModel",
    "LeftOutRows",
    "Materials",
    "OperatingPoint",
    "RunningClearance",
    "SlipTest",
    "SlotTable",
    "Warmth",
    "Wear",
    "air",
    "cd_slot",
    "choked_ratio",
    "density_altitude",
    "displacement",
    "drive_ratio",
    "elasticity",
    "feeler",
    "flow_function",
    "heat_share_of",
    "leak_area",
    "leak_from_ratio",
    "leakage_number",
    "mean_gap",
    "no_leak_ratio",
    "normalise_boost",
    "nozzle_flux",
    "pressure_ratio",
    "running_ends",
    "running_mesh",
    "running_tip",
    "slip_area",
    "slip_multiplier",
    "slip_speed",
    "slot_flux",
    "slot_table",
    "station_pressure",
    "swallowing_of",
    "swept_ratio",
    "temperature_ratio",
]

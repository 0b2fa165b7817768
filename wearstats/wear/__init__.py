"""Wear of clearances and strip heights with runs on the strips."""

from wearstats.wear.clearance import ClearanceWear
from wearstats.wear.forecast import ClearanceWearFit
from wearstats.wear.limits import RunsToLimit, whichever_first
from wearstats.wear.looks import LeftOutReadings
from wearstats.wear.paths import fit_paths
from wearstats.wear.two_ways import read_two_ways

__all__ = [
    "ClearanceWear",
    "ClearanceWearFit",
    "LeftOutReadings",
    "RunsToLimit",
    "fit_paths",
    "read_two_ways",
    "whichever_first",
]

"""Wear of clearances and strip heights with runs on the strips."""

from wearstats.wear.clearance import ClearanceWear
from wearstats.wear.forecast import ClearanceWearFit, LeftOutReadings

__all__ = ["ClearanceWear", "ClearanceWearFit", "LeftOutReadings"]

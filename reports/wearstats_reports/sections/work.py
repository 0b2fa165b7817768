"""Builds and the work done on them."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Work:
    """One restrip as it was written down; None or empty where nothing was."""

    date: date | None
    reason: str
    found: str
    strip_material: str
    strip_lot: str
    strip_height_thou: float | None
    metal_low_thou: float | None
    metal_high_thou: float | None
    case_work_thou: float | None
    trial_fits: float | None
    hours: float | None
    cost: float | None
    remark: str

"""Builds and the work done on them."""

from dataclasses import dataclass
from datetime import date

from wearstats.records.season import Season
from wearstats_reports import cells


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


def work_done(season: Season, unit: str) -> tuple[Work, ...]:
    """Return the restrips of one unit, the latest first."""
    rows = season.restrips[season.restrips["unit"] == unit]
    done = [
        Work(
            date=cells.day(row["date"]),
            reason=cells.text(row["reason"]),
            found=cells.text(row["found"]),
            strip_material=cells.text(row["strip_material"]),
            strip_lot=cells.text(row["strip_lot"]),
            strip_height_thou=cells.number(row["strip_height_thou"]),
            metal_low_thou=cells.number(row["metal_low_thou"]),
            metal_high_thou=cells.number(row["metal_high_thou"]),
            case_work_thou=cells.number(row["case_work_thou"]),
            trial_fits=cells.number(row["trial_fits"]),
            hours=cells.number(row["hours_h"]),
            cost=cells.number(row["cost"]),
            remark=cells.text(row["remark"]),
        )
        for row in cells.rows(rows)
    ]
    return tuple(reversed(done))

"""The report's tables as frames, for the CSV files beside the pages."""

from dataclasses import asdict
from typing import Any

import pandas as pd

from wearstats.estimates import Estimate
from wearstats_reports.answers import Answer
from wearstats_reports.report import SeasonReport, UnitReport

_LIFE_COLUMNS = (
    "unit",
    "build",
    "began",
    "ended",
    "entry",
    "lower",
    "upper",
    "runs",
    "age",
    "ending",
    "mode",
    "open",
    "left_out",
)
_FACTOR_COLUMNS = (
    "name",
    "of",
    "step",
    "estimate",
    "low",
    "high",
    "level",
    "lives",
    "failures",
    "runs",
    "base",
    "base_failures",
    "base_runs",
    "rests_on_prior",
)
_GAP_COLUMNS = ("unit", "what", "build", "age", "date", "low_thou", "high_thou")
_BOOST_COLUMNS = (
    "unit",
    "order",
    "build",
    "age",
    "date",
    "run",
    "meet",
    "boost_psi",
    "corrected_psi",
    "predicted_psi",
    "left_out",
)


def _spread(name: str, answer: Answer) -> dict[str, float | None]:
    found = answer.estimate or Estimate(None, None, None, 0.0)
    return {name: found.estimate, f"{name}_low": found.low, f"{name}_high": found.high}


def lives(report: SeasonReport) -> pd.DataFrame:
    """Return every strip life, one row per build."""
    rows = [asdict(life) for unit in report.units for life in unit.lives]
    return pd.DataFrame(rows, columns=list(_LIFE_COLUMNS))


def _outlook_row(unit: UnitReport) -> dict[str, Any]:
    today = unit.today
    return {
        "unit": unit.unit,
        "advice": today.advice,
        "reason": today.reason,
        "build": today.build,
        "age": today.age,
        "last_look": today.last_look,
        "last_look_age": today.last_look_age,
        "found": today.found,
        "runs_ahead": today.runs_ahead,
        **_spread("chance_next", today.chance_next),
        **_spread("chance_sound_now", today.chance_sound_now),
        **_spread("chance_if_sound", today.chance_if_sound),
        **_spread("boost_lost_psi", today.boost_lost),
        **_spread("tip_now_thou", unit.clearance.now),
    }


def outlook(report: SeasonReport) -> pd.DataFrame:
    """Return where each unit stands, one row per unit, what needs attention first."""
    rows = [_outlook_row(unit) for unit in report.units]
    columns = list(rows[0]) if rows else ["unit", "advice", "reason"]
    return pd.DataFrame(rows, columns=columns)


def factors(report: SeasonReport) -> pd.DataFrame:
    """Return what went with burning through, one row per hazard ratio."""
    rows = []
    for each in report.went_with.ratios:
        row = asdict(each)
        ratio = row.pop("ratio")
        rows.append({**row, **{name: ratio[name] for name in ("estimate", "low", "high", "level")}})
    return pd.DataFrame(rows, columns=list(_FACTOR_COLUMNS))


def clearances(report: SeasonReport) -> pd.DataFrame:
    """Return every clearance and strip height, one row per reading."""
    rows = [
        row
        for unit in report.units
        for row in ({"unit": unit.unit, **asdict(gap)} for gap in unit.clearance.readings)
    ]
    return pd.DataFrame(rows, columns=list(_GAP_COLUMNS))


def boost(report: SeasonReport) -> pd.DataFrame:
    """Return every logged boost with its corrected value, one row per run."""
    rows = [
        {"unit": unit.unit, **asdict(point)} for unit in report.units for point in unit.boost.points
    ]
    return pd.DataFrame(rows, columns=list(_BOOST_COLUMNS))

"""Recurrence: failures of a unit over all its runs, and whether they come faster."""

from wearstats.recurrence.answers import RecurrenceAnswer, recurrence_of
from wearstats.recurrence.cumulative import MeanCumulative, mean_cumulative
from wearstats.recurrence.histories import History, NotFollowed, UnitHistories, histories_of
from wearstats.recurrence.power_law import PowerLaw, PowerLawFit
from wearstats.recurrence.trend_tests import (
    TrendTest,
    gap_order,
    handbook,
    laplace,
    lewis_robinson,
    reversals,
)
from wearstats.recurrence.verdicts import (
    Told,
    Trend,
    failures_needed,
    fleet_trend,
    unit_trend,
)

__all__ = [
    "History",
    "MeanCumulative",
    "NotFollowed",
    "PowerLaw",
    "PowerLawFit",
    "RecurrenceAnswer",
    "Told",
    "Trend",
    "TrendTest",
    "UnitHistories",
    "failures_needed",
    "fleet_trend",
    "gap_order",
    "handbook",
    "histories_of",
    "laplace",
    "lewis_robinson",
    "mean_cumulative",
    "recurrence_of",
    "reversals",
    "unit_trend",
]

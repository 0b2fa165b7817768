"""Drawings: frames and an axes in, the axes out; no model known here."""

from wearstats.plots.boost import boost_over_season
from wearstats.plots.clearance import clearance_by_build
from wearstats.plots.lives import fleet_lives, survival_curve
from wearstats.plots.lookback import said_and_happened
from wearstats.plots.losses import loss_by_path
from wearstats.plots.plans import cost_curve, fleet_chances
from wearstats.plots.ratios import hazard_ratios
from wearstats.plots.recurrence import failures_over_runs
from wearstats.plots.residuals import residual_curve
from wearstats.plots.style import new_axes, new_axes_for_rows, stamp
from wearstats.plots.svg import to_svg
from wearstats.plots.tight import tight_place_map

__all__ = [
    "boost_over_season",
    "clearance_by_build",
    "cost_curve",
    "failures_over_runs",
    "fleet_chances",
    "fleet_lives",
    "hazard_ratios",
    "loss_by_path",
    "new_axes",
    "new_axes_for_rows",
    "residual_curve",
    "said_and_happened",
    "stamp",
    "survival_curve",
    "tight_place_map",
    "to_svg",
]

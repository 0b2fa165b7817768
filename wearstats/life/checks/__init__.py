"""Checks beside the fitted law: no law assumed, or the law held against what was seen."""

from wearstats.life.checks.cox import CoxFit, cox, ratio_frame
from wearstats.life.checks.grouped import GroupedFit, complementary_log_log
from wearstats.life.checks.influence import Influence, influence
from wearstats.life.checks.proportionality import AgeDrift, Proportionality
from wearstats.life.checks.residuals import CoxSnell, cox_snell

__all__ = [
    "AgeDrift",
    "CoxFit",
    "CoxSnell",
    "GroupedFit",
    "Influence",
    "Proportionality",
    "complementary_log_log",
    "cox",
    "cox_snell",
    "influence",
    "ratio_frame",
]

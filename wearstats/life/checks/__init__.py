"""Checks beside the fitted law: no law assumed, or the law held against what was seen.

The names are loaded when asked for; no module here has the name of a function it holds.
"""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand

if TYPE_CHECKING:
    from wearstats.life.checks.cox_fit import CoxFit, cox, ratio_frame
    from wearstats.life.checks.grouped import GroupedFit, complementary_log_log
    from wearstats.life.checks.influences import Influence, influence
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

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats.life.checks.cox_fit": ("CoxFit", "cox", "ratio_frame"),
            "wearstats.life.checks.grouped": ("GroupedFit", "complementary_log_log"),
            "wearstats.life.checks.influences": ("Influence", "influence"),
            "wearstats.life.checks.proportionality": ("AgeDrift", "Proportionality"),
            "wearstats.life.checks.residuals": ("CoxSnell", "cox_snell"),
        },
    )

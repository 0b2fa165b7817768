"""Strip life, clearance wear and leakage of Roots-type racing superchargers.

The names are loaded when asked for: `import wearstats` alone costs nothing.

>>> import wearstats
>>> wearstats.StripLife(baseline="weibull")
StripLife(baseline='weibull', shape=None)
"""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand

if TYPE_CHECKING:
    from wearstats.book import Book
    from wearstats.errors import WearstatsError
    from wearstats.estimates import Estimate
    from wearstats.leakage import LeakModel
    from wearstats.life import StripLife, fit_life, kaplan_meier, posterior
    from wearstats.lives import (
        Observations,
        StripLives,
        boost_rows,
        clearance_readings,
        lives_of,
        read_lives,
    )
    from wearstats.lookback import look_back
    from wearstats.notebook import plot
    from wearstats.plans import RestripPlan, outlook, sets_needed
    from wearstats.records import Costs, Season
    from wearstats.wear import ClearanceWear

__version__ = "0.1.0"

__all__ = [
    "Book",
    "ClearanceWear",
    "Costs",
    "Estimate",
    "LeakModel",
    "Observations",
    "RestripPlan",
    "Season",
    "StripLife",
    "StripLives",
    "WearstatsError",
    "boost_rows",
    "clearance_readings",
    "fit_life",
    "kaplan_meier",
    "lives_of",
    "look_back",
    "outlook",
    "plot",
    "posterior",
    "read_lives",
    "sets_needed",
]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats.book": ("Book",),
            "wearstats.errors": ("WearstatsError",),
            "wearstats.estimates": ("Estimate",),
            "wearstats.leakage": ("LeakModel",),
            "wearstats.life": ("StripLife", "fit_life", "kaplan_meier", "posterior"),
            "wearstats.lives": (
                "Observations",
                "StripLives",
                "boost_rows",
                "clearance_readings",
                "lives_of",
                "read_lives",
            ),
            "wearstats.lookback": ("look_back",),
            "wearstats.notebook": ("plot",),
            "wearstats.plans": ("RestripPlan", "outlook", "sets_needed"),
            "wearstats.records": ("Costs", "Season"),
            "wearstats.wear": ("ClearanceWear",),
        },
    )

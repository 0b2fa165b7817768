"""The one door from records to what the models see.

Readers of tables and of clearances are loaded when asked for.
"""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand
from wearstats.lives.boost_rows import boost_rows
from wearstats.lives.covariates import KnownHistories, columns_of, histories_with
from wearstats.lives.histories import Histories
from wearstats.lives.lives import lives_of
from wearstats.lives.observations import Observations
from wearstats.lives.strip_lives import LeftOut, StripLives

if TYPE_CHECKING:
    from wearstats.lives.clearances import clearance_readings
    from wearstats.lives.lifetable import read_lives

__all__ = [
    "Histories",
    "KnownHistories",
    "LeftOut",
    "Observations",
    "StripLives",
    "boost_rows",
    "clearance_readings",
    "columns_of",
    "histories_with",
    "lives_of",
    "read_lives",
]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats.lives.clearances": ("clearance_readings",),
            "wearstats.lives.lifetable": ("read_lives",),
        },
    )

"""The one door from records to what the models see."""

from wearstats.lives.boost_rows import boost_rows
from wearstats.lives.clearances import clearance_readings
from wearstats.lives.covariates import KnownHistories, columns_of, histories_with
from wearstats.lives.histories import Histories
from wearstats.lives.lifetable import read_lives
from wearstats.lives.lives import lives_of
from wearstats.lives.observations import Observations
from wearstats.lives.strip_lives import LeftOut, StripLives

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

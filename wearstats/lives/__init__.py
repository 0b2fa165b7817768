"""The one door from records to what the models see."""

from wearstats.lives.lives import lives_of
from wearstats.lives.observations import Observations
from wearstats.lives.strip_lives import LeftOut, StripLives

__all__ = ["LeftOut", "Observations", "StripLives", "lives_of"]

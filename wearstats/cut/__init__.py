"""What to cut strips to: height, cuts in order, what may touch, where a case is tight."""

from wearstats.cut.chances import ClearanceChances
from wearstats.cut.height import CutAnswer, StationHeight, StripCut
from wearstats.cut.places import metal_places
from wearstats.cut.sequence import Cut, cuts_to
from wearstats.cut.tight import TightPlace, tight_places

__all__ = [
    "ClearanceChances",
    "Cut",
    "CutAnswer",
    "StationHeight",
    "StripCut",
    "TightPlace",
    "cuts_to",
    "metal_places",
    "tight_places",
]

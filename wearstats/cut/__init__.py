"""What to cut strips to: height, cuts in order, what may touch, where a case is tight."""

from wearstats.cut.chances import ClearanceChances
from wearstats.cut.height import CutAnswer, StationHeight, StripCut
from wearstats.cut.places import metal_places
from wearstats.cut.sequence import Cut, cuts_to
from wearstats.cut.tight import CAUTION, tight_map

__all__ = [
    "CAUTION",
    "ClearanceChances",
    "Cut",
    "CutAnswer",
    "StationHeight",
    "StripCut",
    "cuts_to",
    "metal_places",
    "tight_map",
]

"""A season simulated from known truth, and its sheets as people write them."""

from wearstats_synthetic.fleet import Fleet, demo_fleet, wide_fleet
from wearstats_synthetic.season import Derived, SimulatedSeason, simulate
from wearstats_synthetic.spoil import Fault, Outcome
from wearstats_synthetic.truth import Truth
from wearstats_synthetic.write import WrittenSeason, write_sheets

__all__ = [
    "Derived",
    "Fault",
    "Fleet",
    "Outcome",
    "SimulatedSeason",
    "Truth",
    "WrittenSeason",
    "demo_fleet",
    "simulate",
    "wide_fleet",
    "write_sheets",
]

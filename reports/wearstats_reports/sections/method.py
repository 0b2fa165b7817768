"""How the numbers were made, from how much, and what they cannot say."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Method:
    """Sample sizes and sentences.

    Parameters
    ----------
    units, runs, restrips, builds, lives, failures, looks, gap_readings, boost_readings : int
    first_day, last_day : date or None
        Of the records.
    sentences : tuple of str
        How each number was made.
    notes : tuple of str
        What the rooms below warn about.
    """

    units: int
    runs: int
    restrips: int
    builds: int
    lives: int
    failures: int
    looks: int
    gap_readings: int
    boost_readings: int
    first_day: date | None
    last_day: date | None
    sentences: tuple[str, ...]
    notes: tuple[str, ...]

"""What was set aside at the door, and what was left out of a fit, each with its reason."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One thing that is not in the numbers.

    Parameters
    ----------
    unit : str
        Empty where it cannot be told.
    what : str
        In words: "build 3", "12 readings", "row 17 of runs.csv, sheet runs".
    left_out_of : str
        "the book", "strip life", "wear" or "boost".
    reason : str
    """

    unit: str
    what: str
    left_out_of: str
    reason: str

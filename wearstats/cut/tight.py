"""Where a case is tight, by station and clock position, and what to look at there."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray
from wearstats.cut.places import metal_places

BELOW_THE_LINE = (3.0, 9.0)
"""Clock positions between which a case is not sanded (common practice, no source)."""

CAUTION = (
    "Cases are not sanded below the three and nine o'clock line (common practice, no source): "
    "what is tight there is cured at the rotor, the bearings or the cut."
)

_LEAST_PLACES = 4
_MOST_OF = 0.6


@dataclass(frozen=True, slots=True)
class TightPlace:
    """A place that is tighter than the case at large.

    Parameters
    ----------
    rotor, station : str
    lobe, clock : float
        NaN where not known.
    thou, u_thou : float
        Metal-to-metal clearance and its standard uncertainty.
    below_thou : float
        By how much it lies below the middle of the rotor's places.
    look_at : str
        What to look at.
    sanding : bool
        Whether it lies where a case may be sanded at all; False too where the clock position is
        not known.
    """

    rotor: str
    station: str
    lobe: float
    clock: float
    thou: float
    u_thou: float
    below_thou: float
    look_at: str
    sanding: bool


def tight_places(readings: pd.DataFrame) -> tuple[TightPlace, ...]:
    """Return the places tighter than the middle of their rotor by more than twice their error.

    Parameters
    ----------
    readings : DataFrame
        As `metal_places`.

    Returns
    -------
    tuple of TightPlace
        Tightest first; none where a rotor has fewer than four places.
    """
    found: list[TightPlace] = []
    for rotor, rows in metal_places(readings).groupby("rotor", sort=False):
        if len(rows) < _LEAST_PLACES:
            continue
        middle = float(rows["thou"].median())
        # The middle is of many places; its own error is small beside one reading's.
        tight = (rows["thou"] < middle - 2.0 * rows["u_thou"]).to_numpy(dtype=bool)
        numbers = rows[["lobe", "clock", "thou", "u_thou"]].to_numpy(float)
        for at in np.flatnonzero(tight):
            lobe, clock, thou, own = map(float, numbers[at])
            found.append(
                TightPlace(
                    rotor=str(rotor),
                    station=str(rows["station"].iloc[at]),
                    lobe=lobe,
                    clock=clock,
                    thou=thou,
                    u_thou=own,
                    below_thou=middle - thou,
                    look_at=_look_at(rows, tight, int(at)),
                    sanding=may_sand(clock),
                )
            )
    return tuple(sorted(found, key=lambda place: -place.below_thou))


def may_sand(clock: float) -> bool:
    """Whether a clock position lies on or above the three and nine o'clock line."""
    return bool(np.isfinite(clock)) and not BELOW_THE_LINE[0] < clock < BELOW_THE_LINE[1]


def _look_at(rows: pd.DataFrame, tight: BoolArray, at: int) -> str:
    """Say what most often stands behind a pattern (common practice, no source)."""
    for column, said in (
        ("lobe", "this lobe at most stations: a bent or high lobe, a groove's edge"),
        ("station", "most of this station: bearing bore, dowels, a bent shaft, a pinched case"),
        ("clock", "this side at most stations: worn bearings, a bowed case, uneven bolts"),
    ):
        same = (rows[column] == rows[column].iloc[at]).to_numpy(dtype=bool)
        some = 1 < int(same.sum()) < len(rows)
        if some and float(tight[same].mean()) >= _MOST_OF:
            return said
    return "this spot alone: a burr, a scar, something stuck; read it again"

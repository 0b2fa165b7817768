"""Where a case is tight, by station and clock position, and what to look at there."""

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
_BEYOND = 3.0


def tight_map(readings: pd.DataFrame) -> pd.DataFrame:
    """Return every place read, and which are tighter than their rotor's middle.

    A place is tight where it lies below the middle of its rotor's places by more than three times
    its standard uncertainty: one of many places is out by twice its own by chance. With fewer
    than four places on a rotor none is.

    Parameters
    ----------
    readings : DataFrame
        As `metal_places`.

    Returns
    -------
    DataFrame
        As `metal_places`, with below_thou (by how much below the middle), tight (bool), look_at
        (what to look at; empty where not tight) and sanding: whether the place lies where a case
        may be sanded at all; False too where its clock position is not known.
    """
    parts = []
    for _, rows in metal_places(readings).groupby("rotor", sort=False):
        below = float(rows["thou"].median()) - rows["thou"]
        # The middle is of many places; its own error is small beside one reading's.
        tight = (below > _BEYOND * rows["u_thou"]).to_numpy(dtype=bool) & (
            len(rows) >= _LEAST_PLACES
        )
        parts.append(
            rows.assign(
                below_thou=below,
                tight=tight,
                look_at=[_look_at(rows, tight, at) if tight[at] else "" for at in range(len(rows))],
                sanding=[may_sand(float(clock)) for clock in rows["clock"]],
            )
        )
    return pd.concat(parts, ignore_index=True)


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

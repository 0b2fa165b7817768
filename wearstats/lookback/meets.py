"""The meets of a season, and what was known on the morning of each."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from wearstats.arrays import IntArray
from wearstats.records.season import Season

_DAYS_WITHIN_NAMED = 14
_DAYS_WITHIN_UNNAMED = 2


@dataclass(frozen=True, slots=True, eq=False)
class Meet:
    """Runs made together.

    Attributes
    ----------
    name : str
        As recorded, or empty.
    first, last : Timestamp
        First and last day of running.
    rows : ndarray of int64
        Rows of the runs sheet, in its order.
    """

    name: str
    first: pd.Timestamp
    last: pd.Timestamp
    rows: IntArray


def meets_of(runs: pd.DataFrame) -> tuple[Meet, ...]:
    """Return the meets in order of their first day.

    Runs under one name belong together unless a fortnight lies between them; runs without a
    name do while no more than one day is left free between them.

    Parameters
    ----------
    runs : DataFrame
        Canonical, sorted by date.
    """
    named = runs["meet"].notna().to_numpy(dtype=bool)
    names = runs["meet"].fillna("").astype(str).to_numpy(dtype=object)
    days = runs["date"].to_numpy(dtype="datetime64[D]")
    found = []
    for name in dict.fromkeys(names.tolist()):
        rows = np.flatnonzero(names == name)
        apart = _DAYS_WITHIN_NAMED if named[rows[0]] else _DAYS_WITHIN_UNNAMED
        order = rows[np.argsort(days[rows], kind="stable")]
        gaps = np.diff(days[order]).astype(np.int64)
        for part in np.split(order, np.flatnonzero(gaps > apart) + 1):
            first, last = pd.Timestamp(days[part[0]]), pd.Timestamp(days[part[-1]])
            found.append(Meet(name, first, last, np.sort(part).astype(np.int64)))
    return tuple(sorted(found, key=lambda meet: (meet.first, meet.last, meet.name)))


def known_before(season: Season, day: pd.Timestamp) -> Season:
    """Return the records dated before a day, and no word of what came later.

    A unit that leaves on that day or later has not left yet; one that joins then is not there.
    """
    units = season.units[~(season.units["taken_in"] >= day)].reset_index(drop=True)
    return replace(
        season,
        runs=_before(season.runs, day),
        restrips=_before(season.restrips, day),
        readings=_before(season.readings, day),
        units=units.assign(retired=units["retired"].where(units["retired"] < day)),
    )


def _before(frame: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    return frame[frame["date"] < day].reset_index(drop=True)

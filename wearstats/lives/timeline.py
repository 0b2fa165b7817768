"""The runs of each unit in the order they happened."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import ObservationError
from wearstats.lives.counter import LOAD_PARTS
from wearstats.records.schema import RUNS

_HAIR = 1e-9  # a load may be that far outside 0 to 1 by rounding, as the records room takes it


@dataclass(frozen=True, slots=True)
class OrderedRuns:
    """All runs, sorted by unit, day and run.

    Parameters
    ----------
    frame : DataFrame
        The canonical rows in this order.
    units : tuple of str
        Units with a run or a restrip, sorted; the codes below point here.
    unit, day, number, load_parts : ndarray of int64, shape (n,)
        Code of the unit, days since 1970, number of the run in the day, load.
    counter : ndarray, shape (n,), runs
        Entered runs since restrip, NaN where blank.
    bad_load, tied : ndarray of bool, shape (n,)
        Load that is no share of a run; run whose place in its day cannot be told.
    """

    frame: pd.DataFrame
    units: tuple[str, ...]
    unit: IntArray
    day: IntArray
    number: IntArray
    load_parts: IntArray
    counter: FloatArray
    bad_load: BoolArray
    tied: BoolArray

    def bounds(self) -> tuple[IntArray, IntArray]:
        """Return first row and row past the last, for each unit."""
        codes = np.arange(len(self.units))
        return (
            np.searchsorted(self.unit, codes, "left").astype(np.int64),
            np.searchsorted(self.unit, codes, "right").astype(np.int64),
        )

    def said(self, row: int) -> str:
        """Name a run for a message."""
        number = self.number[row]
        return f"run {number} of {day_said(self.day[row])}" if number else day_said(self.day[row])


def day_said(day: int) -> str:
    """Write a day since 1970 as a date."""
    return str(np.datetime64(int(day), "D"))


def days_of(dates: pd.Series) -> IntArray:
    """Return whole days since 1970, shape (n,)."""
    return dates.to_numpy(dtype="datetime64[D]").astype(np.int64)


def require_key(frame: pd.DataFrame, sheet: str) -> None:
    """Refuse rows without date or unit."""
    for name in ("date", "unit"):
        if frame[name].isna().any():
            message = f"a row of the {sheet} sheet has no {name}; every row needs one"
            raise ObservationError(message)


def unit_codes(units: pd.Series, known: tuple[str, ...]) -> IntArray:
    """Return each unit's place among the known ones, shape (n,)."""
    codes = pd.Categorical(units, categories=list(known)).codes
    return np.asarray(codes, dtype=np.int64)


def sorted_by_everything(frame: pd.DataFrame) -> pd.DataFrame:
    """Break ties by content, so that the order of the rows as given never matters."""
    return frame.sort_values(list(frame.columns), kind="stable", ignore_index=True)


def order_runs(runs: pd.DataFrame, units: tuple[str, ...]) -> OrderedRuns:
    """Sort the canonical run rows by unit, day and run.

    Parameters
    ----------
    runs : DataFrame
        Canonical rows in any order.
    units : tuple of str
        All units, sorted.

    Raises
    ------
    ObservationError
        A row without date or unit.
    """
    require_key(runs, RUNS.name)
    frame = runs[list(RUNS.fields)]
    number = frame["run"].to_numpy(dtype=np.float64, na_value=np.nan)
    day, unit = days_of(frame["date"]), unit_codes(frame["unit"], units)
    order = np.lexsort((number, day, unit))
    number, day, unit = number[order], day[order], unit[order]
    same_day = (unit[1:] == unit[:-1]) & (day[1:] == day[:-1])
    repeated = same_day & ~(number[1:] > number[:-1])  # a blank number is never greater
    if repeated.any():
        sorted_frame = sorted_by_everything(frame)
        if not sorted_frame.equals(frame.reset_index(drop=True)):
            return order_runs(sorted_frame, units)
    blank = np.isnan(number)
    alone = np.ones(len(order), dtype=bool)
    alone[1:] &= ~same_day
    alone[:-1] &= ~same_day
    number = np.where(blank, np.where(alone, 1.0, 0.0), number)
    tied = np.zeros(len(order), dtype=bool)
    tied[1:] |= repeated
    tied[:-1] |= repeated
    if not np.array_equal(order, np.arange(len(order))):
        frame = frame.take(order)
    frame.index = pd.RangeIndex(len(order))  # our own copy: the selection above made it
    load = frame["load"].to_numpy(dtype=np.float64, na_value=np.nan)
    load = np.where(np.isnan(load), 1.0, load)
    bad_load = ~((load >= -_HAIR) & (load <= 1 + _HAIR))
    share = np.clip(np.where(bad_load, 0.0, load), 0.0, 1.0)
    parts = np.rint(share * LOAD_PARTS).astype(np.int64)
    return OrderedRuns(
        frame=frame,
        units=units,
        unit=unit,
        day=day,
        number=number.astype(np.int64),
        load_parts=parts,
        counter=frame["runs_since_restrip"].to_numpy(dtype=np.float64, na_value=np.nan),
        bad_load=bad_load,
        tied=tied,
    )

"""The place of every restrip among the runs of its unit."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.lives.counter import counters_agree
from wearstats.lives.timeline import (
    OrderedRuns,
    day_said,
    days_of,
    require_key,
    sorted_by_everything,
    unit_codes,
)
from wearstats.records.schema import RESTRIPS


@dataclass(frozen=True, slots=True)
class OrderedRestrips:
    """All restrips, sorted as they happened, each with its place among the runs.

    Parameters
    ----------
    frame : DataFrame
        The canonical rows in this order.
    unit, day : ndarray of int64, shape (m,)
    place : ndarray of int64, shape (m,)
        Row of the first run after it. Where `doubt` is not empty this is provisional.
    already : ndarray, shape (m,), runs
        Runs the fitted strips had seen before, 0 where blank.
    doubt, doubt_message : tuple of str, length m
        Code and sentence where the place cannot be told, else empty.
    """

    frame: pd.DataFrame
    unit: IntArray
    day: IntArray
    place: IntArray
    already: FloatArray
    doubt: tuple[str, ...]
    doubt_message: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Days:
    """The day of each restrip: its rows of runs, and what `after_run` says."""

    first: IntArray  # row of that unit's first run that day
    past: IntArray  # row past its last run that day
    after: FloatArray  # NaN where blank
    same: BoolArray  # shape (m - 1,): the next restrip is of the same unit and day

    @property
    def busy(self) -> BoolArray:
        """Days with runs of that unit."""
        return self.past > self.first


def order_restrips(restrips: pd.DataFrame, runs: OrderedRuns) -> OrderedRestrips:
    """Find the place of every restrip among the runs of its unit.

    A restrip on a day without runs stands between the days. On a day with runs it stands
    where `after_run` says; where that is blank, where the entered runs since restrip of that
    day and the following days allow exactly one place. Otherwise the place is in doubt, and
    provisionally after that day's runs.

    Raises
    ------
    ObservationError
        A row without date or unit.
    """
    require_key(restrips, RESTRIPS.name)
    frame = restrips[list(RESTRIPS.fields)].reset_index(drop=True)
    after = frame["after_run"].to_numpy(dtype=np.float64, na_value=np.nan)
    day, unit = days_of(frame["date"]), unit_codes(frame["unit"], runs.units)
    order = np.lexsort((after, day, unit))
    after, day, unit = after[order], day[order], unit[order]
    same_day = (unit[1:] == unit[:-1]) & (day[1:] == day[:-1])
    if same_day.any():
        sorted_frame = sorted_by_everything(frame)
        if not sorted_frame.equals(frame):
            return order_restrips(sorted_frame, runs)
    frame = frame.take(order).reset_index(drop=True)
    already = frame["runs_already_on_the_strips"].to_numpy(dtype=np.float64, na_value=np.nan)
    first, past = _day_rows(runs, unit, day)
    days = _Days(first, past, after, same_day)
    placed = OrderedRestrips(
        frame=frame,
        unit=unit,
        day=day,
        place=_stated_places(runs, days),
        already=np.where(np.isnan(already), 0.0, already),
        doubt=("",) * len(order),
        doubt_message=("",) * len(order),
    )
    return _settle(placed, runs, days)


def _day_rows(runs: OrderedRuns, unit: IntArray, day: IntArray) -> tuple[IntArray, IntArray]:
    """Return first row of that unit's runs that day, and the row past them."""
    if not len(unit):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    every_day = np.concatenate((day, runs.day))
    low = every_day.min()
    span = every_day.max() - low + 1
    run_key = runs.unit * span + (runs.day - low)
    key = unit * span + (day - low)
    return (
        np.searchsorted(run_key, key, "left").astype(np.int64),
        np.searchsorted(run_key, key, "right").astype(np.int64),
    )


def _stated_places(runs: OrderedRuns, days: _Days) -> IntArray:
    """Place each restrip by `after_run`; where that is blank, after that day's runs."""
    place = days.past.copy()
    for at in np.flatnonzero(days.busy & ~np.isnan(days.after)):
        numbers = runs.number[days.first[at] : days.past[at]]
        place[at] = days.first[at] + np.searchsorted(numbers, days.after[at], "right")
    return place


def _settle(restrips: OrderedRestrips, runs: OrderedRuns, days: _Days) -> OrderedRestrips:
    """Resolve blank places by the entered counter; put the rest in doubt, in words."""
    place = restrips.place.copy()
    doubt, said = list(restrips.doubt), list(restrips.doubt_message)
    blank = np.isnan(days.after)
    crowded = _crowded(days)
    missing = ~blank & (days.after > 0) & ~_run_is_there(runs, restrips.place, days)
    for at in np.flatnonzero(crowded | missing).tolist():
        day, after = day_said(restrips.day[at]), days.after[at]
        if crowded[at]:
            doubt[at] = "two-restrips"
            said[at] = (
                f"several restrips on {day} that cannot be told apart; fill `after run` of "
                "each, or remove what was entered twice"
            )
        else:
            doubt[at] = "restrip-order"
            said[at] = (
                f"restrip of {day} is entered after run {after:g}, but no run {after:g} of "
                "that day is recorded; mend `after run`, or log that run"
            )
    for at in np.flatnonzero(blank & days.busy & ~crowded).tolist():
        fits = _fitting_places(at, replace(restrips, place=place, doubt=tuple(doubt)), runs, days)
        if len(fits) == 1:
            place[at] = fits[0]
            continue
        doubt[at] = "restrip-order"
        how = "agree with more than one place" if fits else "agree with no place"
        said[at] = (
            f"restrip on {day_said(restrips.day[at])}, a day with runs; the entered runs since "
            f"restrip {how} among them; fill `after run` (0 for before the first)"
        )
    return replace(restrips, place=place, doubt=tuple(doubt), doubt_message=tuple(said))


def _run_is_there(runs: OrderedRuns, place: IntArray, days: _Days) -> BoolArray:
    """Tell whether the run just before each place is the one `after_run` names."""
    numbers = np.append(runs.number, -1)
    there = (place > days.first) & (numbers[place - 1] == days.after)
    return np.asarray(there, dtype=np.bool_)


def _crowded(days: _Days) -> BoolArray:
    """Mark restrips that share a day and are not told apart by distinct `after_run`."""
    crowded = np.zeros(len(days.first), dtype=bool)
    apart = days.busy[1:] & (days.after[1:] > days.after[:-1])
    for at in np.flatnonzero(days.same & ~apart).tolist():
        low, high = at, at + 1
        while low > 0 and days.same[low - 1]:
            low -= 1
        while high < len(days.same) and days.same[high]:
            high += 1
        crowded[low : high + 1] = True
    return crowded


def _fitting_places(
    at: int, restrips: OrderedRestrips, runs: OrderedRuns, days: _Days
) -> list[int]:
    """Return every place in the day that agrees with all counters of that day and after.

    Earlier restrips are settled; later ones stand, at the earliest, before their day's runs.
    """
    unit_first, unit_past = runs.bounds()
    unit = restrips.unit[at]
    begin, entry = int(unit_first[unit]), None
    if at > 0 and restrips.unit[at - 1] == unit:
        begin = int(restrips.place[at - 1])
        if not restrips.doubt[at - 1]:
            entry = float(restrips.already[at - 1])
    stop = int(unit_past[unit])
    if at + 1 < len(restrips.unit) and restrips.unit[at + 1] == unit:
        stop = int(days.first[at + 1])
    first, past = int(days.first[at]), int(days.past[at])
    counter, parts = runs.counter, runs.load_parts

    def agrees(place: int) -> bool:
        return counters_agree(
            counter[begin:place], parts[begin:place], entry=entry, since=first - begin
        ) and counters_agree(
            counter[place:stop], parts[place:stop], entry=float(restrips.already[at])
        )

    return [place for place in range(first, past + 1) if agrees(place)]

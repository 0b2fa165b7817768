"""Lives as rows of life and period: was it sound through the period, or did it fail in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import ObservationError, TooFewError, UsageError

if TYPE_CHECKING:
    from wearstats.lives.histories import Histories

_AT_AN_EDGE = 1e-9
_MOST_ROWS = 2_000_000


@dataclass(frozen=True, slots=True, eq=False)
class PersonPeriods:
    """A row for each life in each period through which it was watched.

    Parameters
    ----------
    begin, end : ndarray, shape (r,), runs
        The period.
    fails : ndarray of bool, shape (r,)
    covariates : ndarray, shape (r, p)
    weight : ndarray, shape (r,)
    lives : float
        Lives with any row.
    notes : tuple of str
    """

    begin: FloatArray
    end: FloatArray
    fails: BoolArray
    covariates: FloatArray
    weight: FloatArray
    lives: float
    notes: tuple[str, ...]

    def where_hazard_is_told(self) -> tuple["PersonPeriods", tuple[str, ...]]:
        """Return the rows of periods in which some failed and some did not, and what was left.

        In the others a free hazard fits all there is to say, and nothing is said of ratios.
        """
        ends, places = np.unique(self.end, return_inverse=True)
        failed = np.bincount(places, self.fails, ends.size)
        there = np.bincount(places, minlength=ends.size)
        mixed = (failed > 0) & (failed < there)
        if not mixed.any():
            message = "in no period did some fail and some not: hazard ratios cannot be told"
            raise ObservationError(message)
        if mixed.all():
            return self, ()
        keep = mixed[places]
        rows = replace(
            self,
            begin=self.begin[keep],
            end=self.end[keep],
            fails=self.fails[keep],
            covariates=self.covariates[keep],
            weight=self.weight[keep],
        )
        gone = int((~mixed).sum())
        return rows, (f"{gone} of {ends.size} periods say nothing: none failed in them, or all",)


def person_periods(
    histories: "Histories", edges: Sequence[float] | FloatArray | None = None
) -> PersonPeriods:
    """Return the rows.

    Parameters
    ----------
    histories : Histories
        Each life enters at an edge; each failure is known to one period, or exactly, and then
        counts in the period it falls in; covariates stay as they are through a period. A life
        last seen sound within a period counts up to the edge before.
    edges : sequence or array of float, or None, runs
        Rising ages between periods; None takes 0, 1, 2, ... as far as the lives go.

    Raises
    ------
    UsageError
        Edges that do not rise or do not reach from the first entry to the last failure.
    ObservationError
        A life does not fit the periods; the message names the first.
    TooFewError
        No life was watched through a period.
    """
    seen = histories.observations
    last = float(np.where(seen.failed, seen.upper, seen.lower).max(initial=0.0))
    cuts = np.arange(np.ceil(last - _AT_AN_EDGE) + 1) if edges is None else np.asarray(edges, float)
    _check_edges(cuts, float(seen.entry.min(initial=np.inf)), last)
    first = np.searchsorted(cuts, seen.entry - _AT_AN_EDGE)
    off = np.abs(cuts[np.minimum(first, cuts.size - 1)] - seen.entry) > _AT_AN_EDGE
    _refuse(histories, off & seen.informative, "enters within a period, at", seen.entry)
    sound_to = np.searchsorted(cuts, seen.lower + _AT_AN_EDGE, side="right") - 1
    found = np.searchsorted(cuts, np.where(seen.failed, seen.upper, 0.0) - _AT_AN_EDGE)
    exact = seen.failed & (seen.lower == seen.upper)
    sound_to = np.where(exact, found - 1, sound_to)
    wide = seen.failed & (found - sound_to != 1)
    _refuse(histories, wide, "failed somewhere in more than one period, by", seen.upper)
    short = ~seen.failed & (seen.lower - cuts[sound_to] > _AT_AN_EDGE)
    count = np.where(seen.failed, found, sound_to) - first
    count = np.where(seen.informative, np.maximum(count, 0), 0)
    return _rows(histories, cuts, first.astype(np.int64), count.astype(np.int64), int(short.sum()))


def _rows(
    histories: "Histories", cuts: FloatArray, first: IntArray, count: IntArray, short: int
) -> PersonPeriods:
    seen = histories.observations
    total = int(count.sum())
    if not total:
        message = "no life was watched through a whole period"
        raise TooFewError(message, have=0, need=1)
    if total > _MOST_ROWS:
        message = f"{total} rows of life and period are too many; take wider periods"
        raise UsageError(message)
    life = np.repeat(np.arange(count.size), count)
    place = np.arange(total) - np.repeat(np.cumsum(count) - count, count)
    at = first[life] + place
    begin, end = cuts[at], cuts[at + 1]
    fails = seen.failed[life] & (place == count[life] - 1)
    stretch = _stretch_of(histories, life, begin, end)
    notes = []
    if short:
        who = "1 life counts" if short == 1 else f"{short} lives count"
        notes.append(f"{who} up to the end of the last whole period")
    return PersonPeriods(
        begin=begin,
        end=end,
        fails=fails,
        covariates=histories.covariates[stretch],
        weight=seen.weight[life],
        lives=float(seen.weight[count > 0].sum()),
        notes=tuple(notes),
    )


def _stretch_of(
    histories: "Histories", life: IntArray, begin: FloatArray, end: FloatArray
) -> IntArray:
    """Return the stretch that holds the period; refuse covariates that change within one."""
    # Stretches stand in the order of lives and ages: one search for all of them.
    far = float(max(histories.stop.max(initial=0.0), end.max(initial=0.0))) + 1.0
    marks = histories.life * far + histories.start
    held = np.searchsorted(marks, life * far + begin + _AT_AN_EDGE, side="right") - 1
    ends_in = np.searchsorted(marks, life * far + end - _AT_AN_EDGE) - 1
    changes = np.zeros(histories.observations.entry.size, dtype=np.bool_)
    differs = (histories.covariates[held] != histories.covariates[ends_in]).any(axis=1)
    changes[life[differs]] = True
    _refuse(histories, changes, "its covariates change within a period; entered at", None)
    return held.astype(np.int64)


def _check_edges(cuts: FloatArray, first: float, last: float) -> None:
    if cuts.size < 2 or not np.isfinite(cuts).all() or (np.diff(cuts) <= 0).any():  # noqa: PLR2004
        message = "edges of periods are rising ages, at least two"
        raise UsageError(message)
    if cuts[0] > first + _AT_AN_EDGE or cuts[-1] < last - _AT_AN_EDGE:
        message = (
            f"periods from {cuts[0]:g} to {cuts[-1]:g} do not hold lives from {first:g} to {last:g}"
        )
        raise UsageError(message)


def _refuse(histories: "Histories", wrong: BoolArray, why: str, where: FloatArray | None) -> None:
    if not wrong.any():
        return
    at = int(np.argmax(wrong))
    seen = histories.observations
    age = float(seen.entry[at] if where is None else where[at])
    message = f"{seen.labels[at]}: {why} {age:g} runs"
    raise ObservationError(message, hint="take periods that end where the looks are")

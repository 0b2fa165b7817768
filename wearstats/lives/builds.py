"""Builds: which runs belong to which strips, and how old the strips were at each run."""

from dataclasses import dataclass, field

import numpy as np

from wearstats.arrays import BoolArray, IntArray
from wearstats.lives.counter import LOAD_PARTS, TOLERANCE_RUNS, counters_agree
from wearstats.lives.restrips import OrderedRestrips
from wearstats.lives.timeline import OrderedRuns


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that keeps a build (by its row) out of the fits."""

    build: int
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Builds:
    """The builds of all units, sorted by unit and as they happened.

    Parameters
    ----------
    unit, number : ndarray of int64, shape (b,)
        Code of the unit; 1 for its first build.
    start, stop : ndarray of int64, shape (b,)
        Its runs are the rows from `start` up to, not with, `stop`.
    begun_by : ndarray of int64, shape (b,)
        Row of the restrip that began it, -1 if none is on record.
    ended_by : ndarray of int64, shape (b,)
        Row of the restrip that ended it, -1 if none is on record.
    inferred : ndarray of bool, shape (b,)
        Begun where the entered counter falls, for want of restrip rows.
    of_run : ndarray of int64, shape (n,)
        Row of the build each run belongs to.
    doubt : tuple of (str, str), length b
        Code and sentence where the place of its beginning cannot be told, else empty.
    """

    unit: IntArray
    number: IntArray
    start: IntArray
    stop: IntArray
    begun_by: IntArray
    ended_by: IntArray
    inferred: BoolArray
    of_run: IntArray
    doubt: tuple[tuple[str, str], ...]

    @property
    def count(self) -> int:
        """Number of builds."""
        return len(self.unit)

    @property
    def runs(self) -> IntArray:
        """Number of runs in each, shape (b,)."""
        return self.stop - self.start

    @property
    def faults(self) -> list[Fault]:
        """Uncertain boundaries: both neighbours of each are at fault."""
        return [
            Fault(neighbour, *doubt)
            for at, doubt in enumerate(self.doubt)
            if doubt[0]
            for neighbour in self.around(at)
        ]

    def around(self, build: int) -> tuple[int, ...]:
        """Return the build and the one before it on the same unit, if there is one."""
        if build > 0 and self.unit[build - 1] == self.unit[build]:
            return (build - 1, build)
        return (build,)


@dataclass(frozen=True, slots=True)
class _Begins:
    """Where builds begin, one entry each: unit, first run row, restrip row or -1."""

    unit: list[int] = field(default_factory=list)
    place: list[int] = field(default_factory=list)
    restrip: list[int] = field(default_factory=list)
    doubt: list[tuple[str, str]] = field(default_factory=list)

    def add(self, unit: int, place: int, restrip: int, doubt: tuple[str, str]) -> None:
        self.unit.append(unit)
        self.place.append(place)
        self.restrip.append(restrip)
        self.doubt.append(doubt)


_SETTLED = ("", "")


def divide(runs: OrderedRuns, restrips: OrderedRestrips) -> Builds:
    """Divide the runs into builds: every run belongs to exactly one.

    A restrip begins a build, with or without runs after it. Runs before a unit's first
    restrip are a build of their own. A unit without restrip rows begins a build where the
    entered runs since restrip falls or does not rise.
    """
    first, past = runs.bounds()
    begins = _Begins()
    has_restrips = np.zeros(len(runs.units), dtype=bool)
    has_restrips[restrips.unit] = True
    for row, (unit, place) in enumerate(
        zip(restrips.unit.tolist(), restrips.place.tolist(), strict=True)
    ):
        begins.add(unit, place, row, (restrips.doubt[row], restrips.doubt_message[row]))
    opened = np.full(len(runs.units), np.iinfo(np.int64).max)
    np.minimum.at(opened, restrips.unit, restrips.place)
    for unit in np.flatnonzero((past > first) & (opened > first)).tolist():
        begins.add(unit, int(first[unit]), -1, _SETTLED)
    inferred_at = _falls(runs, has_restrips)
    for place, doubt in inferred_at.items():
        begins.add(int(runs.unit[place]), place, -1, doubt)

    units = np.array(begins.unit, dtype=np.int64)
    places = np.array(begins.place, dtype=np.int64)
    rows = np.array(begins.restrip, dtype=np.int64)
    order = np.lexsort((rows, places, units))
    unit, start, begun_by = units[order], places[order], rows[order]
    same = unit[1:] == unit[:-1]
    stop = past[unit]
    stop[:-1][same] = start[1:][same]
    ended_by = np.full(len(unit), -1, dtype=np.int64)
    ended_by[:-1][same] = begun_by[1:][same]
    opening = np.flatnonzero(np.concatenate(([True], ~same))) if len(unit) else np.zeros(0, int)
    index = np.arange(len(unit))
    first_of_unit = np.repeat(opening, np.diff(np.append(opening, len(unit))))
    return Builds(
        unit=unit,
        number=(index - first_of_unit + 1).astype(np.int64),
        start=start,
        stop=stop,
        begun_by=begun_by,
        ended_by=ended_by,
        inferred=(begun_by < 0) & (index > first_of_unit),
        of_run=np.searchsorted(start, np.arange(len(runs.unit)), "right").astype(np.int64) - 1,
        doubt=tuple(begins.doubt[at] for at in order),
    )


def _falls(runs: OrderedRuns, has_restrips: BoolArray) -> dict[int, tuple[str, str]]:
    """Return the rows at which units without restrip rows begin a build, with any doubt."""
    filled = np.flatnonzero(~np.isnan(runs.counter) & ~has_restrips[runs.unit])
    before, here = filled[:-1], filled[1:]
    step = runs.counter[here] - runs.counter[before]
    load = np.cumsum(runs.load_parts)
    loaded = (load[here] - load[before]) / LOAD_PARTS
    # Runs of no load at all do not raise a counter kept by load.
    idle = (np.abs(step) <= TOLERANCE_RUNS) & (loaded <= TOLERANCE_RUNS)
    fell = (runs.unit[here] == runs.unit[before]) & (step <= TOLERANCE_RUNS) & ~idle
    return dict(
        _begin_between(runs, int(old), int(new))
        for old, new in zip(before[fell], here[fell], strict=True)
    )


def _begin_between(runs: OrderedRuns, old: int, new: int) -> tuple[int, tuple[str, str]]:
    """Place the beginning that makes the counter at `new` a count from fresh strips."""
    fits = [
        place
        for place in range(old + 1, new + 1)
        if counters_agree(
            runs.counter[place : new + 1], runs.load_parts[place : new + 1], entry=0.0
        )
    ]
    load = int(runs.load_parts[old + 1 : new + 1].sum())
    level = abs(runs.counter[new] - runs.counter[old]) <= TOLERANCE_RUNS
    if level and fits and load < (new - old) * LOAD_PARTS:
        message = (
            f"runs since restrip stays at {runs.counter[new]:g} from {runs.said(old)} to "
            f"{runs.said(new)}, with a run of less than full load: new strips, or a run that was "
            "not counted; enter the restrip, or mend the counter"
        )
        return new, ("restrip-order", message)
    if len(fits) == 1:
        return fits[0], _SETTLED
    how = "stays at" if level else f"falls from {runs.counter[old]:g} ({runs.said(old)}) to"
    readings = f"runs since restrip {how} {runs.counter[new]:g} ({runs.said(new)}), "
    if fits:
        return new, (
            "restrip-order",
            readings + "and where between them the strips were renewed cannot be told; "
            "fill the counter in between, or enter the restrip",
        )
    return new, (
        "counter-disagrees",
        readings + "which is neither counted on nor counted from fresh strips "
        f"(at most {new - old}); mend the counter, or enter the restrip with the runs "
        "already on the strips",
    )

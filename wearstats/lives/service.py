"""Records of a unit from before it was taken in, or from after it was retired."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, IntArray
from wearstats.lives.builds import Builds, Fault
from wearstats.lives.restrips import OrderedRestrips
from wearstats.lives.timeline import OrderedRuns, day_said

_ALWAYS = int(np.iinfo(np.int64).min)
_NEVER = int(np.iinfo(np.int64).max)


@dataclass(frozen=True, slots=True)
class Service:
    """Days on which each unit joined and left.

    Parameters
    ----------
    taken_in, retired : ndarray of int64, shape (units,)
        Days since 1970; least and greatest int64 where blank.
    twice : frozenset of int
        Units entered more than once.
    """

    taken_in: IntArray
    retired: IntArray
    twice: frozenset[int]

    def has_left(self, unit: IntArray) -> BoolArray:
        """Mark codes of units that have been retired."""
        return np.asarray(self.retired[unit] != _NEVER, dtype=np.bool_)


def read_service(units: pd.DataFrame, names: tuple[str, ...]) -> Service:
    """Read the units sheet for the units that have runs or restrips."""
    taken_in = np.full(len(names), _ALWAYS, dtype=np.int64)
    retired = np.full(len(names), _NEVER, dtype=np.int64)
    code = {name: at for at, name in enumerate(names)}
    seen: set[int] = set()
    twice: set[int] = set()
    for name, joined, left in zip(
        units["unit"],
        units["taken_in"].to_numpy(dtype="datetime64[D]"),
        units["retired"].to_numpy(dtype="datetime64[D]"),
        strict=True,
    ):
        at = code.get(name)
        if at is None:
            continue
        (twice if at in seen else seen).add(at)
        if not np.isnat(joined):
            taken_in[at] = joined.astype(np.int64)
        if not np.isnat(left):
            retired[at] = left.astype(np.int64)
    return Service(taken_in, retired, frozenset(twice))


def service_faults(
    service: Service, runs: OrderedRuns, restrips: OrderedRestrips, builds: Builds
) -> list[Fault]:
    """Report builds with a run or restrip outside the unit's service."""
    faults = []
    upside_down = service.retired < service.taken_in
    for build, unit in enumerate(builds.unit.tolist()):
        if unit in service.twice:
            message = "the units sheet has this unit more than once; keep one row"
            faults.append(Fault(build, "unit-twice", message))
        elif upside_down[unit]:
            message = (
                f"retired on {day_said(service.retired[unit])}, before it was taken in on "
                f"{day_said(service.taken_in[unit])}; mend either"
            )
            faults.append(Fault(build, "retired-before-taken-in", message))
    sane = ~upside_down
    sane[list(service.twice)] = False
    for sheet_unit, sheet_day, is_run in (
        (runs.unit, runs.day, True),
        (restrips.unit, restrips.day, False),
    ):
        early = sane[sheet_unit] & (sheet_day < service.taken_in[sheet_unit])
        late = sane[sheet_unit] & (sheet_day > service.retired[sheet_unit])
        for row in np.flatnonzero(early | late).tolist():
            what = runs.said(row) if is_run else f"restrip of {day_said(sheet_day[row])}"
            unit = int(sheet_unit[row])
            touched = _touched(builds, row, is_run=is_run)
            faults += [Fault(build, *_said(service, unit, what, early[row])) for build in touched]
    return faults


def _touched(builds: Builds, row: int, *, is_run: bool) -> tuple[int, ...]:
    if is_run:
        return (int(builds.of_run[row]),)
    return builds.around(int(np.flatnonzero(builds.begun_by == row)[0]))


def _said(service: Service, unit: int, what: str, early: object) -> tuple[str, str]:
    if early:
        day = day_said(service.taken_in[unit])
        return "before-taken-in", f"{what}, but the unit was taken in on {day}; mend either date"
    day = day_said(service.retired[unit])
    return "after-retired", f"{what}, but the unit was retired on {day}; mend either date"

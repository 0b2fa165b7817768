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
    early, late = _outside(service, sane, runs.unit, runs.day)
    for marked in (early, late):
        rows = np.flatnonzero(marked)
        which, at = np.unique(builds.of_run[rows], return_index=True)
        for build, row in zip(which.tolist(), rows[at].tolist(), strict=True):
            said = _said(service, int(runs.unit[row]), runs.said(row), early=bool(early[row]))
            faults.append(Fault(build, *said))
    early, late = _outside(service, sane, restrips.unit, restrips.day)
    begun = np.flatnonzero(builds.begun_by >= 0)  # both are sorted as they happened
    for row in np.flatnonzero(early | late).tolist():
        what = f"restrip of {day_said(restrips.day[row])}"
        said = _said(service, int(restrips.unit[row]), what, early=bool(early[row]))
        faults += [Fault(build, *said) for build in builds.around(int(begun[row]))]
    return faults


def _outside(
    service: Service, sane: BoolArray, unit: IntArray, day: IntArray
) -> tuple[BoolArray, BoolArray]:
    """Mark days before and after a unit's service."""
    early = sane[unit] & (day < service.taken_in[unit])
    late = sane[unit] & (day > service.retired[unit])
    return np.asarray(early, dtype=np.bool_), np.asarray(late, dtype=np.bool_)


def _said(service: Service, unit: int, what: str, *, early: bool) -> tuple[str, str]:
    if early:
        day = day_said(service.taken_in[unit])
        return "before-taken-in", f"{what}, but the unit was taken in on {day}; mend either date"
    day = day_said(service.retired[unit])
    return "after-retired", f"{what}, but the unit was retired on {day}; mend either date"

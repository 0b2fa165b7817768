"""How old the strips are at each run: counted, and held against what was entered."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.lives.builds import Builds, Fault
from wearstats.lives.counter import LOAD_PARTS, counters_agree, disagrees, entry_candidates
from wearstats.lives.restrips import OrderedRestrips
from wearstats.lives.timeline import OrderedRuns, day_said

_DECIMALS = 9


@dataclass(frozen=True, slots=True)
class Ages:
    """How old the strips are.

    Parameters
    ----------
    entry, end : ndarray, shape (b,), runs
        At the beginning of each build, and after its last run; NaN where unknown.
    before, after : ndarray, shape (n,), runs
        Before and after each run.
    faults : tuple of Fault
    """

    entry: FloatArray
    end: FloatArray
    before: FloatArray
    after: FloatArray
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class _Counted:
    """Runs in the build up to and with each run: their number and summed load."""

    number: FloatArray
    load: FloatArray
    whole: FloatArray  # summed load of each build


def count_ages(runs: OrderedRuns, restrips: OrderedRestrips, builds: Builds) -> Ages:
    """Count the age of the strips at every run and hold it against the entered counters."""
    of_run = builds.of_run
    total = np.concatenate(([0], np.cumsum(runs.load_parts))).astype(np.int64)
    counted = _Counted(
        number=(np.arange(len(of_run)) - builds.start[of_run] + 1).astype(np.float64),
        load=(total[1:] - total[builds.start[of_run]]) / LOAD_PARTS,
        whole=(total[builds.stop] - total[builds.start]) / LOAD_PARTS,
    )
    entry, faults = _entries(runs, restrips, builds, counted)
    faults += _counter_faults(runs, restrips, builds, entry, counted)
    faults += _run_faults(runs, builds)
    unknown = np.zeros(builds.count, dtype=bool)
    unknown[of_run[runs.bad_load]] = True
    start = np.where(unknown, np.nan, entry)
    own_load = runs.load_parts / LOAD_PARTS
    return Ages(
        entry=entry,
        end=_rounded(start + counted.whole),
        before=_rounded(start[of_run] + (counted.load - own_load)),
        after=_rounded(start[of_run] + counted.load),
        faults=tuple(faults),
    )


def _rounded(ages: FloatArray) -> FloatArray:
    return np.asarray(np.round(ages, _DECIMALS), dtype=np.float64)


def _run_faults(runs: OrderedRuns, builds: Builds) -> list[Fault]:
    faults = []
    for build, row in _first_of_each(builds, np.flatnonzero(runs.bad_load)):
        load = runs.frame["load"].iloc[row]
        message = f"load {load:g} of {runs.said(row)} is no share of a run; expected 0 to 1"
        faults.append(Fault(build, "bad-load", message))
    for build, row in _first_of_each(builds, np.flatnonzero(runs.tied)):
        message = (
            f"two runs at {runs.said(row)} cannot be put in order; give each run of the day "
            "its own number, or remove what was entered twice"
        )
        faults.append(Fault(build, "run-order", message))
    return faults


def _first_of_each(builds: Builds, rows: IntArray) -> list[tuple[int, int]]:
    """Return (build, first of the rows in it) for every build with one."""
    which, at = np.unique(builds.of_run[rows], return_index=True)
    return list(zip(which.tolist(), rows[at].tolist(), strict=True))


def _entries(
    runs: OrderedRuns, restrips: OrderedRestrips, builds: Builds, counted: _Counted
) -> tuple[FloatArray, list[Fault]]:
    """Return the age at which each build begins, NaN where the records do not say."""
    entry = np.zeros(builds.count)
    begun = builds.begun_by >= 0
    entry[begun] = restrips.already[builds.begun_by[begun]]
    bad = begun & ~((entry >= 0) & np.isfinite(entry))
    faults = [
        Fault(
            int(at),
            "bad-entry",
            f"{entry[at]:g} runs already on the strips; expected 0 or more",
        )
        for at in np.flatnonzero(bad)
    ]
    entry[bad] = np.nan
    entry[builds.inferred & np.array([code != "" for code, _ in builds.doubt], dtype=bool)] = np.nan
    derived = ~begun & ~builds.inferred
    entry[derived] = np.nan
    faults += _derive(runs, builds, counted, derived, entry)
    return entry, faults


def _derive(
    runs: OrderedRuns, builds: Builds, counted: _Counted, derived: BoolArray, entry: FloatArray
) -> list[Fault]:
    """Fill the entry of builds that no restrip began, from their first entered counter."""
    filled = np.flatnonzero(~np.isnan(runs.counter) & derived[builds.of_run])
    which, at = np.unique(builds.of_run[filled], return_index=True)
    first = filled[at]
    likelier, other = entry_candidates(
        runs.counter[first], counted.number[first], counted.load[first]
    )
    entry[which] = likelier  # stands if neither agrees with all later counters
    for candidate in (other, likelier):
        trial = np.full(builds.count, np.nan)
        trial[which] = candidate
        wrong = disagrees(
            runs.counter[filled],
            trial[builds.of_run[filled]],
            counted.number[filled],
            counted.load[filled],
        )
        refuted = np.zeros(builds.count, dtype=bool)
        refuted[builds.of_run[filled[wrong]]] = True
        take = ~np.isnan(trial) & ~refuted
        entry[take] = trial[take]
    faults = [
        Fault(
            build,
            "counter-disagrees",
            f"{runs.counter[row]:g} runs since restrip entered at {runs.said(row)}, but "
            f"{counted.number[row]:g} runs are recorded on these strips by then; the counter "
            "includes its own run",
        )
        for build, row in zip(which.tolist(), first.tolist(), strict=True)
        if np.isnan(entry[build])
    ]
    silent = derived.copy()
    silent[which] = False
    faults += [
        Fault(
            int(build),
            "age-unknown",
            "no restrip is recorded before its first run and no runs since restrip are "
            "entered; enter either",
        )
        for build in np.flatnonzero(silent)
    ]
    return faults


def _counter_faults(
    runs: OrderedRuns,
    restrips: OrderedRestrips,
    builds: Builds,
    entry: FloatArray,
    counted: _Counted,
) -> list[Fault]:
    """Report builds whose entered counters disagree with the counted age."""
    at_run = entry[builds.of_run]
    wrong = disagrees(runs.counter, at_run, counted.number, counted.load) & ~np.isnan(at_run)
    has_restrips = np.zeros(len(runs.units), dtype=bool)
    has_restrips[builds.unit[builds.begun_by >= 0]] = True
    faults = []
    for build, row in _first_of_each(builds, np.flatnonzero(wrong)):
        readings = _readings(
            runs, row, entry[build] + counted.number[row], entry[build] + counted.load[row]
        )
        unit = builds.unit[build]
        if has_restrips[unit] and _falls_for_good(runs, builds, build, row, wrong):
            message = (
                readings + "; the counter falls with no restrip on record: enter the restrip, "
                "or mend the counter"
            )
            faults.append(Fault(build, "fall-without-restrip", message))
            continue
        if builds.begun_by[build] >= 0 and _begins_elsewhere(
            runs, builds, build, row, (entry, restrips.already)
        ):
            day = day_said(restrips.day[builds.begun_by[build]])
            message = (
                f"{readings}; the counters tell of another day or run for the restrip of {day}: "
                "mend the restrip, or the counter"
            )
            faults += [Fault(each, "counter-disagrees", message) for each in builds.around(build)]
            continue
        message = readings + "; mend the counter, or enter the run or restrip that is missing"
        # A beginning that was itself read off the counter is then in doubt as well.
        spoiled = builds.around(build) if builds.inferred[build] else (build,)
        faults += [Fault(each, "counter-disagrees", message) for each in spoiled]
    return faults


def _begins_elsewhere(
    runs: OrderedRuns, builds: Builds, build: int, row: int, ages: tuple[FloatArray, FloatArray]
) -> bool:
    """Tell whether the first counter of a build puts the restrip that began it in dispute.

    So it does where it goes on from the build before, and where it is a count from fresh strips
    from another run than the first one on record. Then the end of the build before is as
    uncertain as this beginning.

    Parameters
    ----------
    build, row : int
        The build, and the first of its runs whose counter is wrong.
    ages : tuple of ndarray, shape (b,) and (m,)
        At the beginning of each build, and as entered with each restrip.
    """
    counter, parts = runs.counter, runs.load_parts
    start, before = int(builds.start[build]), build - 1
    if before not in builds.around(build) or not np.isnan(counter[start:row]).all():
        return False
    entry, already = ages

    def agrees(place: int, age: float) -> bool:
        return counters_agree(
            counter[place : row + 1], parts[place : row + 1], entry=age, since=row - place
        )

    earlier = np.arange(builds.start[before], start)
    filled = earlier[~np.isnan(counter[earlier])]
    first = int(filled[-1]) + 1 if len(filled) else int(builds.start[before])
    fresh = float(already[builds.begun_by[build]])
    goes_on = agrees(int(builds.start[before]), float(entry[before]))
    return goes_on or any(agrees(place, fresh) for place in range(first, row + 1))


def _falls_for_good(
    runs: OrderedRuns, builds: Builds, build: int, row: int, wrong: BoolArray
) -> bool:
    """Tell a restrip that was never entered from a slip of the pen in one counter."""
    rows = np.arange(builds.start[build], builds.stop[build])
    filled = rows[~np.isnan(runs.counter[rows])]
    earlier = filled[filled < row]
    fell = bool(len(earlier)) and runs.counter[row] <= runs.counter[earlier[-1]]
    return bool(fell and wrong[filled[-1]])


def _readings(runs: OrderedRuns, row: int, by_number: float, by_load: float) -> str:
    count = f"{by_number:g}"
    if by_load != by_number:
        count += f" by number, {by_load:g} by load"
    return f"{runs.counter[row]:g} runs since restrip entered at {runs.said(row)}, {count} counted"

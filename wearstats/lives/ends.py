"""What the looks say: the interval a life lies in, its mode, and how the build ended."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.lives.ages import Ages
from wearstats.lives.builds import Builds, Fault
from wearstats.lives.restrips import OrderedRestrips
from wearstats.lives.timeline import OrderedRuns, day_said
from wearstats.records.schema import MODES, RESTRIPS, RUNS

SOUND = ("sound", "hot")
"""States that are no failure; a hot strip still seals."""

_STATES = (*MODES, *SOUND)
_FAILURES = len(MODES)
_NO_DAY = int(np.iinfo(np.int64).min)


@dataclass(frozen=True, slots=True)
class Ends:
    """What is known of each build's end.

    Parameters
    ----------
    lower, upper : ndarray, shape (b,), runs
        Last age found sound (or entry); first age found failed, else infinite.
    mode : ndarray of int64, shape (b,)
        Place in MODES, -1 if no failure.
    last_look : ndarray, shape (b,), runs
        NaN if nobody looked.
    last_look_day : ndarray of int64, shape (b,)
        Least int64 if nobody looked.
    first_look_failed : ndarray of bool, shape (b,)
        Nobody found these strips sound before they were found failed.
    faults : tuple of Fault
    """

    lower: FloatArray
    upper: FloatArray
    mode: IntArray
    last_look: FloatArray
    last_look_day: IntArray
    first_look_failed: BoolArray
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class _Looks:
    """Looks after runs: per build the rows of the last sound and the first failed one."""

    state: IntArray  # per run, place in _STATES or -1
    failed_at: IntArray  # per build, row, or -1
    sound_at: IntArray  # per build, row of the last sound one before it, or -1
    sound_later_at: IntArray  # per build, row of a sound one after it, or -1
    other_mode_at: IntArray  # per build, row of a failed one of another mode, or -1
    last_at: IntArray  # per build, row, or -1


@dataclass(frozen=True, slots=True)
class _Teardown:
    """What the restrip that ended each build says; places in _STATES, -1 if nothing."""

    reason: IntArray
    found: IntArray
    day: IntArray


def read_ends(runs: OrderedRuns, restrips: OrderedRestrips, builds: Builds, ages: Ages) -> Ends:
    """Find the interval each life lies in.

    A life found failed after age a and last found sound at b lies in (b, a]. What the
    restrip says of the strips that came out is a look at the age the build ended.
    """
    looks = _read_looks(runs, builds)
    torn = _read_teardown(restrips, builds)
    after = np.append(ages.after, np.nan)  # row -1 reads as nothing
    lower = np.where(looks.sound_at >= 0, after[looks.sound_at], ages.entry)
    seen_failed = looks.failed_at >= 0
    upper = np.where(seen_failed, after[looks.failed_at], np.inf)
    mode = np.where(seen_failed, np.append(looks.state, -1)[looks.failed_at], -1)

    said = np.where(_is_failure(torn.found), torn.found, torn.reason)
    failed_at_end = ~seen_failed & _is_failure(said)
    upper = np.where(failed_at_end, ages.end, upper)
    mode = np.where(failed_at_end, said, mode)
    sound_at_end = ~seen_failed & ~failed_at_end & (torn.found >= _FAILURES)
    lower = np.where(sound_at_end, ages.end, lower)

    looked_at_end = (torn.found >= 0) | (torn.reason >= 0)
    days = np.append(runs.day, _NO_DAY)
    return Ends(
        lower=lower,
        upper=upper,
        mode=mode.astype(np.int64),
        last_look=np.where(looked_at_end, ages.end, after[looks.last_at]),
        last_look_day=np.where(looked_at_end, torn.day, days[looks.last_at]),
        first_look_failed=(mode >= 0) & (looks.sound_at < 0),
        faults=(
            *_word_faults(runs, restrips, builds),
            *_look_faults(runs, looks, torn),
            *_mode_faults(runs, looks, torn),
            *_empty_faults(lower, upper, ages.end),
        ),
    )


def _is_failure(state: IntArray) -> BoolArray:
    return (state >= 0) & (state < _FAILURES)


def _states(words: pd.Series) -> IntArray:
    return np.asarray(pd.Categorical(words, categories=list(_STATES)).codes, dtype=np.int64)


def _last_row(builds: Builds, rows: IntArray) -> IntArray:
    last = np.full(builds.count, -1, dtype=np.int64)
    np.maximum.at(last, builds.of_run[rows], rows)
    return last


def _first_row(builds: Builds, rows: IntArray) -> IntArray:
    first = np.full(builds.count, np.iinfo(np.int64).max)
    np.minimum.at(first, builds.of_run[rows], rows)
    return np.where(first == np.iinfo(np.int64).max, -1, first)


def _read_looks(runs: OrderedRuns, builds: Builds) -> _Looks:
    state = _states(runs.frame["strips"])
    looked = np.flatnonzero(state >= 0)
    failed = looked[state[looked] < _FAILURES]
    sound = looked[state[looked] >= _FAILURES]
    failed_at = _first_row(builds, failed)
    limit = np.where(failed_at < 0, len(state), failed_at)[builds.of_run]
    first_mode = np.append(state, -1)[failed_at][builds.of_run]
    return _Looks(
        state=state,
        failed_at=failed_at,
        sound_at=_last_row(builds, sound[sound < limit[sound]]),
        sound_later_at=_first_row(builds, sound[sound > limit[sound]]),
        other_mode_at=_first_row(builds, failed[state[failed] != first_mode[failed]]),
        last_at=_last_row(builds, looked),
    )


def _read_teardown(restrips: OrderedRestrips, builds: Builds) -> _Teardown:
    """Read reason and found of the restrip that ended each build; -1 where none did."""
    reason = np.append(_states(restrips.frame["reason"]), -1)[builds.ended_by]
    found = np.append(_states(restrips.frame["found"]), -1)[builds.ended_by]
    return _Teardown(
        reason=np.where(_is_failure(reason), reason, -1),
        found=found,
        day=np.append(restrips.day, _NO_DAY)[builds.ended_by],
    )


def _look_faults(runs: OrderedRuns, looks: _Looks, torn: _Teardown) -> list[Fault]:
    faults = []
    found_sound = (looks.failed_at >= 0) & (torn.found >= _FAILURES)
    for build in np.flatnonzero((looks.sound_later_at >= 0) | found_sound).tolist():
        failed, sound = looks.failed_at[build], looks.sound_later_at[build]
        later = (
            f"{_STATES[looks.state[sound]]} after {runs.said(sound)}"
            if sound >= 0
            else f"{_STATES[torn.found[build]]} when they came out on {day_said(torn.day[build])}"
        )
        message = (
            f"strips {_STATES[looks.state[failed]]} after {runs.said(failed)}, but {later}; "
            "mend the look that is wrong, or enter the restrip between them"
        )
        faults.append(Fault(build, "sound-after-failed", message))
    return faults


def _mode_faults(runs: OrderedRuns, looks: _Looks, torn: _Teardown) -> list[Fault]:
    seen = np.append(looks.state, -1)[looks.failed_at]
    found_failed = np.where(_is_failure(torn.found), torn.found, -1)
    unlike = (
        (looks.other_mode_at >= 0)
        | _differ(seen, torn.reason)
        | _differ(seen, found_failed)
        | _differ(torn.reason, torn.found)
    )
    faults = []
    for build in np.flatnonzero(unlike).tolist():
        words = [
            f"{_STATES[looks.state[row]]} after {runs.said(row)}"
            for row in (looks.failed_at[build], looks.other_mode_at[build])
            if row >= 0
        ]
        if torn.reason[build] >= 0:
            words.append(f"{_STATES[torn.reason[build]]} as reason of the restrip")
        if torn.found[build] >= 0:
            words.append(f"{_STATES[torn.found[build]]} as found at the restrip")
        if torn.reason[build] >= 0 or torn.found[build] >= 0:
            words[-1] += f" of {day_said(torn.day[build])}"
        message = f"strips {', '.join(words)}; a build ends in one way: mend what is wrong"
        faults.append(Fault(build, "modes-disagree", message))
    return faults


def _differ(one: IntArray, other: IntArray) -> BoolArray:
    return np.asarray((one >= 0) & (other >= 0) & (one != other), dtype=np.bool_)


def _empty_faults(lower: FloatArray, upper: FloatArray, end: FloatArray) -> list[Fault]:
    return [
        Fault(
            int(build),
            "ends-before-it-begins",
            f"strips sound at age {lower[build]:g}, and failed at age {upper[build]:g} with "
            f"no run under load in between (age at the end {end[build]:g}); mend the look or "
            "the reason of the restrip, or log the runs in between",
        )
        for build in np.flatnonzero(upper <= lower)
    ]


def _word_faults(runs: OrderedRuns, restrips: OrderedRestrips, builds: Builds) -> list[Fault]:
    """Report words the schema does not know: they could be a failure or not."""
    faults = []
    state_words = set(RUNS.column("strips").choices or ())
    words = runs.frame["strips"]
    for row in np.flatnonzero((words.notna() & ~words.isin(state_words)).to_numpy()).tolist():
        message = f"strips {words.iloc[row]!r} after {runs.said(row)} is no known word"
        faults.append(Fault(int(builds.of_run[row]), "word-unknown", message))
    ended = {int(row): at for at, row in enumerate(builds.ended_by) if row >= 0}
    for name in ("reason", "found"):
        known = set(RESTRIPS.column(name).choices or ())
        words = restrips.frame[name]
        for row in np.flatnonzero((words.notna() & ~words.isin(known)).to_numpy()).tolist():
            if row in ended:
                day = day_said(restrips.day[row])
                message = f"{name} {words.iloc[row]!r} of the restrip of {day} is no known word"
                faults.append(Fault(ended[row], "word-unknown", message))
    return faults

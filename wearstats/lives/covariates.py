"""From columns of the records to lives with covariates: what each stretch of a life was run at."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import NotIdentifiedError, ObservationError, UsageError
from wearstats.lives.histories import Histories, Indicator
from wearstats.lives.observations import Observations

if TYPE_CHECKING:
    from wearstats.lives.strip_lives import StripLives

_OF_THE_LIFE = {
    *("unit", "build", "began", "ended", "entry", "lower", "upper", "mode", "ending", "runs"),
    *("age", "last_look", "last_look_date", "open", "left_out", "weight"),
}
_OF_THE_RUN = {
    *("unit", "build", "date", "run", "age_before", "age_after", "runs_since_restrip"),
    *("strips", "remark"),
}
_NEAR = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class KnownHistories:
    """Lives with covariates, and the lives whose covariates are not all known.

    Parameters
    ----------
    histories : Histories
    left_out : tuple of (str, str)
        Name of each life that is not there, and why.
    """

    histories: Histories
    left_out: tuple[tuple[str, str], ...]


def columns_of(lives: "StripLives") -> tuple[str, ...]:
    """Return the columns that can be covariates: of the runs, and of the lives."""
    fixed = [str(name) for name in lives.frame if name not in _OF_THE_LIFE]
    of_runs = [str(name) for name in lives.runs if name not in _OF_THE_RUN]
    return tuple(dict.fromkeys([*of_runs, *fixed]))


def histories_with(
    lives: "StripLives", columns: Sequence[str], mode: str = "burned"
) -> KnownHistories:
    """Return lives with what the columns say of each stretch of them.

    Parameters
    ----------
    lives : StripLives
    columns : sequence of str
        Columns of the lives (fixed over the life) or of the run sheet (may change each run), by
        name or by its beginning (boost for boost_psi). A column of words becomes an indicator
        for each word but the most frequent.
    mode : str

    Returns
    -------
    KnownHistories
        A life with a stretch of which a column is blank is left out by name.

    Raises
    ------
    UsageError
        No column, no such column, or one named twice.
    ObservationError
        No life is left.
    NotIdentifiedError
        A column of words says the same everywhere.
    """
    names = [_column(lives, name) for name in columns]
    if not names or len({*names}) < len(names):
        message = "name at least one column" if not names else f"{names} names a column twice"
        raise UsageError(message)
    observations = lives.observations(mode)
    stretches = _stretches(lives, observations, names)
    fixed = {name for name in names if name in lives.frame}
    faults = _faults(stretches, names, observations, fixed)
    left_out = [(observations.labels[place], why) for place, why in faults.items()]
    kept = [place for place in range(len(observations.labels)) if place not in faults]
    if not kept:
        message = f"no life has {' and '.join(names)} on record throughout"
        raise ObservationError(message)
    some = _some(observations, kept)
    number = np.full(len(observations.labels), -1)
    number[kept] = np.arange(len(kept))
    life = number[stretches["life"]]
    table = stretches.assign(life=life)[life >= 0]
    if table.empty:
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise ObservationError(message)
    indicators, covariates = _numbers(table, names)
    units = lives.usable["unit"].tolist()
    histories = Histories(
        some,
        tuple(str(units[place]) for place in kept),
        tuple(each if isinstance(each, str) else each.title for each in indicators),
        table["life"].to_numpy(dtype=np.int64),
        table["start"].to_numpy(dtype=np.float64),
        table["stop"].to_numpy(dtype=np.float64),
        covariates,
        tuple(None if isinstance(each, str) else each for each in indicators),
    )
    return KnownHistories(histories, tuple(left_out))


def _column(lives: "StripLives", asked: str) -> str:
    known = columns_of(lives)
    if asked in known:
        return asked
    begin = [name for name in known if name.startswith(f"{asked}_")]
    if len(begin) == 1:
        return begin[0]
    near = begin or get_close_matches(asked, known, n=3)
    message = f"no column {asked!r} to go with lives"
    hint = f"Near it: {', '.join(near)}." if near else f"There is {', '.join(known) or 'none'}."
    raise UsageError(message, hint=hint)


def _some(seen: Observations, kept: Sequence[int]) -> Observations:
    at = np.array(kept)
    labels = tuple(seen.labels[place] for place in kept)
    return replace(
        seen,
        entry=seen.entry[at],
        lower=seen.lower[at],
        upper=seen.upper[at],
        weight=seen.weight[at],
        labels=labels,
    )


def _stretches(
    lives: "StripLives", observations: Observations, names: Sequence[str]
) -> pd.DataFrame:
    """Return life, start, stop and the columns, a row a stretch, in order of life and age."""
    frame = lives.usable
    of_runs = [name for name in names if name not in frame]
    entry, end = observations.entry, _ends(observations)
    life, run = np.flatnonzero(end > entry), np.zeros(0, dtype=np.int64)
    start, stop = entry[life], end[life]
    if of_runs:
        life, run, start, stop = _cut(lives, entry, end)
    columns = {
        name: (lives.runs[name].iloc[run] if name in of_runs else frame[name].iloc[life]).array
        for name in names
    }
    return pd.DataFrame({"life": life, "start": start, "stop": stop} | columns)


def _ends(observations: Observations) -> FloatArray:
    return np.where(observations.failed, observations.upper, observations.lower)


def _cut(
    lives: "StripLives", entry: FloatArray, end: FloatArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Return the runs of each life between its ages: life, place of the run, start and stop."""
    frame, runs = lives.usable, lives.runs
    by_build = runs.groupby(["unit", "build"]).indices
    none = np.zeros(0, dtype=np.int64)
    builds = zip(frame["unit"], frame["build"], strict=True)
    places = [by_build.get(build, none) for build in builds]
    life = np.repeat(np.arange(len(places)), [len(each) for each in places])
    run = np.concatenate([none, *places])
    before = runs["age_before"].to_numpy(dtype=np.float64)[run]
    after = runs["age_after"].to_numpy(dtype=np.float64)[run]
    within = (after > entry[life] + _NEAR) & (before < end[life] - _NEAR)
    some = np.flatnonzero(within & (end > entry)[life])
    some = some[np.lexsort((before[some], life[some]))]
    life, run = life[some], run[some]
    start, stop = np.maximum(before[some], entry[life]), np.minimum(after[some], end[life])
    # Sums of loads may differ in the last place from the ages of the looks.
    first, last = _first_and_last(life)
    come = np.where(first, entry[life], np.append(np.nan, stop)[:-1])
    start = np.where(np.abs(start - come) < _NEAR, come, start)
    stop = np.where(last & (np.abs(stop - end[life]) < _NEAR), end[life], stop)
    return life, run, start, stop


def _first_and_last(life: IntArray) -> tuple[BoolArray, BoolArray]:
    """Return which stretches are the first, and which the last of their life."""
    changes = life[1:] != life[:-1]
    some = np.ones(min(life.size, 1), dtype=np.bool_)
    return np.concatenate([some, changes]), np.concatenate([changes, some])


def _faults(
    table: pd.DataFrame,
    names: Sequence[str],
    observations: Observations,
    fixed: Collection[str],
) -> dict[int, str]:
    """Say why lives cannot go with the columns, by their place."""
    life = table["life"].to_numpy()
    start, stop = table["start"].to_numpy(), table["stop"].to_numpy()
    entry, end = observations.entry, _ends(observations)
    first, last = _first_and_last(life)
    whole = np.zeros(entry.size, dtype=np.bool_)
    whole[life] = True
    whole[life[first & (start != entry[life])]] = False
    whole[life[last & (stop != end[life])]] = False
    whole[life[~first & (start != np.append(np.nan, stop)[:-1])]] = False
    faults = {
        int(place): f"the runs on record do not make up ages {entry[place]:g} to {end[place]:g}"
        for place in np.flatnonzero(~whole & (end > entry))
    }
    for name in names:
        for row in np.flatnonzero(table[name].isna().to_numpy()):
            age = f" for the run to age {stop[row]:g}" if name not in fixed else ""
            faults.setdefault(int(life[row]), f"{name} is blank{age}")
    return dict(sorted(faults.items()))


def _numbers(
    table: pd.DataFrame, names: Sequence[str]
) -> tuple[tuple[str | Indicator, ...], FloatArray]:
    """Return covariates as numbers, shape (s, p), each with its column or what it indicates."""
    titles: list[str | Indicator] = []
    columns: list[FloatArray] = []
    for name in names:
        values = pd.to_numeric(table[name], errors="coerce")
        if values.notna().all():
            titles.append(name)
            columns.append(values.to_numpy(dtype=np.float64))
            continue
        words = table[name].astype(str).str.strip()
        counts = (
            words.groupby(words).size().sort_index().sort_values(ascending=False, kind="stable")
        )
        usual, *others = (str(word) for word in counts.index)
        if not others:
            said = name.replace("_", " ")
            message = f"every life has the same {said} ({usual}): nothing to compare"
            raise NotIdentifiedError(message, direction=name)
        titles += [Indicator(name, word, usual) for word in others]
        indicators = words.to_numpy(dtype=object)[:, None] == np.array(others, dtype=object)
        columns += list(indicators.astype(np.float64).T)
    return tuple(titles), np.column_stack(columns) if columns else np.empty((len(table), 0))

"""From columns of the records to lives with covariates: what each stretch of a life was run at."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
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
    left_out: list[tuple[str, str]] = []
    kept: list[int] = []
    for place, label in enumerate(observations.labels):
        why = _fault(stretches[place], names, observations, place, fixed)
        if why:
            left_out.append((label, why))
        else:
            kept.append(place)
    if not kept:
        message = f"no life has {' and '.join(names)} on record throughout"
        raise ObservationError(message)
    some = _some(observations, kept)
    parts = [stretches[place].assign(life=number) for number, place in enumerate(kept)]
    table = pd.concat(parts, ignore_index=True)
    if table.empty:
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise ObservationError(message)
    indicators, covariates = _numbers(table, names)
    histories = Histories(
        some,
        tuple(str(lives.usable["unit"].iloc[place]) for place in kept),
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
) -> list[pd.DataFrame]:
    """Return start, stop and the columns for each life, a row a stretch."""
    frame = lives.usable
    ends = np.where(observations.failed, observations.upper, observations.lower)
    fixed = [name for name in names if name in frame]
    of_runs = [name for name in names if name not in frame]
    by_build = dict(tuple(lives.runs.groupby(["unit", "build"]))) if of_runs else {}
    found = []
    for place, (entry, end) in enumerate(zip(observations.entry, ends, strict=True)):
        row = frame.iloc[place]
        if end <= entry:
            table = pd.DataFrame({"start": [], "stop": []}, dtype=np.float64)
        elif of_runs:
            runs = by_build.get((row["unit"], row["build"]), lives.runs.iloc[:0])
            table = _cut(runs, float(entry), float(end), of_runs)
        else:
            table = pd.DataFrame({"start": [float(entry)], "stop": [float(end)]})
        found.append(table.assign(**{name: row[name] for name in fixed}))
    return found


def _cut(runs: pd.DataFrame, entry: float, end: float, columns: Sequence[str]) -> pd.DataFrame:
    """Return the runs of one build between two ages."""
    within = (runs["age_after"] > entry + _NEAR) & (runs["age_before"] < end - _NEAR)
    some = runs[within].sort_values("age_before")
    table = some[list(columns)].reset_index(drop=True)
    start = some["age_before"].to_numpy(dtype=np.float64).clip(min=entry)
    stop = some["age_after"].to_numpy(dtype=np.float64).clip(max=end)
    # Sums of loads may differ in the last place from the ages of the looks.
    close = np.abs(start[1:] - stop[:-1]) < _NEAR
    start[1:] = np.where(close, stop[:-1], start[1:])
    if start.size:
        start[0] = entry if abs(start[0] - entry) < _NEAR else start[0]
        stop[-1] = end if abs(stop[-1] - end) < _NEAR else stop[-1]
    return table.assign(start=start, stop=stop)


def _fault(
    table: pd.DataFrame,
    names: Sequence[str],
    observations: Observations,
    place: int,
    fixed: Collection[str],
) -> str:
    """Say why a life cannot go with the columns, or return an empty text."""
    entry = float(observations.entry[place])
    end = float((observations.upper if observations.failed[place] else observations.lower)[place])
    if end > entry:
        start, stop = table["start"].to_numpy(), table["stop"].to_numpy()
        whole = start.size and start[0] == entry and stop[-1] == end
        if not whole or (start[1:] != stop[:-1]).any():
            return f"the runs on record do not make up ages {entry:g} to {end:g}"
    for name in names:
        blank = table[name].isna().to_numpy() if name in table else np.zeros(0, dtype=np.bool_)
        if blank.any():
            if name in fixed:
                return f"{name} is blank"
            after = float(table["stop"].iloc[int(np.argmax(blank))])
            return f"{name} is blank for the run to age {after:g}"
    return ""


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

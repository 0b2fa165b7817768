"""The strips each unit starts a meet with, and what the records tell of them."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.lives import StripLives, lives_of
from wearstats.lookback.meets import Meet, known_before
from wearstats.plans.in_use import FAILED
from wearstats.records.season import Season

_SAME = 1e-9

RunKey = tuple[str, pd.Timestamp, int]
"""Unit, day and number of a run."""


@dataclass(frozen=True, slots=True)
class Start:
    """The strips on a unit at its first run of a meet.

    Attributes
    ----------
    meet : int
        Place among the meets.
    unit : str
    build : int or None
        None: a set fitted for this meet.
    first_run : (unit, day, run)
    age, last_look : float, runs
        On the strips before that run, and when last known sound, as known that morning.
    load : float, runs
        Load-weighted runs the unit makes at the meet.
    runs : int
    """

    meet: int
    unit: str
    build: int | None
    first_run: RunKey
    age: float
    last_look: float
    load: float
    runs: int

    @property
    def end(self) -> float:
        """Age at the end of the meet, if the strips stay on."""
        return self.age + self.load


@dataclass(frozen=True, slots=True)
class NoStart:
    """A unit at a meet for which no forecast can be made, and why."""

    meet: int
    unit: str
    why: str


class LivesByRun:
    """Strip lives that are looked up by a run made on them."""

    def __init__(self, lives: StripLives) -> None:
        runs = lives.runs
        keys = zip(runs["unit"], runs["date"], runs["run"], strict=True)
        places = zip(runs["build"], runs["age_before"], strict=True)
        self._of_run = {
            (str(unit), day, int(run)): (int(build), float(age))
            for (unit, day, run), (build, age) in zip(keys, places, strict=True)
        }
        self._builds = {
            (str(unit), int(build)): life
            for unit, build, life in zip(
                lives.frame["unit"],
                lives.frame["build"],
                lives.frame.to_dict(orient="records"),
                strict=True,
            )
        }
        self.lives = lives

    def build(self, unit: str, number: int) -> dict[Hashable, Any] | None:
        """Return the row of one build, or None."""
        return self._builds.get((unit, number))

    def at(self, run: RunKey) -> tuple[int, float] | None:
        """Return the build a run was made on, and the age of its strips before it."""
        return self._of_run.get(run)


def through_meet(season: Season, meet: Meet) -> LivesByRun:
    """Return the lives on the records up to a meet's last day."""
    return LivesByRun(lives_of(known_before(season, meet.last + pd.Timedelta(days=1))))


def starts_of(
    season: Season, meet: Meet, number: int, known: StripLives
) -> tuple[list[Start], list[NoStart]]:
    """Return the strips each unit starts a meet with.

    Which units run, how often and at what load, and which strips they start on, is taken as
    planned that morning; everything else comes from `known`.

    Parameters
    ----------
    season : Season
        All records; those dated after the meet are not looked at.
    meet : Meet
    number : int
        Its place among the meets.
    known : StripLives
        Of the records dated before the meet.
    """
    through = through_meet(season, meet)
    before = LivesByRun(known)
    starts: list[Start] = []
    without: list[NoStart] = []
    for first_run, loads in _units_at(season.runs.iloc[meet.rows]):
        state = _state(first_run, through, before)
        unit = first_run[0]
        if isinstance(state, str):
            without.append(NoStart(number, unit, state))
        elif not loads.sum() > 0:
            without.append(NoStart(number, unit, "made no run under load"))
        else:
            build, age, seen = state
            load = float(loads.sum())
            starts.append(Start(number, unit, build, first_run, age, seen, load, loads.size))
    return starts, without


def _units_at(rows: pd.DataFrame) -> Iterator[tuple[RunKey, FloatArray]]:
    """Yield the first run of each unit and the loads of all its runs."""
    for unit, own in rows.groupby("unit", sort=True):
        ordered = own.sort_values(["date", "run"], kind="stable")
        loads = ordered["load"].fillna(1.0).to_numpy(dtype=np.float64)
        yield (str(unit), ordered["date"].iloc[0], int(ordered["run"].iloc[0])), loads


def _state(
    first_run: RunKey, through: LivesByRun, before: LivesByRun
) -> tuple[int | None, float, float] | str:
    """Return build, age and last look of the strips, or why they are not known."""
    unit = first_run[0]
    place = through.at(first_run)
    if place is None:
        return "its runs are not in order"
    number, age_before = place
    life = before.build(unit, number)
    if life is None or not life["open"]:
        # Fitted for this meet, or a unit that joins: known by its age alone, whatever the meet
        # goes on to tell of these strips.
        return CONTRADICTED if np.isnan(age_before) else (None, age_before, age_before)
    if life["left_out"]:
        return CONTRADICTED
    if life["mode"]:
        return f"its strips had been found {life['mode']}"
    age = float(life["age"])
    return number, age, min(float(life["lower"]), age)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Whether strips burned through by the end of a meet, as far as is known.

    Attributes
    ----------
    burned : bool or None
        None where it is not known.
    since, found : float, runs
        Last age known sound and first known burned (infinite if none), where it is not known;
        ages as at the meet.
    why : str
        Why it is not known.
    """

    burned: bool | None
    since: float = 0.0
    found: float = np.inf
    why: str = ""


NOT_SEEN = "nobody looked at them after the meet's last run"
SEEN_LATE = "found burned later, and no look tells when"
OTHER_END = "they came off or failed otherwise during the meet"
CONTRADICTED = "their records contradict each other"


def outcome_of(start: Start, lives: LivesByRun) -> Outcome:
    """Return what the given lives tell of strips that started a meet.

    Parameters
    ----------
    start : Start
    lives : LivesByRun
        Of the records up to any day after the start.
    """
    place = lives.at(start.first_run)
    life = None if place is None else lives.build(start.unit, place[0])
    if place is None or life is None or life["left_out"] or np.isnan(place[1]):
        return Outcome(None, start.last_look, np.inf, CONTRADICTED)
    shift = start.age - place[1]
    burned = life["mode"] == FAILED
    lower = max(float(life["lower"]) + shift, start.last_look)
    upper = float(life["upper"]) + shift if burned else np.inf
    if upper <= start.end + _SAME:
        return Outcome(burned=True)
    if lower >= start.end - _SAME:
        return Outcome(burned=False)
    return Outcome(None, lower, upper, _why(start, life, shift, burned=burned))


def _why(start: Start, life: dict[Hashable, Any], shift: float, *, burned: bool) -> str:
    if burned:
        return SEEN_LATE
    came_off = not life["open"] and float(life["age"]) + shift < start.end - _SAME
    return OTHER_END if came_off else NOT_SEEN

"""One unit's failures over all its runs: the door from strip lives to recurrence."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.errors import ObservationError, UsageError
from wearstats.records.schema import MODES

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives import StripLives


@dataclass(frozen=True, slots=True)
class History:
    """When one unit failed, on the clock of its total load-weighted runs.

    Parameters
    ----------
    unit : str
    found : tuple of float, runs
        Total runs at each failure, rising, above 0 and up to `end`; where failures are found by
        looks, the total at the look that found it.
    end : float, runs
        Total runs up to which failures are known.
    earliest : tuple of float or None, runs
        The earliest each failure can have come (the last look that found the strips sound);
        None where the ages are exact.
    fresh : bool
        False where the clock starts on strips already worn: the first gap is then cut short.

    Raises
    ------
    ObservationError
        An age is missing, out of order or outside (0, end].
    """

    unit: str
    found: tuple[float, ...]
    end: float
    earliest: tuple[float, ...] | None = None
    fresh: bool = True

    def __post_init__(self) -> None:
        """Keep plain numbers, and refuse what is no history."""
        for name in ("found", "earliest"):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, tuple(float(age) for age in getattr(self, name)))
        object.__setattr__(self, "end", float(self.end))
        ages = np.array(self.found, dtype=np.float64)
        known = np.isfinite(self.end) and self.end > 0 and bool(np.isfinite(ages).all())
        if not known or (ages <= 0).any() or (ages > self.end).any() or (np.diff(ages) < 0).any():
            message = (
                f"{self.unit}: failures at {self.found} seen to {self.end:g} runs; expected rising "
                "ages above 0 and up to an end above 0"
            )
            raise ObservationError(message)
        if self.earliest is None:
            return
        early = np.array(self.earliest, dtype=np.float64)
        if early.shape != ages.shape or not ((early >= 0) & (early <= ages)).all():
            message = f"{self.unit}: earliest ages {self.earliest} do not go with {self.found}"
            raise ObservationError(message)

    @property
    def failures(self) -> int:
        """Number of failures."""
        return len(self.found)

    @property
    def ends_in_failure(self) -> bool:
        """Whether the last failure is where the history ends (failure truncated).

        Given a failure right at the end, the others fall as they would before any end, so this
        needs no knowledge of why the history ended there.
        """
        return bool(self.found) and self.found[-1] >= self.end

    @property
    def gaps(self) -> tuple[float, ...]:
        """Runs between failures, the first from the start where the strips were fresh."""
        return self._gaps(self.found)

    @property
    def earliest_gaps(self) -> tuple[float, ...]:
        """The same with every failure at its earliest."""
        return self._gaps(self.found if self.earliest is None else tuple(sorted(self.earliest)))

    def _gaps(self, ages: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(np.diff((0.0, *ages)).round(9).tolist())[0 if self.fresh else 1 :]


@dataclass(frozen=True, slots=True)
class NotFollowed:
    """Builds of a unit that its history does not cover, and why."""

    unit: str
    builds: tuple[int, ...]
    why: str

    def __str__(self) -> str:
        word = "build" if len(self.builds) == 1 else "builds"
        return f"{self.unit} {word} {', '.join(map(str, self.builds))}: {self.why}"


@dataclass(frozen=True, slots=True)
class UnitHistories:
    """The histories of a fleet.

    Parameters
    ----------
    mode : str
    histories : tuple of History
        In the order of the units.
    not_followed : tuple of NotFollowed
    notes : tuple of str
    """

    mode: str
    histories: tuple[History, ...]
    not_followed: tuple[NotFollowed, ...] = ()
    notes: tuple[str, ...] = ()


def histories_of(lives: "StripLives", mode: str = "burned") -> UnitHistories:
    """Lay each unit's builds end to end and mark where its strips failed.

    The clock counts load-weighted runs from the first build the history covers: what a unit ran
    before is not on record. A failure is placed at the age it was found. A build left out of the
    lives breaks the chain, since runs or a failure may be missing there: the unit is followed over
    its longest unbroken stretch of builds by runs (the earlier of two alike), and the rest is
    named. A build in use counts up to the last look; one that ended unseen counts whole, and the
    note says how many runs nobody looked after.

    Parameters
    ----------
    lives : StripLives
        Of a book: builds in order.
    mode : str
        Which end of strips is the failure; other ends count as runs without one.

    Returns
    -------
    UnitHistories

    Raises
    ------
    UsageError
        No such mode.
    """
    if mode not in MODES:
        message = f"no failure mode {mode!r}; known: {', '.join(MODES)}"
        raise UsageError(message)
    histories: list[History] = []
    not_followed: list[NotFollowed] = []
    unseen: list[str] = []
    for unit, builds in lives.frame.sort_values(["unit", "build"]).groupby("unit", sort=True):
        stretch = _longest_stretch(builds)
        if not stretch.empty:
            history, silent_runs = _followed(str(unit), stretch, mode)
            histories += [] if history is None else [history]
            if history is None:
                not_followed.append(_missed(str(unit), stretch, "nobody looked at the strips"))
            elif silent_runs > 0:
                unseen.append(f"{unit} {silent_runs:g}")
        rest = builds[~builds["build"].isin(stretch["build"])]
        if not rest.empty:
            not_followed.append(_missed(str(unit), rest, _break_reason(rest)))
    notes = ["each failure is placed where it was found; it may have come earlier"]
    if unseen:
        notes.append(
            "runs at the end of builds after which nobody looked, counted as without failure: "
            + ", ".join(unseen)
        )
    return UnitHistories(mode, tuple(histories), tuple(not_followed), tuple(notes))


def _missed(unit: str, builds: "pd.DataFrame", why: str) -> NotFollowed:
    return NotFollowed(unit, tuple(int(number) for number in builds["build"]), why)


def _break_reason(rest: "pd.DataFrame") -> str:
    left_out = rest.loc[rest["left_out"].astype(bool), "build"].tolist()
    which = ", ".join(f"{number:g}" for number in left_out)
    return f"total runs cannot be carried past build {which}, left out until resolved"


def _longest_stretch(builds: "pd.DataFrame") -> "pd.DataFrame":
    """Return the longest run of consecutive builds that are not left out."""
    out = builds["left_out"].to_numpy(dtype=bool)
    kept = builds[~out]
    stretch = out.cumsum()[~out]
    if kept.empty:
        return kept
    ran = np.bincount(stretch, weights=kept["runs"].to_numpy(dtype=np.float64))
    ran[np.setdiff1d(np.arange(ran.size), stretch)] = -1.0
    longest: pd.DataFrame = builds.loc[~out & (out.cumsum() == ran.argmax())]
    return longest


def _followed(unit: str, stretch: "pd.DataFrame", mode: str) -> tuple[History | None, float]:
    """Return the history over a stretch, and the runs in it that nobody looked after."""
    entry, lower, upper, age = (
        stretch[name].to_numpy(dtype=np.float64) for name in ("entry", "lower", "upper", "age")
    )
    ran = age - entry
    start = np.concatenate(([0.0], np.cumsum(ran)[:-1])) - entry
    failed = stretch["mode"].to_numpy(dtype=object) == mode
    ended_well = np.isinf(upper)
    found = (start + np.where(failed, upper, 0.0))[failed].round(9)
    earliest = (start + lower)[failed].round(9)
    # Nobody knows of a failure after the last look of the last build; burned strips that run
    # on cannot burn again.
    last_known = lower[-1] if ended_well[-1] else upper[-1]
    end = float((start[-1] + last_known).round(9))
    silent = float(np.where(ended_well[:-1], age[:-1] - lower[:-1], 0.0).sum().round(9))
    if end <= 0:
        return None, silent
    made = History(
        unit, tuple(found.tolist()), end, tuple(earliest.tolist()), fresh=bool(entry[0] == 0)
    )
    return made, silent


def failures_in(histories: Sequence[History]) -> int:
    """Return the number of failures in all."""
    return sum(history.failures for history in histories)

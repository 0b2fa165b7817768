"""Strip lives as a value: one row a build, one row a run, and what was left out and why."""

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wearstats.errors import UsageError
from wearstats.lives.observations import Observations
from wearstats.records.schema import MODES
from wearstats.shown import Cell, Column, Readable, Summary, counted


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A build kept out of the fits until its records are resolved.

    Parameters
    ----------
    unit : str
    build : int
        1 for the unit's first build on record.
    code : str
        Stable, lower case with hyphens ("counter-disagrees").
    message : str
        Both readings, where they stand, and what to do.
    """

    unit: str
    build: int
    code: str
    message: str

    def __str__(self) -> str:
        return f"{self.unit} build {self.build}: {self.message}"


@dataclass(frozen=True, slots=True, repr=False)
class StripLives(Readable):
    """The strip lives of a season, or of a table of lives.

    Parameters
    ----------
    frame : DataFrame
        One row a build, sorted by unit and build: unit, build, began (day of the restrip;
        NaT where none is on record), ended (day of the restrip or of retirement; NaT while
        in use or where none is on record), entry, lower, upper (runs; upper infinite where
        right-censored), mode (empty if no failure), ending ("in use", "retired",
        "unknown" or the restrip's reason), runs (number of run rows), age (load-weighted, at
        the end or now), last_look (age; NaN if nobody looked), last_look_date, open,
        left_out, strip_material, strip_lot, strip_height_thou, weight; then covariates.
        A build that is left out makes no claim: its lower and upper are NaN and its mode
        is empty.
    runs : DataFrame
        One row a run, sorted by unit, date and run: unit, build, date, run, load (blank
        filled with 1), age_before, age_after (NaN where the age is unknown), then every
        other column of the run sheet as recorded.
    left_out : tuple of LeftOut
        One for each fault; a build may have several.
    notes : tuple of str
        What the reader of any fit should know about these lives.
    """

    frame: pd.DataFrame
    runs: pd.DataFrame
    left_out: tuple[LeftOut, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def usable(self) -> pd.DataFrame:
        """The lives not left out, with a fresh index."""
        return self.frame[~self.frame["left_out"].to_numpy(dtype=bool)].reset_index(drop=True)

    def summary(self) -> Summary:
        """Return how long each build is known sound and how it ended."""
        usable = self.usable
        ends = usable.loc[usable["mode"] != "", "mode"].value_counts()
        failed = ", ".join(f"{ends[mode]} {mode}" for mode in MODES if mode in ends)
        out = len(self.frame) - len(usable)
        sound = len(usable) - int(ends.sum())
        lives = counted(len(usable), "life", "lives")
        return Summary(
            title="Strip lives",
            basis=(
                f"{lives}: {failed or 'no failure'}, {sound} not failed when last seen; "
                f"{counted(out, 'build')} left out."
            ),
            columns=(
                Column("unit"),
                Column("build", "number"),
                Column("entry", "number"),
                Column("lower", "number"),
                Column("upper", "number"),
                Column("mode"),
                Column("ending"),
            ),
            rows=tuple(map(_cells, self.frame.to_dict(orient="records"))),
            notes=(*map(str, self.left_out), *self.notes),
        )

    def to_frame(self) -> pd.DataFrame:
        """Return `frame`, every column of every build."""
        return self.frame

    def observations(self, mode: str = "burned") -> Observations:
        """Return the usable lives with failures of one mode; others are right-censored.

        Parameters
        ----------
        mode : str
            One of the failure modes of the schema, or one that occurs in these lives.

        Returns
        -------
        Observations
            A life that ended in another mode counts as sound up to its lower end.

        Raises
        ------
        UsageError
            No such mode.
        """
        lives = self.usable
        known = sorted(({*MODES} | {str(word) for word in lives["mode"]}) - {""})
        if mode not in known:
            message = f"no failure mode {mode!r}; known: {', '.join(known)}"
            raise UsageError(message)
        ended_so = lives["mode"].to_numpy(dtype=object) == mode
        return Observations(
            entry=lives["entry"].to_numpy(dtype=np.float64),
            lower=lives["lower"].to_numpy(dtype=np.float64),
            upper=np.where(ended_so, lives["upper"].to_numpy(dtype=np.float64), np.inf),
            weight=lives["weight"].to_numpy(dtype=np.float64),
            labels=tuple(
                f"{unit} build {build}"
                for unit, build in zip(lives["unit"], lives["build"], strict=True)
            ),
        )


def _cells(life: Mapping[Hashable, Any]) -> tuple[Cell, ...]:
    """Return a build as a summary shows it; blank where nothing is claimed."""
    ages = [float(life[name]) for name in ("entry", "lower", "upper")]
    known = [age if math.isfinite(age) else None for age in ages]
    ending = "left out" if life["left_out"] else str(life["ending"])
    return (str(life["unit"]), int(life["build"]), *known, str(life["mode"]), ending)

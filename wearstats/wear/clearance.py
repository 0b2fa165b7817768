"""Clearance against runs on the strips: rate of wear, start after a restrip, forecasts.

A linear mixed model on the middles of go / no-go readings: each build has its own start and its
own rate, builds of a unit share the unit's rate. `_fit_line` is the one place that knows the
readings are middles; a likelihood of the intervals themselves can take its place.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.feeler import BLADE_STEP_THOU, feeler
from wearstats.mixed import Component, MixedFit, fit_components
from wearstats.wear.forecast import ClearanceWearFit, LeftOutReadings

GAPS = ("tip", "mesh", "end", "metal")
"""What is read by feeler and cannot be negative; the other thing is strip height."""
KINDS = (*GAPS, "strip height")

_FAILED = ("burned", "pulled", "cut", "rubbed")
_LEAST_LOOKS = 4
_LEAST_UNITS = 3
_COLUMNS = ("unit", "build", "age", "what", "low_thou", "high_thou", "strips")


@dataclass(frozen=True, slots=True)
class ClearanceWear:
    """How a clearance or the strip height changes with runs on the strips.

    Parameters
    ----------
    what : str
        "tip", "mesh", "end", "metal" or "strip height".
    level : float
        Of the intervals the result shows unless asked for another.
    """

    what: str = "tip"
    level: float = 0.9

    def __post_init__(self) -> None:
        """Refuse what is not measured."""
        if self.what not in KINDS:
            message = f"there is no {self.what!r} to fit; choose from {', '.join(KINDS)}"
            raise UsageError(message)

    def fit(self, readings: pd.DataFrame) -> ClearanceWearFit:
        """Fit the readings of `what`.

        Readings at one place, unit and age are averaged first, for what they share (the feel of
        one hand, the position of the rotor) does not average out. Left out and counted: readings
        set aside, those taken with failed strips, those without a build or age, and those with no
        upper end. A reading below the thinnest blade counts as the middle of 0 and that blade.

        Parameters
        ----------
        readings : DataFrame
            Columns unit, build, age, what, low_thou, high_thou, strips, and left_out where some
            are set aside (others are ignored).

        Returns
        -------
        ClearanceWearFit

        Raises
        ------
        ObservationError
            A column is missing, or a reading is upside down.
        TooFewError
            Fewer than four usable looks, or all at one age.
        NotIdentifiedError
            The looks lie exactly on a line and carry no gauge uncertainty.
        """
        missing = [column for column in _COLUMNS if column not in readings.columns]
        if missing:
            message = f"clearance readings lack the column(s) {', '.join(missing)}"
            raise ObservationError(message)
        mine = readings.loc[readings["what"] == self.what]
        usable, left_out, notes = self._usable(mine)
        looks = _looks(usable)
        self._check_enough(looks, left_out)
        line = _fit_line(looks)
        return ClearanceWearFit(
            what=self.what,
            level=self.level,
            line=line,
            readings=len(usable),
            looks=len(looks),
            builds=len(looks[["unit", "build"]].drop_duplicates()),
            units=looks["unit"].nunique(),
            last_age=float(looks["age"].max()),
            left_out=left_out,
            notes=notes,
        )

    def _usable(
        self, mine: pd.DataFrame
    ) -> tuple[pd.DataFrame, tuple[LeftOutReadings, ...], tuple[str, ...]]:
        gap = self.what in GAPS
        read = feeler(
            mine["low_thou"].to_numpy(float),
            mine["high_thou"].to_numpy(float),
            step_thou=BLADE_STEP_THOU if gap else 0.0,
        )
        one_sided = np.isin(read.censoring, ["right"] if gap else ["left", "right"])
        placed = mine["build"].notna().to_numpy() & np.isfinite(mine["age"].to_numpy(float))
        aside = np.zeros(len(mine), dtype=bool)
        if "left_out" in mine:
            aside = mine["left_out"].to_numpy(dtype=bool)
        reasons: tuple[tuple[str, BoolArray], ...] = (
            ("set aside with its build or day", aside),
            ("no reading", read.censoring == "none"),
            ("no build or age known", ~placed),
            ("strips had failed", mine["strips"].isin(_FAILED).to_numpy()),
            ("one-sided: the thickest blade entered" if gap else "one-sided", one_sided),
        )
        kept = np.ones(len(mine), dtype=bool)
        left_out = []
        for reason, wrong in reasons:
            count = int(np.sum(kept & wrong))
            kept &= ~wrong
            if count:
                left_out.append(LeftOutReadings(reason, count))
        usable = pd.DataFrame(
            {
                "unit": mine["unit"].astype(str).to_numpy(),
                "build": mine["build"].to_numpy(float),
                "age": mine["age"].to_numpy(float),
                "middle": read.mean_thou,
                "u": read.u_thou,
            }
        ).loc[kept]
        low_sided = int(np.sum(kept & (read.censoring == "left")))
        notes = (
            (f"{low_sided} below the thinnest blade taken as the middle of 0 and that blade",)
            if low_sided
            else ()
        )
        return usable, tuple(left_out), notes

    def _check_enough(self, looks: pd.DataFrame, left_out: tuple[LeftOutReadings, ...]) -> None:
        if len(looks) >= _LEAST_LOOKS and looks["age"].min() < looks["age"].max():
            return
        lost = "; ".join(f"{out.count} left out ({out.reason})" for out in left_out)
        at = " at one age" if len(looks) >= _LEAST_LOOKS else ""
        message = (
            f"{len(looks)} usable looks at {self.what}{at} cannot give a rate of wear"
            f"{f' ({lost})' if lost else ''}; at least {_LEAST_LOOKS} at different ages are needed"
        )
        raise TooFewError(message, have=len(looks), need=_LEAST_LOOKS)


def _looks(usable: pd.DataFrame) -> pd.DataFrame:
    """One row for each unit, build and age: mean of the middles and its gauge variance."""
    grouped = usable.assign(variance=usable["u"] ** 2).groupby(["unit", "build", "age"])
    looks = grouped.agg(
        middle=("middle", "mean"), variance=("variance", "mean"), count=("middle", "size")
    ).reset_index()
    return looks.assign(variance=looks["variance"] / looks["count"])


def _fit_line(looks: pd.DataFrame) -> MixedFit:
    """Fit start and rate, with spread between builds and units where the looks show one."""
    age = looks["age"].to_numpy(float)
    ones = np.ones(len(looks))
    units = tuple(looks["unit"])
    builds = tuple(zip(looks["unit"], looks["build"].astype(int), strict=True))
    fixed: FloatArray = np.column_stack([ones, age])
    components = []
    if looks.groupby(["unit", "build"])["age"].nunique().gt(1).sum() > 1:
        components = [
            Component("build start", builds, ones),
            Component("build rate", builds, age),
        ]
        if len(set(units)) >= _LEAST_UNITS and len(set(builds)) > len(set(units)):
            components.append(Component("unit rate", units, age))
    return fit_components(
        looks["middle"].to_numpy(float),
        fixed,
        ("start", "rate"),
        components,
        residual_floor=float(looks["variance"].mean()),
    )

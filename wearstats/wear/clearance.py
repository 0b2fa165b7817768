"""Clearance against runs on the strips: rate of wear, start after a restrip, forecasts.

Each build has its own start and its own rate, and so has each unit. Readings count as the intervals
they are (`wearstats.mixed.fit_lines`), one-sided ones too.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import NotIdentifiedError, ObservationError, TooFewError, UsageError
from wearstats.mixed import NestedFit, fit_lines
from wearstats.wear.forecast import ClearanceWearFit
from wearstats.wear.looks import GAPS, LeftOutReadings, looks_of, usable_readings
from wearstats.wear.two_ways import clearance_by_height, disagreements, read_two_ways

KINDS = (*GAPS, "strip height")

_LEAST_LOOKS = 4
_LEAST_UNITS = 3
_FINEST_THOU = 0.1
"""No feel is finer, whatever the blades."""
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
    heights : bool
        For "tip": use strip heights too, as metal-to-metal clearance less height.
    """

    what: str = "tip"
    level: float = 0.9
    heights: bool = True

    def __post_init__(self) -> None:
        """Refuse what is not measured."""
        if self.what not in KINDS:
            message = f"there is no {self.what!r} to fit; choose from {', '.join(KINDS)}"
            raise UsageError(message)

    def fit(self, readings: pd.DataFrame) -> ClearanceWearFit:
        """Fit the readings of `what`.

        Readings at one place, unit and age are averaged first, for what they share (the feel of
        one hand, the position of the rotor) does not average out. A number written for a gap
        stands for half a thou either way. Left out and counted: readings set aside, those taken
        with failed strips, and those without a build or age.

        Parameters
        ----------
        readings : DataFrame
            Columns unit, build, age, what, low_thou, high_thou (NaN on an open side), strips;
            left_out where some are set aside, and date (others are ignored).

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
            The looks lie exactly on a line and carry no gauge uncertainty; or all are one-sided.
        NotConvergedError
        """
        missing = [column for column in _COLUMNS if column not in readings.columns]
        if missing:
            message = f"clearance readings lack the column(s) {', '.join(missing)}"
            raise ObservationError(message)
        usable, left_out = usable_readings(readings, self.what)
        looks = looks_of(usable, gap=self.what in GAPS).assign(by_height=0.0)
        by_height, notes = 0, list[str]()
        if self.what == "tip" and self.heights:
            heights = clearance_by_height(readings)
            by_height = int(heights["count"].sum())
            looks = pd.concat([looks, _as_looks(heights)], ignore_index=True)
            notes += disagreements(read_two_ways(readings))
        _check_enough(looks, self.what, left_out)
        return ClearanceWearFit(
            what=self.what,
            level=self.level,
            line=_fit_line(looks, _FINEST_THOU**2 if self.what in GAPS else 0.0),
            readings=len(usable),
            by_height=by_height,
            one_sided=int((np.isinf(usable["low"]) | np.isinf(usable["high"])).sum()),
            looks=len(looks[["unit", "build", "age"]].drop_duplicates()),
            builds=len(looks[["unit", "build"]].drop_duplicates()),
            units=looks["unit"].nunique(),
            last_age=float(looks["age"].max()),
            left_out=left_out,
            notes=tuple(notes),
        )


def _as_looks(heights: pd.DataFrame) -> pd.DataFrame:
    return heights[["unit", "build", "age", "date", "count"]].assign(
        low=heights["by_height"],
        high=heights["by_height"],
        by_height=heights["metal_u"],
    )


def _check_enough(looks: pd.DataFrame, what: str, left_out: tuple[LeftOutReadings, ...]) -> None:
    number = len(looks[["unit", "build", "age"]].drop_duplicates())
    lost = "; ".join(f"{out.count} left out ({out.reason})" for out in left_out)
    if number < _LEAST_LOOKS or not looks["age"].min() < looks["age"].max():
        at = " at one age" if number >= _LEAST_LOOKS else ""
        message = (
            f"{number} usable looks at {what}{at} cannot give a rate of wear"
            f"{f' ({lost})' if lost else ''}; at least {_LEAST_LOOKS} at different ages are needed"
        )
        raise TooFewError(message, have=number, need=_LEAST_LOOKS)
    closed = looks.loc[np.isfinite(looks["low"]) & np.isfinite(looks["high"])]
    if closed["age"].nunique() < 2:  # noqa: PLR2004 - a line needs two ages
        message = (
            f"all but {len(closed)} of {number} looks at {what} are one-sided: they bound the "
            "clearance and do not say what it is"
        )
        raise NotIdentifiedError(
            message,
            direction="the line may lie anywhere beyond its bounds",
            hint="Read again with a thinner and a thicker blade.",
        )


def _fit_line(looks: pd.DataFrame, floor: float) -> NestedFit:
    """Fit start and rate, with spread between builds and units where the looks show one."""
    age = looks["age"].to_numpy(float)
    ones = np.ones(len(looks))
    units = tuple(looks["unit"])
    builds = tuple(zip(looks["unit"], looks["build"].astype(int), strict=True))
    of_unit: dict[str, FloatArray] = {}
    of_build: dict[str, FloatArray] = {}
    held: Mapping[str, float] = {}
    if looks.groupby(["unit", "build"])["age"].nunique().gt(1).sum() > 1:
        of_build = {"build start": ones, "build rate": age}
        if len(set(units)) >= _LEAST_UNITS and len(set(builds)) > len(set(units)):
            of_unit = {"unit start": ones, "unit rate": age}
    by_height = looks["by_height"].to_numpy(float)
    if (by_height > 0.0).any():
        # One reading of metal-to-metal stands behind all heights of a unit: an error they share.
        of_unit["height offset"] = by_height
        held = {"height offset": 1.0}
    return fit_lines(
        looks["low"].to_numpy(float),
        looks["high"].to_numpy(float),
        np.column_stack([ones, age]),
        ("start", "rate"),
        units=units,
        builds=builds,
        unit_columns=of_unit,
        build_columns=of_build,
        held=held,
        residual_floor=floor,
    )

"""What a fitted line of wear says: rate, start, forecasts, and runs until a limit."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.mixed import NestedFit, Predicted
from wearstats.shown import Column, Readable, Summary, counted, intervals
from wearstats.wear.limits import RunsToLimit
from wearstats.wear.looks import LeftOutReadings

_FROM_ONE_LINE = "all builds share one line: no spread between builds could be seen"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class ClearanceWearFit(Readable):
    """Wear of a clearance (or strip height) as fitted.

    Intervals use Student's t with Satterthwaite's degrees of freedom, and the spreads between
    builds and units are never taken for nought (see `wearstats.mixed.fit_lines`). How often they
    hold the truth is counted in benchmarks/wear.py.

    Parameters
    ----------
    what : str
    level : float
        Of the intervals shown unless asked for another.
    line : NestedFit
        Fixed effects "start" (thou at age 0) and "rate" (thou per run); components "build start",
        "build rate", "unit start", "unit rate" where the readings show them; "height offset"
        where strip heights are used too.
    readings, by_height, one_sided, looks, builds, units : int
        Readings used; strip heights used beside them; how many readings have one end only; looks
        they make (one a unit, build and age), builds and units behind them.
    last_age : float
        Greatest age with a reading; a forecast beyond it is an extrapolation.
    left_out : tuple of LeftOutReadings
    notes : tuple of str
    """

    what: str
    level: float
    line: NestedFit
    readings: int
    by_height: int
    one_sided: int
    looks: int
    builds: int
    units: int
    last_age: float
    left_out: tuple[LeftOutReadings, ...]
    notes: tuple[str, ...]

    @property
    def rate(self) -> Estimate:
        """Change of the mean build, thou per run."""
        return self._fixed_effect(1, self.level, "thou per run")

    @property
    def rate_and_error(self) -> tuple[float, float]:
        """The same with its standard error."""
        found = self.line.contrast(np.eye(2)[1:])
        return float(found.mean[0]), math.sqrt(float(found.variance[0]))

    @property
    def start(self) -> Estimate:
        """Mean over builds at age 0, thou."""
        return self._fixed_effect(0, self.level, "thou")

    def summary(self) -> Summary:
        """Return the change per run and the start, of the mean build."""
        behind = (
            counted(self.readings, "reading"),
            counted(self.builds, "build"),
            counted(self.units, "unit"),
        )
        beside = f", {counted(self.by_height, 'strip height')} beside them" * bool(self.by_height)
        left = [
            f"Not used: {counted(each.count, 'reading')}: {each.reason}" for each in self.left_out
        ]
        return Summary(
            title=f"{self.what.capitalize()} against runs on the strips",
            basis=f"{' of '.join(behind)}{beside}; {intervals(self.level)}.",
            columns=(Column("name"), Column("estimate", "estimate")),
            rows=(("change per run", self.rate), ("on fresh strips", self.start)),
            notes=(*self.notes, *left),
        )

    def clearance_at(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Clearance expected of builds at given ages, and its standard error.

        A build with readings follows its own; one without follows its unit; a unit without
        follows the fleet, with the spread between builds and units in its error.

        Parameters
        ----------
        unit : sequence of str, length n
        build : sequence of int, length n
            NaN for a build not yet begun.
        age : array_like, shape (n,), runs

        Returns
        -------
        mean, sd : ndarray, shape (n,), thou
            Of the true clearance, not of a reading of it.
        """
        found = self._predicted(unit, build, np.asarray(age, float), start=1.0)
        return found.mean, np.sqrt(found.variance)

    def growth(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Change of the clearance between age 0 and given ages, and its standard error.

        Parameters
        ----------
        unit, build, age
            As `clearance_at`.

        Returns
        -------
        mean, sd : ndarray, shape (n,), thou
        """
        found = self._predicted(unit, build, np.asarray(age, float), start=0.0)
        return found.mean, np.sqrt(found.variance)

    def _predicted(
        self, unit: Sequence[str], build: Sequence[float], age: FloatArray, *, start: float
    ) -> Predicted:
        every = np.column_stack([np.full(len(age), start), age])
        kinds = {"start": every[:, 0], "rate": every[:, 1], "offset": np.zeros(len(age))}

        def columns(names: Sequence[str]) -> FloatArray:
            none = np.zeros((len(age), 0))
            return np.column_stack([none, *(kinds[name.split()[1]] for name in names)])

        return self.line.predicted(
            every,
            columns(self.line.unit_names),
            columns(self.line.build_names),
            [str(name) for name in unit],
            _build_labels(unit, build),
        )

    def forecast(
        self, unit: str, build: float, ages: ArrayLike, level: float | None = None
    ) -> pd.DataFrame:
        """Clearance of one build at given ages.

        Parameters
        ----------
        unit : str
        build : int
            NaN for the next one.
        ages : array_like, runs
        level : float or None

        Returns
        -------
        DataFrame
            age, estimate, low, high; a gap's interval does not go below 0.
        """
        at = np.atleast_1d(np.asarray(ages, float))
        found = self._predicted([unit] * len(at), [build] * len(at), at, start=1.0)
        mean = found.mean
        half = _critical(self._level(level), found.freedom) * np.sqrt(found.variance)
        frame = pd.DataFrame({"age": at, "estimate": mean, "low": mean - half, "high": mean + half})
        if self._sign > 0:
            frame[["estimate", "low", "high"]] = frame[["estimate", "low", "high"]].clip(lower=0.0)
        return frame

    def limit_reached(self, limit_thou: float, unit: str, build: float, age: float) -> RunsToLimit:
        """When the clearance of a build reaches a limit (the height falls to it).

        Parameters
        ----------
        limit_thou : float
        unit : str
        build : int
            NaN for the next one.
        age : float
            Runs on the strips now.

        Returns
        -------
        RunsToLimit
            A distribution over runs from now.
        """
        if not (math.isfinite(limit_thou) and math.isfinite(age)):
            message = f"runs to a limit need a limit and an age, not {limit_thou} and {age}"
            raise UsageError(message)
        # The mean is linear and the variance quadratic in age, so three ages give both exactly.
        found = self._predicted([unit] * 3, [build] * 3, age + np.arange(3.0), start=1.0)
        mean, variance = found.mean, found.variance
        short = self._sign * (limit_thou - float(mean[0]))
        rate = self._sign * float(mean[1] - mean[0])
        bend = float(variance[2] - 2.0 * variance[1] + variance[0]) / 2.0
        tilt = float(variance[1] - variance[0]) - bend
        there = age + (short / rate if rate > 0.0 and short > 0.0 else 0.0)
        freedom = self._predicted([unit], [build], np.array([there]), start=1.0).freedom
        return RunsToLimit(
            short=short,
            rate=rate,
            variance=float(variance[0]),
            covariance=tilt / 2.0,
            rate_variance=bend,
            freedom=float(freedom[0]),
        )

    def runs_to(
        self, limit_thou: float, unit: str, build: float, age: float, level: float | None = None
    ) -> Estimate:
        """Return the runs from `age` until the clearance reaches a limit (the height falls to it).

        Parameters
        ----------
        limit_thou, unit, build, age
            As `limit_reached`.
        level : float or None

        Returns
        -------
        Estimate
            In runs: the middle and two ends of the distribution `limit_reached` gives; 0 where
            the limit is already reached, None for what is never reached.
        """
        chosen = self._level(level)
        reached = self.limit_reached(limit_thou, unit, build, age)
        low, middle, high = (
            reached.runs_at(chance) for chance in (0.5 - chosen / 2, 0.5, 0.5 + chosen / 2)
        )
        notes = []
        if reached.rate <= 0.0 < reached.short:
            notes.append("no wear toward the limit is seen")
        if high is None:
            notes.append("the readings do not show that the limit is ever reached")
        if middle is not None and age + middle > self.last_age:
            notes.append(f"beyond the oldest reading, at {self.last_age:g} runs")
        return Estimate(middle, low, high, chosen, "runs", "; ".join(notes))

    @property
    def _sign(self) -> float:
        """Which way wear goes: gaps open, strips get lower."""
        return -1.0 if self.what == "strip height" else 1.0

    def _level(self, level: float | None) -> float:
        chosen = self.level if level is None else level
        if not 0.0 < chosen < 1.0:
            message = f"a level lies between 0 and 1, not at {chosen}"
            raise UsageError(message)
        return chosen

    def _fixed_effect(self, index: int, level: float, unit: str) -> Estimate:
        found = self.line.contrast(np.eye(2)[index : index + 1])
        value = float(found.mean[0])
        half = float(_critical(level, found.freedom)[0]) * math.sqrt(float(found.variance[0]))
        note = "" if self.line.build_names else _FROM_ONE_LINE
        return Estimate(value, value - half, value + half, level, unit, note)


def _critical(level: float, freedom: FloatArray) -> FloatArray:
    from scipy.special import stdtrit

    return np.asarray(stdtrit(freedom, 0.5 + level / 2.0))


def _build_labels(unit: Sequence[str], build: Sequence[float]) -> list[Hashable]:
    """Name builds as the fit does; None for one not yet begun."""
    return [
        (str(name), int(number)) if math.isfinite(number) else None
        for name, number in zip(unit, build, strict=True)
    ]

"""Figures of results, for a notebook: the one place that knows both results and drawings."""

import math
from dataclasses import dataclass
from functools import singledispatch

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure, SubFigure

from wearstats.errors import UsageError
from wearstats.leakage import LeakFit
from wearstats.life import FactorAnswer, LifeAnswer, LifePosterior, StripLifeFit, ratio_frame
from wearstats.lives import StripLives
from wearstats.lookback import Lookback
from wearstats.plans import FleetOutlook, RestripInterval
from wearstats.plots import (
    clearance_by_build,
    cost_curve,
    failures_over_runs,
    fleet_chances,
    fleet_lives,
    hazard_ratios,
    loss_by_path,
    new_axes,
    new_axes_for_rows,
    said_and_happened,
    stamp,
    survival_curve,
    to_svg,
)
from wearstats.recurrence import RecurrenceAnswer
from wearstats.shown import Readable
from wearstats.wear import ClearanceWearFit

_POINTS = 121
_BEYOND = 1.25


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A figure of a result; a notebook shows it.

    Parameters
    ----------
    axes : Axes
    title, said : str
        The text alternative: what it is, and what it shows in words.
    own : bool
        Whether the figure was made for it; one of the caller's is left to the caller to show.
    """

    axes: Axes
    title: str
    said: str
    own: bool

    @property
    def figure(self) -> Figure | SubFigure:
        """The figure; `figure.savefig(file)` writes it in any format of matplotlib."""
        return self.axes.figure

    def svg(self) -> str:
        """Return one `svg` element with its text alternative."""
        figure = self.figure
        if not isinstance(figure, Figure):
            figure = figure.figure
        return to_svg(figure, self.title, self.said)

    def __repr__(self) -> str:
        return f"<Picture: {self.title}>"

    def _repr_svg_(self) -> str | None:
        return self.svg() if self.own else None


def plot(result: Readable, axes: Axes | None = None) -> Picture:
    """Draw a result.

    Parameters
    ----------
    result : Readable
        StripLives, LifeAnswer, StripLifeFit, FactorAnswer, ClearanceWearFit, LeakFit,
        RecurrenceAnswer, FleetOutlook, RestripInterval or Lookback.
    axes : Axes, optional
        Where to draw; left out, a figure is made.

    Returns
    -------
    Picture

    Raises
    ------
    UsageError
        There is no figure of such a result.

    Examples
    --------
    >>> from wearstats import StripLife, plot
    >>> from wearstats.lives.observations import Observations
    >>> lives = Observations([0, 0, 0], [4, 6, 7], [6, 8, 9], [1, 1, 1], ("a", "b", "c"))
    >>> plot(StripLife().fit(lives))
    <Picture: Strip life: Weibull law by likelihood>
    """
    if axes is None:
        _, made = new_axes_for_rows(_rows(result)) if _rows(result) else new_axes()
    else:
        made = axes
    _draw(result, made)
    if getattr(result, "simulated", False):
        stamp(made, "SIMULATED")
    summary = result.summary()
    return Picture(made, summary.title, summary.basis, own=axes is None)


@singledispatch
def _rows(_: object) -> int:
    """Return how many rows a figure of rows has; 0 for any other."""
    return 0


@_rows.register
def _(result: StripLives) -> int:
    return max(len(result.frame), 1)


@_rows.register
def _(result: FleetOutlook) -> int:
    return max(len(result.units), 1)


@_rows.register
def _(result: LeakFit) -> int:
    return max(2 * len(result.units), 1)


@_rows.register
def _(result: FactorAnswer) -> int:
    return max(len(result.factors), 1)


@singledispatch
def _draw(result: object, axes: Axes) -> None:  # noqa: ARG001 - the others draw on it
    message = f"there is no figure of {type(result).__name__}"
    raise UsageError(message, hint="help(wearstats.plot) names the results that have one.")


@_draw.register
def _(result: StripLives, axes: Axes) -> None:
    fleet_lives(result.frame, axes)


@_draw.register
def _(result: LifeAnswer, axes: Axes) -> None:
    _survival(result.main, axes, result.oldest, result.level)


@_draw.register
def _(result: StripLifeFit, axes: Axes) -> None:
    seen = result.sample
    logs = np.concatenate([seen.passed, seen.early, seen.between_upper, seen.exact], axis=None)
    _survival(result, axes, seen.typical_age * math.exp(float(logs.max())))


def _survival(
    fit: StripLifeFit | LifePosterior, axes: Axes, oldest: float, level: float = 0.9
) -> None:
    ages = np.linspace(0.0, _BEYOND * oldest, _POINTS)
    survival_curve(fit.curve(ages, level), axes)


@_draw.register
def _(result: FactorAnswer, axes: Axes) -> None:
    ratios = {name: factor.hazard_ratio for name, factor in result.factors.items()}
    hazard_ratios(ratio_frame(ratios), axes)


@_draw.register
def _(result: ClearanceWearFit, axes: Axes) -> None:
    # Of a build not yet begun on a unit not yet known: the mean, with all spread in its band.
    ages = np.linspace(0.0, result.last_age, _POINTS)
    none = pd.DataFrame(columns=["build", "age", "low", "high"], dtype=np.float64)
    clearance = result.what if result.what == "strip height" else f"{result.what} clearance"
    clearance_by_build(
        none,
        axes,
        quantity=f"{clearance} of a new build, thou",
        forecast=result.forecast("", math.nan, ages),
    )


@_draw.register
def _(result: LeakFit, axes: Axes) -> None:
    loss_by_path(result.table(), axes, quantity="boost lost since the restrip, psi")


@_draw.register
def _(result: RecurrenceAnswer, axes: Axes) -> None:
    failures_over_runs(result.curve.frame, axes, steps=result.steps)


@_draw.register
def _(result: FleetOutlook, axes: Axes) -> None:
    # Where cost is weighed no chance is asked for.
    bound = result.bound if result.restrip.basis == "bound" else None
    fleet_chances(result.frame, axes, bound=bound)


@_draw.register
def _(result: RestripInterval, axes: Axes) -> None:
    if result.basis == "bound":
        survival_curve(result.curve, axes)
        return
    unplanned = result.run_to_failure
    cost_curve(
        result.curve,
        axes,
        best=result.best,
        run_to_failure=None if unplanned is None else unplanned.estimate,
        service_limit_runs=result.service_limit_runs,
        currency=result.currency,
    )


@_draw.register
def _(result: Lookback, axes: Axes) -> None:
    said_and_happened(result.calibration_frame, axes)

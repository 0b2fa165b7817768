"""Failures over a unit's total runs: the fleet's mean and each unit's own count."""

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from wearstats.plots.frames import need_columns
from wearstats.plots.style import (
    BAND,
    FAINT,
    FLEET,
    INK,
    THIS,
    key_below,
    name_axes,
    say_instead,
    style,
)


def failures_over_runs(
    curve: pd.DataFrame,
    axes: Axes,
    *,
    steps: pd.DataFrame | None = None,
    unit: str | None = None,
) -> Axes:
    """Draw the mean number of failures of one unit against its total runs, with its band.

    Parameters
    ----------
    curve : DataFrame
        Columns runs, mean, low, high, by rising runs: the mean just after each failure; low and
        high NaN where there is no band.
    axes : Axes
    steps : DataFrame, optional
        Columns unit, runs, failures, found: each unit's count from 0 to the end of its watch;
        a mark where `found` is True.
    unit : str, optional
        Whose count stands out.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(curve, ("runs", "mean", "low", "high"), "failures over runs")
    with style():
        if curve.empty:
            return say_instead(axes, "No failure on record.")
        last = float(curve["runs"].max())
        if steps is not None:
            need_columns(steps, ("unit", "runs", "failures", "found"), "failures over runs")
            last = max(last, float(steps["runs"].max()))
            _draw_units(steps, axes, unit)
        _draw_mean(curve, axes, last)
        axes.set_xlim(left=0)
        axes.set_ylim(bottom=0)
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        name_axes(axes, "total runs of the unit", "failures so far")
        key_below(axes)
    return axes


def _draw_mean(curve: pd.DataFrame, axes: Axes, last: float) -> None:
    """Draw the mean from 0 to the last run anybody was followed, and its band where it has one."""
    drawn = pd.concat([curve, curve.iloc[[-1]].assign(runs=last)], ignore_index=True)
    axes.fill_between(
        drawn["runs"], drawn["low"], drawn["high"], step="post", color=FLEET, alpha=BAND, lw=0
    )
    for edge in ("low", "high"):
        axes.step(drawn["runs"], drawn[edge], where="post", color=FLEET, lw=0.9, ls=":")
    runs = [0.0, *drawn["runs"]]
    mean = [0.0, *drawn["mean"]]
    axes.step(runs, mean, where="post", color=FLEET, label="mean of a unit, with its band")


def _draw_units(steps: pd.DataFrame, axes: Axes, unit: str | None) -> None:
    keyed = False
    for name, its in steps.groupby("unit", sort=False):
        own = name == unit
        color, alpha = (THIS, 1.0) if own else (INK, FAINT)
        label = f"{unit}" if own else (None if keyed else "each unit, x a failure")
        keyed = keyed or not own
        found = its.loc[its["found"].astype(bool)]
        axes.step(
            its["runs"],
            its["failures"],
            where="post",
            color=color,
            alpha=alpha,
            lw=2.0 if own else 0.9,
            ls="-" if own else (0, (4, 2)),
            label=label,
        )
        axes.plot(
            found["runs"], found["failures"], "x", color=color, alpha=alpha, ms=8 if own else 5
        )

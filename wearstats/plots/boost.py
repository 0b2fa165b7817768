"""Boost over the season, as read and corrected, with the restrips marked."""

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from wearstats.plots.frames import need_columns
from wearstats.plots.style import FAINT, FLEET, INK, THIS, key_below, name_axes, say_instead, style

_DAYS_NAMED_AT_MOST = 6


def boost_over_season(rows: pd.DataFrame, axes: Axes, *, quantity: str = "boost, psi") -> Axes:
    """Draw one unit's boost run by run.

    Parameters
    ----------
    rows : DataFrame
        Columns date, build, as_read, corrected, one row for each run in order; a column
        predicted is drawn where there is one.
    axes : Axes
    quantity : str
        Name and unit of the boost.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(rows, ("date", "build", "as_read", "corrected"), "boost over the season")
    with style():
        numbers = ["as_read", "corrected"]
        if rows.empty or not bool(rows[numbers].notna().to_numpy().any()):
            return say_instead(axes, "No boost on record.")
        runs = rows.reset_index(drop=True)
        runs["run"] = np.arange(1, len(runs) + 1)
        axes.plot(
            runs["run"],
            runs["as_read"],
            "o",
            mfc="none",
            color=INK,
            ms=5,
            alpha=FAINT,
            label="as read",
        )
        _corrected_by_build(runs, axes)
        changes = runs.index[runs["build"].ne(runs["build"].shift()) & (runs["run"] > 1)]
        for place, change in enumerate(changes):
            axes.axvline(
                float(runs["run"].iloc[change]) - 0.5,
                color=THIS,
                lw=1.6,
                ls=(0, (6, 2, 1, 2)),
                label="restrip" if place == 0 else None,
            )
        _name_days(runs, axes)
        axes.margins(x=0.03, y=0.12)
        name_axes(axes, "runs in order; the first of a day is dated", quantity)
        key_below(axes)
    return axes


def _corrected_by_build(runs: pd.DataFrame, axes: Axes) -> None:
    known = runs[runs["corrected"].notna()]
    if known.empty:
        return
    sns.lineplot(
        known,
        x="run",
        y="corrected",
        units="build",
        estimator=None,
        ax=axes,
        color=FLEET,
        lw=1.6,
        legend=False,
    )
    axes.plot(runs["run"], runs["corrected"], "o", color=FLEET, ms=5.5, label="corrected")
    if "predicted" in runs.columns:
        for place, (_, build) in enumerate(runs.groupby("build", sort=False)):
            axes.plot(
                build["run"],
                build["predicted"],
                color=INK,
                lw=1.3,
                ls=(0, (4, 2)),
                label="predicted" if place == 0 else None,
            )


def _name_days(runs: pd.DataFrame, axes: Axes) -> None:
    """Date the first run of a day, where the date before it leaves room."""
    first = runs[~runs["date"].duplicated()]
    room = (float(runs["run"].max()) - float(runs["run"].min())) / _DAYS_NAMED_AT_MOST
    places: list[float] = []
    days: list[str] = []
    for run, day in zip(first["run"], pd.to_datetime(first["date"]), strict=True):
        if not places or run - places[-1] >= room:
            places.append(float(run))
            days.append(f"{day.day} {day:%b}")
    axes.set_xticks(places, days)

"""Clearance or strip height by build, with its forecast and the limit."""

import numpy as np
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

_OLDER_MARKS = ("s", "D", "^", "v", "P", "h")
_ASIDE_RUNS = 0.14


def clearance_by_build(
    readings: pd.DataFrame,
    axes: Axes,
    *,
    quantity: str = "tip clearance, thou",
    forecast: pd.DataFrame | None = None,
    limit: float | None = None,
) -> Axes:
    """Draw readings against runs, the newest build in front, with its forecast and a limit.

    Parameters
    ----------
    readings : DataFrame
        Columns build, age, low, high: a go / no-go reading as a bar from low to high, an exact
        one as a dot, a one-sided one (the other end NaN) as an arrow to the open side.
    axes : Axes
    quantity : str
        Name and unit of what low and high are in.
    forecast : DataFrame, optional
        Columns age, estimate, low, high, for the newest build.
    limit : float, optional

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(readings, ("build", "age", "low", "high"), "clearance by build")
    with style():
        known = readings[readings["low"].notna() | readings["high"].notna()]
        if known.empty and forecast is None:
            return say_instead(axes, f"No reading of {quantity.partition(',')[0]} on record.")
        builds = sorted(known["build"].unique())
        for place, build in enumerate(builds):
            # Feelers come in steps, so builds fall on one another unless set side by side.
            aside = (place - (len(builds) - 1) / 2) * _ASIDE_RUNS
            rows = known[known["build"] == build].sort_values("age", kind="stable")
            rows = rows.assign(age=rows["age"] + aside)
            newest = place == len(builds) - 1
            mark = "o" if newest else _OLDER_MARKS[place % len(_OLDER_MARKS)]
            label = f"build {build}, the newest" if newest else f"build {build}"
            color, opacity = (FLEET, 1.0) if newest else (INK, FAINT)
            _draw_build(rows, axes, color=color, mark=mark, label=label, opacity=opacity)
        _draw_one_sided(known, axes)
        if forecast is not None:
            _draw_forecast(forecast, axes)
        if limit is not None:
            axes.axhline(limit, color=THIS, lw=1.6, ls=(0, (6, 2, 1, 2)), label=f"limit {limit:g}")
        axes.set_xlim(left=-0.5)
        axes.margins(y=0.12)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        name_axes(axes, "runs since restrip", quantity)
        key_below(axes)
    return axes


def _draw_build(
    rows: pd.DataFrame, axes: Axes, *, color: str, mark: str, label: str, opacity: float
) -> None:
    both = rows[rows["low"].notna() & rows["high"].notna()]
    middle = (both["low"] + both["high"]) / 2
    axes.plot(both["age"], middle, color=color, lw=1.2, ls=":", alpha=opacity)
    axes.vlines(both["age"], both["low"], both["high"], color=color, lw=2.2, alpha=opacity)
    axes.plot(both["age"], middle, mark, color=color, ms=6, alpha=opacity, label=label)


def _draw_one_sided(known: pd.DataFrame, axes: Axes) -> None:
    for open_end, end, arrow, label in (
        ("low", "high", "v", "read as under this"),
        ("high", "low", "^", "read as over this"),
    ):
        rows = known[known[open_end].isna()]
        if not rows.empty:
            axes.plot(rows["age"], rows[end], arrow, mfc="none", color=INK, ms=8, label=label)


def _draw_forecast(forecast: pd.DataFrame, axes: Axes) -> None:
    need_columns(forecast, ("age", "estimate", "low", "high"), "a clearance forecast")
    ahead = forecast[np.isfinite(forecast["estimate"])].sort_values("age", kind="stable")
    axes.fill_between(ahead["age"], ahead["low"], ahead["high"], color=FLEET, alpha=BAND, lw=0)
    for edge in ("low", "high"):
        axes.plot(ahead["age"], ahead[edge], color=FLEET, lw=0.9, ls=":")
    axes.plot(ahead["age"], ahead["estimate"], color=FLEET, ls="--", label="fitted and forecast")

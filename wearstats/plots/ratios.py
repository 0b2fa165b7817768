"""Hazard ratios with their intervals, one under another."""

import math

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from wearstats.errors import UsageError
from wearstats.plots.frames import need_columns
from wearstats.plots.style import FLEET, INK, name_axes, say_instead, style

_ROUND = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_ROOM = 1.25


def hazard_ratios(ratios: pd.DataFrame, axes: Axes) -> Axes:
    """Draw hazard ratios with intervals on a log scale, the first on top.

    Parameters
    ----------
    ratios : DataFrame
        Columns name, estimate, low, high; low or high NaN where there is no end: an arrow.
    axes : Axes

    Raises
    ------
    UsageError
        A column is missing, or an estimate is no number above 0.
    """
    need_columns(ratios, ("name", "estimate", "low", "high"), "hazard ratios")
    values = ratios["estimate"].to_numpy(dtype=np.float64)
    if (np.isinf(values) | (values <= 0)).any():
        message = "a hazard ratio to draw must be a number above 0, or blank"
        raise UsageError(message)
    known = ratios.dropna(subset=["estimate"])
    with style():
        if known.empty:
            return say_instead(axes, "No hazard ratio is known.")
        ends = known[["estimate", "low", "high"]].to_numpy(dtype=np.float64)
        ends = ends[np.isfinite(ends) & (ends > 0)]
        least, most = min(0.5, ends.min()) / _ROOM, max(2.0, ends.max()) * _ROOM
        axes.set_xscale("log")
        axes.set_xlim(least, most)
        axes.axvline(1.0, color=INK, lw=1.0, ls=(0, (4, 2)))
        for row, (_, ratio) in enumerate(known.iterrows()):
            _draw(axes, row, ratio, (least, most))
        axes.set_yticks(range(len(known)), [str(name) for name in known["name"]])
        axes.set_ylim(len(known) - 0.5, -0.5)
        axes.grid(visible=False)
        axes.xaxis.set_major_locator(FixedLocator([at for at in _ROUND if least <= at <= most]))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_major_formatter(FuncFormatter(lambda at, _: f"{at:g}"))
        name_axes(axes, "hazard ratio (1: no difference)", "")
    return axes


def _draw(axes: Axes, row: int, ratio: pd.Series, span: tuple[float, float]) -> None:
    for end, edge, arrow in (("low", span[0], "<"), ("high", span[1], ">")):
        known = math.isfinite(float(ratio[end])) and float(ratio[end]) > 0
        at = float(ratio[end]) if known else edge
        axes.plot([float(ratio["estimate"]), at], [row, row], color=FLEET, lw=2.2)
        axes.plot(
            [at], [row], marker="|" if known else arrow, color=FLEET, ms=9, mew=1.6, clip_on=False
        )
    axes.plot([float(ratio["estimate"])], [row], "o", color=FLEET, ms=8)

"""Chances that were said, against how often they came true."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from wearstats.plots.frames import need_columns, percent_label
from wearstats.plots.style import FLEET, INK, key_below, name_axes, say_instead, style

_LEAST_SIZE, _MOST_SIZE = 5.0, 14.0


def said_and_happened(rows: pd.DataFrame, axes: Axes) -> Axes:
    """Draw for each group of forecasts the share that happened against the chance said.

    Parameters
    ----------
    rows : DataFrame
        Columns said, happened, low, high (shares, 0 to 1) and forecasts (how many); one row a
        group.
    axes : Axes

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(rows, ("said", "happened", "low", "high", "forecasts"), "said and happened")
    with style():
        if rows.empty:
            return say_instead(axes, "No forecast came to an end yet.")
        axes.plot([0, 1], [0, 1], color=INK, lw=1.2, ls=(0, (4, 2)), label="as said")
        axes.vlines(rows["said"], rows["low"], rows["high"], color=FLEET, lw=2, label="interval")
        label = "happened; the number: forecasts"
        counts = rows["forecasts"].to_numpy(dtype=np.float64)
        sizes = _LEAST_SIZE + (_MOST_SIZE - _LEAST_SIZE) * np.sqrt(counts / counts.max())
        columns = (rows[name].to_numpy(dtype=np.float64) for name in ("said", "happened", "high"))
        for said, happened, high, count, size in zip(*columns, counts, sizes, strict=True):
            axes.plot([said], [happened], "o", color=FLEET, ms=size, label=label, zorder=4)
            axes.annotate(
                f"{count:.0f}",
                (said, high),
                xytext=(0, 4),
                textcoords="offset points",
                ha="center",
                fontsize=9,
            )
            label = "_"
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1.06)
        axes.xaxis.set_major_formatter(FuncFormatter(percent_label))
        axes.yaxis.set_major_formatter(FuncFormatter(percent_label))
        name_axes(axes, "chance of burn-through said", "share that burned through")
        key_below(axes)
    return axes

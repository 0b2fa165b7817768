"""Boost lost by path: tip, mesh and ends, unit by unit."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from wearstats.plots.frames import need_columns
from wearstats.plots.style import FLEET, INK, THIS, key_below, name_axes, say_instead, style

_PATHS = ("tip", "mesh", "end")
_NAMES = {"tip": "tip", "mesh": "mesh", "end": "ends"}
_MARKS = {"tip": ("o", THIS), "mesh": ("s", FLEET), "end": ("^", INK)}
_APART = 0.22
_MOST_UNITS = 40


def loss_by_path(table: pd.DataFrame, axes: Axes, *, quantity: str = "boost lost, psi") -> Axes:
    """Draw what each path costs each unit, with its interval.

    Parameters
    ----------
    table : DataFrame
        Columns unit, path ("tip", "mesh", "end"), estimate, low, high; one row for each unit and
        path. The greatest losses stand at the top; past 40 units the rest are left out and said.
    axes : Axes
    quantity : str
        Name and unit of the loss.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(table, ("unit", "path", "estimate", "low", "high"), "loss by path")
    with style():
        known = table[table["estimate"].notna()]
        if known.empty:
            return say_instead(axes, "No loss of boost could be told.")
        whole = known.groupby("unit")["estimate"].sum().sort_values(ascending=False)
        shown = list(whole.index[:_MOST_UNITS])
        place = {unit: len(shown) - 1 - row for row, unit in enumerate(shown)}
        for row, path in enumerate(_PATHS):
            mine = known[(known["path"] == path) & known["unit"].isin(shown)]
            if mine.empty:
                continue
            marker, color = _MARKS[path]
            height = mine["unit"].map(place).to_numpy(float) + _APART * (1 - row)
            middle = mine["estimate"].to_numpy(float)
            ends = mine[["low", "high"]].to_numpy(float)
            arms = np.abs(ends - middle[:, np.newaxis]).T
            axes.errorbar(
                middle,
                height,
                xerr=arms,
                fmt=marker,
                color=color,
                ms=5.5,
                lw=1.4,
                capsize=2.5,
                label=_NAMES[path],
            )
        axes.axvline(0.0, color=INK, lw=0.8, alpha=0.5)
        axes.set_yticks(list(place.values()), list(place))
        axes.set_ylim(-0.6, len(shown) - 0.4)
        left_out = len(whole) - len(shown)
        label = "unit" if not left_out else f"unit; {left_out} with smaller losses left out"
        name_axes(axes, quantity, label)
        key_below(axes)
    return axes

"""Plans: what a restrip interval costs, and the chance of each unit."""

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from wearstats.plots.frames import need_columns, percent_label
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

_MARKS = {"run": "o", "look first": "D", "restrip": "s"}
_COST_SHOWN_TO = 3.0


def cost_curve(
    curve: pd.DataFrame,
    axes: Axes,
    *,
    best: int | None = None,
    run_to_failure: float | None = None,
    service_limit_runs: float | None = None,
    currency: str = "",
) -> Axes:
    """Draw the cost per run against the number of runs after which strips are renewed.

    Parameters
    ----------
    curve : DataFrame
        Columns runs, cost_per_run, low, high, near_best.
    axes : Axes
    best : int, optional
        The number of runs that costs least.
    run_to_failure : float, optional
        Cost per run without planned restrips.
    service_limit_runs : float, optional
    currency : str

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(curve, ("runs", "cost_per_run", "low", "high", "near_best"), "cost per run")
    with style():
        if curve.empty:
            return say_instead(axes, "No cost to draw.")
        runs, costs = curve["runs"], curve["cost_per_run"]
        axes.fill_between(runs, curve["low"], curve["high"], color=FLEET, alpha=BAND, lw=0)
        for edge in ("low", "high"):
            axes.plot(runs, curve[edge], color=FLEET, lw=0.9, ls=":")
        sns.lineplot(
            curve,
            x="runs",
            y="cost_per_run",
            ax=axes,
            color=FLEET,
            errorbar=None,
            label="expected, with its band",
            legend=False,
        )
        near = curve["near_best"].to_numpy(dtype=bool)
        if near.any():
            axes.plot(
                runs,
                np.where(near, costs, np.nan),
                color=THIS,
                lw=6,
                alpha=FAINT,
                solid_capstyle="butt",
                label="nearly as cheap",
            )
            # A stretch of one run has no length to draw.
            axes.plot(runs[near], costs[near], "|", color=THIS, ms=9, mew=1.6)
        if best is not None and best in set(runs):
            least = float(costs[runs == best].iloc[0])
            axes.plot([best], [least], "D", color=THIS, ms=9, label=f"least, at {best}", zorder=5)
        if run_to_failure is not None:
            axes.axhline(run_to_failure, color=INK, lw=1.4, ls=(0, (4, 2)), label="run to failure")
        if service_limit_runs is not None:
            axes.axvline(
                service_limit_runs, color=INK, lw=1.6, ls=(0, (6, 2, 1, 2)), label="service limit"
            )
        shown = max(float(costs.min()) * _COST_SHOWN_TO, 1.25 * (run_to_failure or 0.0))
        axes.set_ylim(0, min(shown, 1.05 * float(curve["high"].max())))
        axes.set_xlim(left=0)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        name_axes(axes, "restrip after so many runs", f"cost per run{currency and f', {currency}'}")
        key_below(axes)
    return axes


def fleet_chances(chances: pd.DataFrame, axes: Axes, *, bound: float | None = None) -> Axes:
    """Draw for each unit the chance of lasting the runs ahead.

    Parameters
    ----------
    chances : DataFrame
        Columns unit, ahead, ahead_low, ahead_high, ahead_if_sound, advice ("run", "look first"
        or "restrip"); drawn from the top in the order given. Chances are NaN where they cannot
        be told.
    axes : Axes
        See `new_axes_for_rows`.
    bound : float, optional
        Least chance asked for.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(
        chances,
        ("unit", "ahead", "ahead_low", "ahead_high", "ahead_if_sound", "advice"),
        "the fleet's chances",
    )
    with style():
        if chances.empty:
            return say_instead(axes, "No unit in use.")
        rows = chances.reset_index(drop=True)
        numbers = ["ahead", "ahead_low", "ahead_high", "ahead_if_sound"]
        rows[numbers] = rows[numbers].astype(np.float64)
        rows["row"] = rows.index
        if bound is not None:
            axes.axvline(
                bound,
                color=INK,
                lw=1.4,
                ls=(0, (4, 2)),
                label=f"asked for, {percent_label(bound)}",
            )
        _draw_chances(rows[rows["ahead"].notna()], axes)
        for row in rows.loc[rows["ahead"].isna(), "row"]:
            axes.text(0.02, row, f"{rows['advice'][row]}: see the reason", va="center", fontsize=10)
        axes.set_yticks(rows["row"], rows["unit"].astype(str))
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlim(-0.02, 1.02)
        axes.xaxis.set_major_formatter(FuncFormatter(percent_label))
        axes.grid(visible=True, axis="x")
        axes.grid(visible=False, axis="y")
        name_axes(axes, "chance that the strips last the runs ahead", "unit")
        key_below(axes)
    return axes


def _draw_chances(told: pd.DataFrame, axes: Axes) -> None:
    look = told[told["advice"] != "run"]
    axes.hlines(look["row"], look["ahead"], look["ahead_if_sound"], color=INK, lw=1, ls=":")
    axes.hlines(told["row"], told["ahead_low"], told["ahead_high"], color=FLEET, lw=3)
    for advice, mark in _MARKS.items():
        its = told[told["advice"] == advice]
        if not its.empty:
            axes.plot(its["ahead"], its["row"], mark, color=FLEET, ms=8.5, label=advice, zorder=4)
    if not look.empty:
        axes.plot(
            look["ahead_if_sound"],
            look["row"],
            "o",
            mfc="none",
            color=THIS,
            mew=1.8,
            ms=8.5,
            label="if a look finds them sound",
            zorder=4,
        )

"""Strip lives: the fitted curve among what was seen, and every life as a bar."""

from typing import Any

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from wearstats.arrays import FloatArray, IntArray
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

_BOXED = 0.08
_LANE = 0.055
_LANES_AT_MOST = 0.42


def survival_curve(
    curve: pd.DataFrame,
    axes: Axes,
    *,
    steps: pd.DataFrame | None = None,
    lives: pd.DataFrame | None = None,
    unit: str | None = None,
) -> Axes:
    """Draw the fitted chance of being sound against runs, with what was seen.

    Parameters
    ----------
    curve : DataFrame
        Columns runs, survival, low, high: the fitted curve and its band.
    axes : Axes
    steps : DataFrame, optional
        Columns runs, survival: the curve without a model, as steps. With a column since, the
        curve falls to a row's survival somewhere after since and not later than runs (at runs
        where since is missing): it is not drawn in between, but boxed in.
    lives : DataFrame, optional
        Columns unit, lower, upper (infinite where not failed): one mark for each life, along
        the bottom; lives at one age are stacked.
    unit : str, optional
        Whose lives stand out.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(curve, ("runs", "survival", "low", "high"), "the survival curve")
    with style():
        axes.fill_between(curve["runs"], curve["low"], curve["high"], color=FLEET, alpha=BAND, lw=0)
        for edge in ("low", "high"):
            axes.plot(curve["runs"], curve[edge], color=FLEET, lw=0.9, ls=":")
        sns.lineplot(
            curve,
            x="runs",
            y="survival",
            ax=axes,
            color=FLEET,
            label="fitted, with its band",
            errorbar=None,
            legend=False,
        )
        if steps is not None:
            need_columns(steps, ("runs", "survival"), "the survival steps")
            draw_steps(steps, axes)
        if lives is not None:
            need_columns(lives, ("unit", "lower", "upper"), "the lives under a survival curve")
            _mark_lives(lives, axes, unit)
        axes.set_ylim(0, 1.02)
        axes.set_xlim(left=0)
        axes.yaxis.set_major_formatter(FuncFormatter(percent_label))
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        name_axes(axes, "runs since restrip", "chance that strips are still sound")
        key_below(axes)
    return axes


def draw_steps(steps: pd.DataFrame, axes: Axes) -> None:
    """Draw the curve where it is known; where it falls at an age not known, a box about it."""
    runs = steps["runs"].to_numpy(dtype=np.float64)
    survival = steps["survival"].to_numpy(dtype=np.float64)
    since = runs.copy()
    if "since" in steps:
        told = steps["since"].to_numpy(dtype=np.float64)
        since = np.where(np.isnan(told), runs, told)
    before = np.concatenate([survival[:1], survival[:-1]])
    hidden = since < runs
    # Each row: along to where it is known no more, a gap if there is one, and where it goes on.
    across = np.column_stack([since, np.where(hidden, np.nan, runs), runs]).ravel()
    up = np.column_stack([before, np.where(hidden, np.nan, survival), survival]).ravel()
    axes.plot(across, up, color=INK, lw=1.3, ls=(0, (4, 2)), label="as seen, no model")
    if hidden.any():
        axes.bar(
            since[hidden],
            (before - survival)[hidden],
            width=(runs - since)[hidden],
            bottom=survival[hidden],
            align="edge",
            facecolor=(INK, _BOXED),
            edgecolor=(INK, FAINT),
            lw=0.8,
            label="falls in here, no model",
        )
        axes.plot(runs[hidden], survival[hidden], ".", color=INK, ms=5)


def _mark_lives(lives: pd.DataFrame, axes: Axes, unit: str | None) -> None:
    lower = lives["lower"].to_numpy(dtype=np.float64)
    upper = lives["upper"].to_numpy(dtype=np.float64)
    failed = np.isfinite(upper)
    at = np.where(failed, (lower + np.where(failed, upper, lower)) / 2, lower)
    lanes = _lanes(lower, np.where(failed, upper, lower), axes.get_xlim()[1] / 32)
    height = min(_LANE, _LANES_AT_MOST / (lanes.max(initial=0) + 1))
    level = 0.035 + height * lanes
    own = lives["unit"].to_numpy() == unit
    for its, color, size, whose in ((~own, INK, 6.5, ""), (own, THIS, 10.0, f", {unit}")):
        # Whose lives these are must show in grey: they are larger, and filled where sound.
        filling = color if whose else "none"
        looks: dict[str, Any] = {"color": color, "ls": "none", "zorder": 4, "ms": size}
        ends = failed & its
        axes.hlines(level[ends], lower[ends], upper[ends], color=color, lw=1.2)
        if ends.any():
            axes.plot(at[ends], level[ends], marker="x", mew=2.4, label=f"failed{whose}", **looks)
        sound = ~failed & its
        if sound.any():
            label = f"sound when seen{whose}"
            axes.plot(
                at[sound], level[sound], marker="o", mfc=filling, mew=1.5, label=label, **looks
            )


def _lanes(low: FloatArray, high: FloatArray, gap: float) -> IntArray:
    """Return for each stretch the lowest lane in which it touches no other, first come first."""
    lanes = np.zeros(low.size, dtype=np.int64)
    ends: list[float] = []
    for index in np.lexsort((high, low)):
        free = [lane for lane, end in enumerate(ends) if end + gap <= low[index]]
        lane = free[0] if free else len(ends)
        if lane == len(ends):
            ends.append(0.0)
        ends[lane] = float(high[index])
        lanes[index] = lane
    return lanes


def fleet_lives(lives: pd.DataFrame, axes: Axes, *, looks: pd.DataFrame | None = None) -> Axes:
    """Draw every life as a bar: known sound, nobody looked, failed somewhere in between.

    Parameters
    ----------
    lives : DataFrame
        Columns unit, build, entry, lower, upper (infinite where not failed; lower NaN where
        left out), age, open; drawn from the top in the order given.
    axes : Axes
        See `new_axes_for_rows`.
    looks : DataFrame, optional
        Columns unit, build, age: one tick for each look.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(
        lives, ("unit", "build", "entry", "lower", "upper", "age", "open"), "the fleet's lives"
    )
    with style():
        if lives.empty:
            return say_instead(axes, "No strip lives on record.")
        rows = lives.reset_index(drop=True)
        rows["row"] = rows.index
        _bars(rows, axes)
        if looks is not None:
            need_columns(looks, ("unit", "build", "age"), "the looks at the fleet's lives")
            seen = looks.merge(rows[["unit", "build", "row"]], on=["unit", "build"])
            axes.plot(
                seen["age"], seen["row"], "|", color=INK, ms=14, mew=1.2, label="a look", zorder=4
            )
        first = ~rows["unit"].duplicated()
        names = [
            f"{unit} · {build}" if new else f"{build}"
            for unit, build, new in zip(rows["unit"], rows["build"], first, strict=True)
        ]
        axes.set_yticks(rows["row"], names)
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlim(left=0)
        axes.grid(visible=False, axis="y")
        axes.grid(visible=True, axis="x")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        name_axes(axes, "runs since restrip", "unit · build")
        key_below(axes)
    return axes


def _bars(rows: pd.DataFrame, axes: Axes) -> None:
    told = rows[rows["lower"].notna()]
    failed = told[np.isfinite(told["upper"])]
    going = told[~np.isfinite(told["upper"])]
    left_out = rows[rows["lower"].isna()]
    axes.hlines(told["row"], told["entry"], told["lower"], color=FLEET, lw=6, label="known sound")
    axes.hlines(told["row"], 0, told["entry"], color=INK, lw=1, ls=":", alpha=FAINT)
    axes.hlines(
        going["row"],
        going["lower"],
        going["age"],
        color=INK,
        lw=1.6,
        ls=(0, (2, 1.5)),
        label="nobody looked since",
    )
    if not failed.empty:
        axes.barh(
            failed["row"],
            failed["upper"] - failed["lower"],
            left=failed["lower"],
            height=0.5,
            facecolor="none",
            edgecolor=THIS,
            hatch="////",
            lw=1.2,
            label="failed in here",
        )
        axes.plot(
            failed["upper"], failed["row"], "x", color=THIS, mew=2.4, label="found failed", zorder=5
        )
    if not left_out.empty:
        axes.hlines(
            left_out["row"],
            0,
            left_out["age"].fillna(0.0),
            color=INK,
            lw=1.4,
            ls=":",
            label="left out",
        )
    for still, marker, label in ((True, ">", "in use"), (False, "s", "came out")):
        ends = going[going["open"].astype(bool) == still]
        if not ends.empty:
            axes.plot(ends["age"], ends["row"], marker, color=INK, ms=6.5, label=label, zorder=5)

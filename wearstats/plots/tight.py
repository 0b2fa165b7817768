"""The bore as a clock face at each station, with its clearances and its tight places."""

import math

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Wedge

from wearstats.plots.frames import need_columns
from wearstats.plots.style import BAND, FAINT, INK, THIS, key_below, say_instead, style

_APART = 2.25
_UNDER = 2.7
_WORDS_AT = 0.7
_LEFT = 1.2
_BELOW_FROM, _BELOW_TO = 180.0, 360.0


def tight_place_map(places: pd.DataFrame, axes: Axes, *, quantity: str = "thou") -> Axes:
    """Draw metal-to-metal clearances around the bore, station by station, seen from the front.

    Parameters
    ----------
    places : DataFrame
        Columns rotor, station, clock (0 to 12), clearance, tight (bool): one row a place; those
        without a clock position are not drawn. Stations stand left to right as they come, rotors
        one under another.
    axes : Axes
    quantity : str
        Unit of the clearances.

    Raises
    ------
    UsageError
        A column is missing.
    """
    need_columns(places, ("rotor", "station", "clock", "clearance", "tight"), "tight places")
    with style():
        known = places[places["clock"].notna()]
        if known.empty:
            return say_instead(axes, "No reading says where on the clock it was taken.")
        axes.set_axis_off()
        axes.set_aspect("equal")
        rotors = list(dict.fromkeys(known["rotor"]))
        stations = list(dict.fromkeys(known["station"]))
        for down, rotor in enumerate(rotors):
            for along, station in enumerate(stations):
                mine = known[(known["rotor"] == rotor) & (known["station"] == station)]
                center = (_APART * along, -_UNDER * down)
                _draw_face(mine, axes, center, str(station) or "bore")
            if rotor:
                axes.text(-_LEFT, -_UNDER * down, str(rotor), rotation=90, ha="right", va="center")
        axes.set_xlim(-_LEFT - 0.4, _APART * (len(stations) - 1) + 1.15)
        axes.set_ylim(-_UNDER * (len(rotors) - 1) - 1.15, 1.5)
        axes.set_title(f"metal to metal, {quantity}, seen from the front")
        _key(axes, any_tight=bool(known["tight"].any()))
    return axes


def _draw_face(rows: pd.DataFrame, axes: Axes, center: tuple[float, float], station: str) -> None:
    across, up = center
    below = Wedge(center, 1.0, _BELOW_FROM, _BELOW_TO, color=INK, alpha=BAND / 2, lw=0)
    axes.add_patch(below)
    axes.add_patch(Arc(center, 2.0, 2.0, color=INK, lw=1.2))
    axes.plot([across - 0.4, across + 0.4], [up, up], color=INK, lw=0.8, ls=":", alpha=FAINT)
    axes.text(across, up + 1.15, station, ha="center", va="bottom", fontsize=11)
    # Several lobes at one spot: the tightest is what the case shows there.
    least = rows.sort_values("clearance", kind="stable").groupby("clock", sort=True).first()
    for clock, row in least.iterrows():
        angle = math.radians(90.0 - 30.0 * float(str(clock)))
        x, y = across + math.cos(angle), up + math.sin(angle)
        tight = bool(row["tight"])
        axes.plot(x, y, "D" if tight else "o", color=THIS if tight else INK, ms=9 if tight else 5)
        axes.text(
            across + _WORDS_AT * math.cos(angle),
            up + _WORDS_AT * math.sin(angle),
            f"{row['clearance']:.4g}",
            ha="center",
            va="center",
            fontsize=9.5,
            fontweight="bold" if tight else "normal",
        )


def _key(axes: Axes, *, any_tight: bool) -> None:
    """Name what is drawn, by empty lines of its look."""
    if any_tight:
        axes.add_line(Line2D([], [], marker="D", color=THIS, ls="", ms=9, label="tight"))
    axes.add_line(Line2D([], [], marker="o", color=INK, ls="", ms=5, label="as the rest"))
    axes.add_line(
        Line2D([], [], marker="s", color=INK, ls="", ms=10, alpha=BAND, label="not to be sanded")
    )
    key_below(axes)

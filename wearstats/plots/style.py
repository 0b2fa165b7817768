"""One look for every figure, made to be read at arm's length.

A page may be light or dark and may be printed in grey, and its reader may not tell colors apart:

* nothing is drawn behind a figure, and all that is text, axis or rule is drawn in `INK`, which
  `to_svg` turns into `currentColor`: it takes the color of the words around it;
* the two colors used keep a contrast of 3 to 1 on white and on near-black alike;
* no meaning rests on color alone: lines differ in dashes, marks in shape and filling;
* a figure is 360 points wide with 12-point words, so that it can be read on a telephone of 360
  pixels, where it is shown at about its own size.

Words are laid out in the one typeface that comes with matplotlib, so that a figure is the same
on every machine.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import matplotlib as mpl
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure

INK: Final = "#010203"
"""Words, axes and rules; `currentColor` once a figure is SVG."""
FLEET: Final = "#1A80C4"
"""What is fitted, and the strips in use."""
THIS: Final = "#D55E00"
"""What a reader must find first: this unit, a failure, the best plan."""
FAINT: Final = 0.45
"""Opacity of what stands behind."""
BAND: Final = 0.18
"""Opacity of an interval."""

WIDTH_INCHES: Final = 5.0
HEIGHT_INCHES: Final = 3.9
_ROW_INCHES: Final = 0.26
_FRAME_INCHES: Final = 1.8

_OWN: Final[dict[str, Any]] = {
    "axes.edgecolor": INK,
    "axes.facecolor": "none",
    "axes.grid": True,
    "axes.grid.axis": "y",
    "axes.labelcolor": INK,
    "axes.labelsize": 12,
    "axes.spines.left": False,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlecolor": INK,
    "axes.titlelocation": "left",
    "axes.titlepad": 10,
    "axes.titlesize": 12,
    "axes.titleweight": "normal",
    "figure.facecolor": "none",
    "font.family": ["DejaVu Sans"],
    "font.size": 12,
    "grid.alpha": 0.18,
    "grid.color": INK,
    "grid.linewidth": 0.8,
    "hatch.linewidth": 0.8,
    "legend.fontsize": 10.5,
    "legend.frameon": False,
    "legend.handlelength": 2.4,
    "legend.labelcolor": INK,
    "lines.linewidth": 2.2,
    "lines.markersize": 7,
    "savefig.facecolor": "none",
    "text.color": INK,
    # A unit named "$K_1$" is called just that.
    "text.parse_math": False,
    "xtick.bottom": True,
    "xtick.color": INK,
    "xtick.labelcolor": INK,
    "xtick.labelsize": 11.5,
    "ytick.color": INK,
    "ytick.labelcolor": INK,
    "ytick.labelsize": 11.5,
    "ytick.left": False,
}


@contextmanager
def style() -> Iterator[None]:
    """Draw in our look for as long as this holds, and leave the settings as they were."""
    look: Any = {**sns.axes_style("ticks"), **_OWN}
    with mpl.rc_context(look):
        yield


def new_axes(
    width_inches: float = WIDTH_INCHES, height_inches: float = HEIGHT_INCHES
) -> tuple[Figure, Axes]:
    """Return a figure of its own, outside pyplot, with one axes in our look."""
    with style():
        figure = Figure(figsize=(width_inches, height_inches), layout="constrained")
        return figure, figure.subplots()


def new_axes_for_rows(rows: int) -> tuple[Figure, Axes]:
    """Return a figure tall enough for so many rows, with one axes in our look."""
    return new_axes(WIDTH_INCHES, _FRAME_INCHES + _ROW_INCHES * max(rows, 2))


def name_axes(axes: Axes, across: str, up: str) -> None:
    """Name both axes; the upright one above it, level, where it is read without a tilt."""
    axes.set_xlabel(across)
    axes.set_ylabel("")
    axes.set_title(up)


def key_below(axes: Axes) -> None:
    """Put the key at the foot of the axes' figure or subfigure, where it never hides data."""
    shown, labels = axes.get_legend_handles_labels()
    figure = axes.get_figure()
    if shown and figure is not None:
        figure.legend(shown, labels, loc="outside lower left", ncols=2, columnspacing=1.2)


def say_instead(axes: Axes, sentence: str) -> Axes:
    """Say why there is nothing to draw."""
    axes.set_axis_off()
    axes.text(0.5, 0.5, sentence, ha="center", va="center", transform=axes.transAxes, wrap=True)
    return axes


def stamp(axes: Axes, word: str) -> Axes:
    """Write a word across a corner of the axes, such as SIMULATED."""
    with style():
        axes.set_title(word, loc="right", fontsize=11, fontweight="bold")
    return axes

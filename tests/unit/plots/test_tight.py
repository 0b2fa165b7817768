import math

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from wearstats import plots
from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.plots.style import THIS

COLUMNS = ["rotor", "station", "clock", "clearance", "tight"]


def places() -> pd.DataFrame:
    rows = [
        (rotor, station, clock, 30.5, rotor == "drive" and clock == 6.0)
        for rotor in ("drive", "driven")
        for station in ("front", "rear")
        for clock in (12.0, 3.0, 6.0, 9.0)
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def points(line: Line2D) -> FloatArray:
    return np.asarray(line.get_xydata(), dtype=np.float64)


def marks(axes: Axes, *shapes: str) -> list[Line2D]:
    """Marks drawn, without the empty ones of the key."""
    return [line for line in axes.lines if line.get_marker() in shapes and points(line).size]


def test_every_place_is_marked_where_a_clock_has_it() -> None:
    _, axes = plots.new_axes()
    plots.tight_place_map(places().head(4), axes)
    at = {tuple(points(line)[0].round(6).tolist()) for line in marks(axes, "o", "D")}
    # 12 up, 3 to the right, 6 down, 9 to the left, seen from the front.
    assert at == {(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0)}


def test_a_tight_place_differs_by_shape_and_weight_not_color_alone() -> None:
    _, axes = plots.new_axes()
    plots.tight_place_map(places(), axes)
    tight = marks(axes, "D")
    assert len(tight) == 2
    assert all(line.get_color() == THIS for line in tight)
    bold = [text for text in axes.texts if text.get_fontweight() == "bold"]
    assert [text.get_text() for text in bold] == ["30.5", "30.5"]


def test_several_lobes_at_a_spot_show_the_tightest() -> None:
    _, axes = plots.new_axes()
    more = places().head(1).assign(clearance=28.5)
    plots.tight_place_map(pd.concat([places().head(4), more]), axes)
    assert "28.5" in [text.get_text() for text in axes.texts]
    assert [text.get_text() for text in axes.texts].count("30.5") == 3


def test_without_clock_positions_it_says_so() -> None:
    _, axes = plots.new_axes()
    plots.tight_place_map(places().assign(clock=math.nan), axes)
    assert axes.texts[0].get_text() == "No reading says where on the clock it was taken."


def test_a_missing_column_is_named() -> None:
    _, axes = plots.new_axes()
    with pytest.raises(UsageError, match="missing: tight"):
        plots.tight_place_map(places().drop(columns="tight"), axes)

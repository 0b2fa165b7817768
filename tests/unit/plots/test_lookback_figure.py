"""What was said against what happened, as drawn."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.lines import Line2D

from wearstats.errors import UsageError
from wearstats.plots import new_axes, said_and_happened, to_svg

ROWS = pd.DataFrame(
    {
        "said": [0.12, 0.5],
        "happened": [0.2, 0.4],
        "low": [0.05, 0.2],
        "high": [0.5, 0.7],
        "forecasts": [4, 16],
    }
)


def points(line: Line2D) -> list[tuple[float, float]]:
    across, up = (np.asarray(data, dtype=float) for data in line.get_data())
    return [(float(x), float(y)) for x, y in zip(across, up, strict=True)]


def test_each_group_stands_where_it_was_said_and_happened() -> None:
    _, axes = new_axes()
    said_and_happened(ROWS, axes)
    marks = [line for line in axes.lines if line.get_marker() == "o"]
    assert [points(line) for line in marks] == [[(0.12, 0.2)], [(0.5, 0.4)]]
    assert marks[0].get_markersize() < marks[1].get_markersize()
    assert [text.get_text() for text in axes.texts] == ["4", "16"]
    assert [(0.0, 0.0), (1.0, 1.0)] in [points(line) for line in axes.lines]


def test_nothing_to_draw_is_said_and_a_missing_column_refused() -> None:
    figure, axes = new_axes()
    said_and_happened(ROWS.iloc[:0], axes)
    assert "No forecast" in to_svg(figure, "calibration", "no forecasts yet")
    with pytest.raises(UsageError, match="high"):
        said_and_happened(ROWS.drop(columns="high"), axes)

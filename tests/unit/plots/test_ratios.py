"""Hazard ratios as drawn: every end where it is, arrows where there is none."""

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import UsageError
from wearstats.plots import hazard_ratios, new_axes_for_rows, to_svg

RATIOS = pd.DataFrame(
    {
        "name": ["overdrive, 3.3 %", "lot B against A", "height"],
        "estimate": [1.2, 3.0, np.nan],
        "low": [0.8, 1.4, np.nan],
        "high": [1.7, np.nan, np.nan],
    }
)


def test_each_ratio_has_its_row_from_the_top_and_its_ends() -> None:
    _, axes = new_axes_for_rows(3)
    hazard_ratios(RATIOS, axes)
    assert [label.get_text() for label in axes.get_yticklabels()] == RATIOS["name"].tolist()[:2]
    bottom, top = axes.get_ylim()
    assert bottom > top
    marks = {
        (str(line.get_marker()), float(np.asarray(line.get_xdata())[0]), float(row))
        for line in axes.lines
        if line.get_marker() not in {"None", ""}
        for row in [np.asarray(line.get_ydata())[0]]
    }
    assert {("|", 0.8, 0.0), ("o", 1.2, 0.0), ("|", 1.7, 0.0), ("|", 1.4, 1.0)} <= marks
    # no upper end: an arrow at the edge of the figure
    (arrow,) = [at for mark, at, _ in marks if mark == ">"]
    assert arrow == pytest.approx(axes.get_xlim()[1])


def test_one_is_in_sight_and_marked() -> None:
    _, axes = new_axes_for_rows(1)
    hazard_ratios(RATIOS.iloc[[1]].assign(low=2.5, high=3.5), axes)
    least, most = axes.get_xlim()
    assert least < 1
    assert most > 3.5
    assert [1.0, 1.0] in [np.asarray(line.get_xdata()).tolist() for line in axes.lines]
    assert 1.0 in axes.get_xticks()


def test_nothing_known_is_said_and_a_missing_column_refused() -> None:
    figure, axes = new_axes_for_rows(1)
    hazard_ratios(RATIOS.iloc[[2]], axes)
    assert "No hazard ratio is known" in to_svg(figure, "ratios", "none")
    with pytest.raises(UsageError, match="low"):
        hazard_ratios(RATIOS.drop(columns="low"), axes)


@pytest.mark.parametrize("value", [0.0, -1.0, np.inf])
def test_what_is_no_ratio_is_refused(value: float) -> None:
    _, axes = new_axes_for_rows(3)
    with pytest.raises(UsageError, match="above 0"):
        hazard_ratios(RATIOS.assign(estimate=value), axes)

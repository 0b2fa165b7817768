"""The mean number of failures and each unit's count, as drawn."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from wearstats.errors import UsageError
from wearstats.plots import failures_over_runs, new_axes, to_svg
from wearstats.plots.style import THIS

CURVE = pd.DataFrame(
    {
        "runs": [5.0, 8.0, 12.0],
        "mean": [0.5, 1.0, 2.0],
        "low": [0.1, 0.4, np.nan],
        "high": [2.5, 2.5, np.nan],
    }
)
STEPS = pd.DataFrame(
    {
        "unit": ["K1", "K1", "K1", "K2", "K2", "K2", "K2"],
        "runs": [0.0, 5.0, 15.0, 0.0, 8.0, 12.0, 14.0],
        "failures": [0, 1, 1, 0, 1, 2, 2],
        "found": [False, True, False, False, True, True, False],
    }
)


def test_the_mean_begins_at_nought_and_goes_to_the_last_run_followed() -> None:
    _, axes = new_axes()
    failures_over_runs(CURVE, axes, steps=STEPS)
    (mean,) = [line for line in axes.lines if str(line.get_label()).startswith("mean")]
    assert np.asarray(mean.get_xdata()).tolist() == [0, 5, 8, 12, 15]
    assert np.asarray(mean.get_ydata()).tolist() == [0, 0.5, 1, 2, 2]


def test_every_failure_is_marked_and_one_unit_stands_out() -> None:
    figure, axes = new_axes()
    failures_over_runs(CURVE, axes, steps=STEPS, unit="K2")
    marks = [line for line in axes.lines if line.get_marker() == "x"]
    drawn = [[np.asarray(each).tolist() for each in line.get_data()] for line in marks]
    assert drawn == [
        [[5.0], [1]],
        [[8.0, 12.0], [1, 2]],
    ]
    assert to_rgb(marks[1].get_color()) == to_rgb(THIS)
    assert to_rgb(marks[0].get_color()) != to_rgb(THIS)
    assert to_svg(figure, "Failures", "Failures over runs.").startswith("<svg")


def test_nothing_to_draw_is_said() -> None:
    _, axes = new_axes()
    failures_over_runs(CURVE.iloc[:0], axes)
    assert axes.texts[0].get_text() == "No failure on record."


@pytest.mark.parametrize("missing", ["runs", "mean", "low", "high"])
def test_a_missing_column_is_named(missing: str) -> None:
    _, axes = new_axes()
    with pytest.raises(UsageError, match=missing):
        failures_over_runs(CURVE.drop(columns=missing), axes)


def test_a_missing_column_of_the_steps_is_named() -> None:
    _, axes = new_axes()
    with pytest.raises(UsageError, match="found"):
        failures_over_runs(CURVE, axes, steps=STEPS.drop(columns="found"))

"""Loss by path as drawn: each unit a row, greatest loss on top, ends where they are."""

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import UsageError
from wearstats.plots import loss_by_path, new_axes_for_rows

TABLE = pd.DataFrame(
    {
        "unit": ["K1", "K1", "K1", "K2", "K2", "K2"],
        "path": ["tip", "mesh", "end"] * 2,
        "estimate": [0.2, 0.0, 0.1, 0.9, 0.1, 0.1],
        "low": [0.1, -0.1, 0.0, 0.5, 0.0, 0.0],
        "high": [0.4, 0.1, 0.2, 1.4, 0.2, 0.3],
    }
)


def test_the_greatest_loss_stands_on_top_and_paths_have_marks_of_their_own() -> None:
    _, axes = new_axes_for_rows(4)
    loss_by_path(TABLE, axes)
    place = dict(
        zip((label.get_text() for label in axes.get_yticklabels()), axes.get_yticks(), strict=True)
    )
    assert place["K2"] > place["K1"]
    points = {
        str(line.get_marker()): np.asarray(line.get_xdata(), float).tolist()
        for line in axes.lines
        if line.get_marker() in {"o", "s", "^"}
    }
    assert points == {"o": [0.2, 0.9], "s": [0.0, 0.1], "^": [0.1, 0.1]}
    words = [text.get_text() for legend in axes.figure.legends for text in legend.get_texts()]
    legend = axes.get_legend()
    words += [] if legend is None else [text.get_text() for text in legend.get_texts()]
    assert {"tip", "mesh", "ends"} <= set(words)


def test_intervals_reach_their_ends() -> None:
    _, axes = new_axes_for_rows(4)
    loss_by_path(TABLE, axes)
    arms = [
        (float(segment[0, 0]), float(segment[1, 0]))
        for bars in axes.collections
        for segment in bars.get_segments()  # type: ignore[attr-defined]
    ]
    wanted = list(zip(TABLE["low"], TABLE["high"], strict=True))
    assert np.array(sorted(arms)) == pytest.approx(np.array(sorted(wanted)))


def test_nothing_known_is_said_and_a_missing_column_refused() -> None:
    _, axes = new_axes_for_rows(1)
    loss_by_path(TABLE.iloc[:0], axes)
    assert any("could be told" in text.get_text() for text in axes.texts)
    with pytest.raises(UsageError, match="path"):
        loss_by_path(TABLE.drop(columns="path"), axes)

"""Residuals as drawn: the right law's curve, and the steps where they are known."""

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import UsageError
from wearstats.life import StripLife, cox_snell
from wearstats.lives.observations import Observations
from wearstats.plots import new_axes, residual_curve, to_svg


def steps_of(law: str) -> pd.DataFrame:
    """Twelve lives looked at every one to three runs, on the scale of a fitted law."""
    failed = np.array([3.0, 5, 6, 7, 7, 8, 9, 10, 11, 13])
    lower = np.concatenate([failed - 1 - np.arange(10) % 3, [6.0, 9.0]])
    upper = np.concatenate([failed, [np.inf, np.inf]])
    labels = tuple(f"life {place}" for place in range(12))
    known = Observations(np.zeros(12), lower, upper, np.ones(12), labels)
    frame = cox_snell(StripLife(law).fit(known), known).curve().frame
    return pd.DataFrame(
        {"residual": frame["upper"], "survival": frame["after"], "since": frame["lower"]}
    )


def test_the_right_law_is_the_unit_exponential() -> None:
    _, axes = new_axes()
    residual_curve(steps_of("weibull"), axes)
    (line,) = [one for one in axes.lines if one.get_label() == "if the law is right"]
    at, height = (np.asarray(part, dtype=float) for part in line.get_data())
    assert height == pytest.approx(np.exp(-at))
    assert at[-1] >= 1


def test_falls_between_looks_are_boxed_where_the_law_puts_the_looks() -> None:
    steps = steps_of("weibull")
    _, axes = new_axes()
    residual_curve(steps, axes)
    boxes = sorted(float(box.get_window_extent().x0) for box in axes.patches)
    boxes = axes.transData.inverted().transform([(at, 0.0) for at in boxes])[:, 0].tolist()
    assert boxes == pytest.approx(sorted(steps["since"]), abs=1e-6)


def test_a_law_without_wear_lies_off_the_curve_where_the_right_one_does_not() -> None:
    # These lives wear out: an exponential law has too much hazard spent early.
    def worst(steps: pd.DataFrame) -> float:
        return float(np.abs(steps["survival"] - np.exp(-steps["residual"])).max())

    assert worst(steps_of("exponential")) > 2 * worst(steps_of("weibull"))


def test_nothing_known_is_said_and_what_is_none_refused() -> None:
    figure, axes = new_axes()
    empty = pd.DataFrame({"residual": [], "survival": []})
    residual_curve(empty, axes)
    assert "No residual is known" in to_svg(figure, "residuals", "none")
    with pytest.raises(UsageError, match="survival"):
        residual_curve(empty.drop(columns="survival"), axes)
    with pytest.raises(UsageError, match="0 or more"):
        residual_curve(pd.DataFrame({"residual": [-0.1], "survival": [0.9]}), axes)

"""What is drawn, from which columns, and that nothing outside the figure is touched."""

import itertools
from collections.abc import Callable

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.container import BarContainer
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from wearstats.errors import UsageError
from wearstats.plots import (
    boost_over_season,
    clearance_by_build,
    cost_curve,
    fleet_chances,
    fleet_lives,
    new_axes,
    new_axes_for_rows,
    stamp,
    survival_curve,
    to_svg,
)
from wearstats.plots.style import FLEET, THIS

CURVE = pd.DataFrame(
    {
        "runs": [0.0, 5.0, 10.0, 15.0],
        "survival": [1.0, 0.8, 0.5, 0.2],
        "low": [1.0, 0.7, 0.3, 0.1],
        "high": [1.0, 0.9, 0.7, 0.4],
    }
)
STEPS = pd.DataFrame({"runs": [0.0, 6.0, 9.0], "survival": [1.0, 0.8, 0.6]})
LIVES = pd.DataFrame(
    {
        "unit": ["K1", "K1", "K2", "K2", "K3"],
        "build": [1, 2, 1, 2, 1],
        "entry": [0.0, 0.0, 3.0, 0.0, 0.0],
        "lower": [6.0, 4.0, 8.0, 4.0, np.nan],
        "upper": [8.0, np.inf, np.inf, np.inf, np.nan],
        "age": [8.0, 6.0, 9.0, 4.0, 5.0],
        "open": [False, True, False, True, False],
    }
)
LOOKS = pd.DataFrame({"unit": ["K1", "K1", "K2"], "build": [1, 2, 2], "age": [6.0, 4.0, 4.0]})
READINGS = pd.DataFrame(
    {
        "build": [1, 1, 2, 2, 2, 2],
        "age": [0.0, 4.0, 0.0, 3.0, 5.0, 6.0],
        "low": [3.0, 5.0, 4.0, 5.0, np.nan, 8.0],
        "high": [4.0, 6.0, 4.0, 6.0, 7.0, np.nan],
    }
)
FORECAST = pd.DataFrame(
    {
        "age": [0.0, 10.0],
        "estimate": [4.0, 8.0],
        "low": [3.5, 6.5],
        "high": [4.5, 9.5],
    }
)
BOOST = pd.DataFrame(
    {
        "date": pd.to_datetime(["2026-04-11", "2026-04-11", "2026-05-03", "2026-05-04"]),
        "build": [1, 1, 2, 2],
        "as_read": [31.0, np.nan, 32.0, 31.0],
        "corrected": [30.0, np.nan, 31.0, 30.5],
        "predicted": [30.2, 29.9, 31.0, 30.6],
    }
)
COSTS = pd.DataFrame(
    {
        "runs": [1, 2, 3, 4],
        "cost_per_run": [300.0, 120.0, 118.0, 160.0],
        "low": [290.0, 100.0, 90.0, 100.0],
        "high": [310.0, 150.0, 160.0, 240.0],
        "near_best": [False, True, True, False],
    }
)
CHANCES = pd.DataFrame(
    {
        "unit": ["K1", "K2", "K3", "K4"],
        "ahead": [0.95, 0.7, 0.4, None],
        "ahead_low": [0.9, 0.6, 0.2, None],
        "ahead_high": [0.99, 0.8, 0.6, None],
        "ahead_if_sound": [0.95, 0.93, 0.6, None],
        "advice": ["run", "look first", "restrip", "look first"],
    }
)

Drawing = Callable[[Axes], Axes]
DRAWINGS: dict[str, Drawing] = {
    "survival": lambda axes: survival_curve(CURVE, axes, steps=STEPS, lives=LIVES[:4], unit="K1"),
    "lives": lambda axes: fleet_lives(LIVES, axes, looks=LOOKS),
    "clearance": lambda axes: clearance_by_build(READINGS, axes, forecast=FORECAST, limit=9.0),
    "boost": lambda axes: boost_over_season(BOOST, axes),
    "cost": lambda axes: cost_curve(
        COSTS, axes, best=3, run_to_failure=170.0, service_limit_runs=4, currency="USD"
    ),
    "chances": lambda axes: fleet_chances(CHANCES, axes, bound=0.9),
}
drawings = pytest.mark.parametrize("drawing", DRAWINGS.values(), ids=DRAWINGS.keys())


Points = list[tuple[float, float]]


def marks_of(axes: Axes) -> dict[str, Points]:
    """Points of each named line."""
    return {
        str(line.get_label()): [
            (float(x), float(y))
            for x, y in np.asarray(line.get_xydata(), dtype=np.float64).reshape(-1, 2)
        ]
        for line in axes.lines
    }


def words_of(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text)]


@drawings
def test_a_drawing_returns_its_axes_and_leaves_all_else_alone(drawing: Drawing) -> None:
    before = dict(mpl.rcParams)
    frames = [each.copy() for each in (CURVE, STEPS, LIVES, LOOKS, READINGS, BOOST, COSTS, CHANCES)]
    figure, axes = new_axes()
    assert drawing(axes) is axes
    to_svg(figure, "title", "description")
    assert dict(mpl.rcParams) == before
    assert plt.get_fignums() == []
    for each, kept in zip(
        (CURVE, STEPS, LIVES, LOOKS, READINGS, BOOST, COSTS, CHANCES), frames, strict=True
    ):
        pd.testing.assert_frame_equal(each, kept)


@drawings
def test_the_key_fits_the_figure(drawing: Drawing) -> None:
    figure, axes = new_axes()
    drawing(axes)
    figure.draw_without_rendering()
    (key,) = figure.legends
    box = key.get_window_extent()
    assert box.x0 >= 0
    assert box.x1 <= figure.bbox.width


@drawings
def test_no_two_entries_of_a_key_look_alike_in_grey(drawing: Drawing) -> None:
    _, axes = new_axes()
    drawing(axes)
    handles, labels = axes.get_legend_handles_labels()
    assert len(set(labels)) == len(labels)
    looks = set()
    for handle in handles:
        shape = handle.patches[0] if isinstance(handle, BarContainer) else handle
        get = shape.properties().get
        looks.add(
            (
                type(handle).__name__,
                str(get("linestyle")),
                str(get("marker")),
                str(get("linewidth")),
                str(get("markersize")),
                get("markerfacecolor") == "none",
                str(get("hatch")),
            )
        )
    assert len(looks) == len(labels)


def test_lives_of_the_unit_are_named_and_counted() -> None:
    figure, axes = new_axes()
    survival_curve(CURVE, axes, lives=LIVES[:4], unit="K1")
    marks = marks_of(axes)
    assert [x for x, _ in marks["failed, K1"]] == [7.0]
    assert [x for x, _ in marks["sound when seen, K1"]] == [4.0]
    assert sorted(x for x, _ in marks["sound when seen"]) == [4.0, 8.0]
    # Two lives at the same age stand on each other, not in each other.
    sound = marks["sound when seen, K1"] + marks["sound when seen"]
    same = {level for age, level in sound if age == 4.0}
    assert len(same) == 2
    assert "failed, K1" in words_of(figure)


def test_a_fall_between_two_looks_is_boxed_and_not_drawn() -> None:
    _, axes = new_axes()
    steps = pd.DataFrame(
        {"runs": [0.0, 4.0, 6.0], "survival": [1.0, 0.8, 0.3], "since": [np.nan, 2.0, np.nan]}
    )
    survival_curve(CURVE, axes, steps=steps)
    (line,) = (line for line in axes.lines if line.get_label() == "as seen, no model")
    drawn = np.column_stack(line.get_data())
    known = [(2.0, 1.0), (4.0, 0.8), (6.0, 0.8), (6.0, 0.3)]
    assert {tuple(point) for point in drawn[np.isfinite(drawn[:, 0])]} == {(0.0, 1.0), *known}
    # the pen is lifted from the look at 2 to the look at 4
    assert np.flatnonzero(np.isnan(drawn[:, 0])).tolist() == [4]
    (box,) = axes.patches
    assert isinstance(box, Rectangle)
    assert box.get_xy() == (2.0, 0.8)
    assert box.get_width() == pytest.approx(2.0)
    assert box.get_height() == pytest.approx(0.2)


def test_every_life_has_its_row_from_the_top() -> None:
    figure, axes = new_axes_for_rows(len(LIVES))
    fleet_lives(LIVES, axes)
    names = [label.get_text() for label in axes.get_yticklabels()]
    assert names == ["K1 · 1", "2", "K2 · 1", "2", "K3 · 1"]
    assert axes.yaxis_inverted()
    assert figure.get_figheight() > new_axes_for_rows(2)[0].get_figheight()


def test_readings_of_one_side_are_arrows() -> None:
    _, axes = new_axes()
    clearance_by_build(READINGS, axes)
    marks = marks_of(axes)
    assert marks["read as under this"] == [(5.0, 7.0)]
    assert marks["read as over this"] == [(6.0, 8.0)]


def test_restrips_are_marked_where_the_build_changes() -> None:
    _, axes = new_axes()
    boost_over_season(BOOST, axes)
    assert {run for run, _ in marks_of(axes)["restrip"]} == {2.5}
    assert [label.get_text() for label in axes.get_xticklabels()] == ["11 Apr", "3 May", "4 May"]


def test_days_close_together_are_not_dated_over_each_other() -> None:
    # One long day, then a day of one run, then another: the second would be written on the first.
    days = (
        ["2026-06-14"] * 12 + ["2026-07-28", "2026-08-17", *["2026-08-18"] * 3] + ["2026-09-08"] * 9
    )
    season = pd.DataFrame({"date": pd.to_datetime(days), "build": 1, "as_read": 31.0})
    figure, axes = new_axes()
    boost_over_season(season.assign(corrected=30.0), axes)
    figure.canvas.draw()
    ends = [
        (box.x0, box.x1) for box in (label.get_window_extent() for label in axes.get_xticklabels())
    ]
    assert [label.get_text() for label in axes.get_xticklabels()] == ["14 Jun", "28 Jul", "8 Sep"]
    assert all(right < left for (_, right), (left, _) in itertools.pairwise(ends))


def test_boost_that_cannot_be_corrected_is_shown_as_read() -> None:
    _, axes = new_axes()
    boost_over_season(BOOST.assign(corrected=np.nan), axes)
    assert "corrected" not in marks_of(axes)
    assert len(marks_of(axes)["as read"]) == len(BOOST)


def test_cost_is_shown_where_it_is_decided() -> None:
    _, axes = new_axes()
    cost_curve(COSTS, axes, best=3)
    assert marks_of(axes)["least, at 3"] == [(3.0, 118.0)]
    assert axes.get_ylim()[0] == 0.0


def test_a_chance_that_cannot_be_told_says_so() -> None:
    figure, axes = new_axes_for_rows(4)
    fleet_chances(CHANCES, axes)
    assert "look first: see the reason" in words_of(figure)


def test_simulated_is_stamped() -> None:
    figure, axes = new_axes()
    stamp(survival_curve(CURVE, axes), "SIMULATED")
    assert "SIMULATED" in words_of(figure)


@pytest.mark.parametrize(
    ("drawing", "said"),
    [
        (lambda axes: fleet_lives(LIVES[:0], axes), "No strip lives on record."),
        (lambda axes: clearance_by_build(READINGS[:0], axes), "No reading of tip clearance"),
        (lambda axes: boost_over_season(BOOST[:0], axes), "No boost on record."),
        (
            lambda axes: boost_over_season(BOOST.assign(as_read=np.nan, corrected=np.nan), axes),
            "No boost on record.",
        ),
        (lambda axes: cost_curve(COSTS[:0], axes), "No cost to draw."),
        (lambda axes: fleet_chances(CHANCES[:0], axes), "No unit in use."),
    ],
    ids=["lives", "clearance", "boost", "boost never read", "cost", "chances"],
)
def test_nothing_to_draw_is_said(drawing: Drawing, said: str) -> None:
    figure, axes = new_axes()
    drawing(axes)
    assert any(word.startswith(said) for word in words_of(figure))


@pytest.mark.parametrize(
    ("drawing", "column"),
    [
        (lambda axes: survival_curve(CURVE.drop(columns="low"), axes), "low"),
        (lambda axes: survival_curve(CURVE, axes, steps=STEPS.drop(columns="runs")), "runs"),
        (lambda axes: survival_curve(CURVE, axes, lives=LIVES.drop(columns="upper")), "upper"),
        (lambda axes: fleet_lives(LIVES.drop(columns="entry"), axes), "entry"),
        (lambda axes: fleet_lives(LIVES, axes, looks=LOOKS.drop(columns="age")), "age"),
        (lambda axes: clearance_by_build(READINGS.drop(columns="high"), axes), "high"),
        (lambda axes: clearance_by_build(READINGS, axes, forecast=CURVE), "age, estimate"),
        (lambda axes: boost_over_season(BOOST.drop(columns="date"), axes), "date"),
        (lambda axes: cost_curve(COSTS.drop(columns="near_best"), axes), "near_best"),
        (lambda axes: fleet_chances(CHANCES.drop(columns="advice"), axes), "advice"),
    ],
    ids=[
        *("curve", "steps", "curve lives", "lives", "looks"),
        *("readings", "forecast", "boost", "costs", "chances"),
    ],
)
def test_a_missing_column_is_named(drawing: Drawing, column: str) -> None:
    _, axes = new_axes()
    with pytest.raises(UsageError, match=f"missing: {column}"):
        drawing(axes)


def luminance(color: str) -> float:
    """Relative luminance, WCAG 2.1 (https://www.w3.org/TR/WCAG21/#dfn-relative-luminance)."""
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in to_rgb(color)
    )
    return float(0.2126 * red + 0.7152 * green + 0.0722 * blue)


@pytest.mark.parametrize("color", [FLEET, THIS])
@pytest.mark.parametrize("page", ["#ffffff", "#121212"])
def test_colors_stand_out_on_light_and_dark(color: str, page: str) -> None:
    # 3 to 1 for graphics: WCAG 2.1, 1.4.11.
    low, high = sorted((luminance(color), luminance(page)))
    assert (high + 0.05) / (low + 0.05) >= 3.0

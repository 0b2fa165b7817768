"""Figures of the pages: a section's value in, inline SVG with words for it out."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure

from wearstats import plots
from wearstats.estimates import Estimate
from wearstats.life import CurvePoint
from wearstats_reports import cells, numbers
from wearstats_reports.fits import MODE
from wearstats_reports.names import short_name
from wearstats_reports.report import SeasonReport, UnitReport
from wearstats_reports.sections.clearance import Gap
from wearstats_reports.sections.lives import UnitLife
from wearstats_reports.sections.went_with import Ratio

MOST_BARS = 60
"""Builds that can still be taken in at a glance."""

_BARS_ON_PAPER = 30
"""Bars of one figure that fits a Letter sheet without being made smaller."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A figure for a page.

    Parameters
    ----------
    svg : Markup
        With its own text alternative.
    caption : str
        What to look for, one or two sentences.
    """

    svg: Markup
    caption: str


def _drawing(figure: Figure, title: str, said: str, caption: str, *, simulated: bool) -> Drawing:
    if simulated:
        plots.stamp(figure.axes[0], "SIMULATED")
    # Text in the drawing is escaped by the writer of the SVG.
    return Drawing(Markup(plots.to_svg(figure, title, said)), caption)  # noqa: S704


def _none_as_nan(value: float | None) -> float:
    return math.nan if value is None else value


def boost(report: SeasonReport, unit: UnitReport) -> Drawing | None:
    """Draw boost run by run, as read and corrected, restrips marked."""
    points = unit.boost.points
    if all(point.corrected_psi is None for point in points):
        return None
    rows = pd.DataFrame(
        {
            "date": [pd.Timestamp(point.date) if point.date else pd.NaT for point in points],
            "build": [point.build for point in points],
            "as_read": [point.boost_psi for point in points],
            "corrected": [_none_as_nan(point.corrected_psi) for point in points],
        }
    )
    predicted = [_none_as_nan(point.predicted_psi) for point in points]
    if any(map(math.isfinite, predicted)):
        rows["predicted"] = predicted
    figure, axes = plots.new_axes()
    plots.boost_over_season(rows, axes)
    builds = "; ".join(
        f"build {build.build}: {numbers.number(build.first.corrected_psi, 'psi')} psi first, "
        f"{numbers.number(build.latest.corrected_psi, 'psi')} psi latest"
        for build in unit.boost.builds
    )
    return _drawing(
        figure,
        "Boost over the season",
        f"{cells.count(len(points), 'boost reading')} in order of the runs. Corrected, by {builds}",
        "Dots are boost corrected to a barometer of 29.921 inHg, rings as it was read; "
        "upright lines are restrips.",
        simulated=report.simulated,
    )


def _gap_frame(gaps: Iterable[Gap]) -> pd.DataFrame:
    rows = [
        (gap.build, gap.age, _none_as_nan(gap.low_thou), _none_as_nan(gap.high_thou))
        for gap in gaps
        if gap.age is not None
    ]
    return pd.DataFrame(rows, columns=["build", "age", "low", "high"])


def _said(gaps: Iterable[Gap]) -> str:
    spoken = [
        f"build {gap.build} at {numbers.age(gap.age)} runs: "
        f"{numbers.reading(gap.low_thou, gap.high_thou)}"
        for gap in gaps
        if gap.age is not None
    ]
    return f"Readings in thou: {'; '.join(spoken)}." if spoken else "No reading."


def clearance(report: SeasonReport, unit: UnitReport) -> Drawing | None:
    """Draw tip clearance by build with the forecast of the build in use."""
    gaps = unit.clearance
    frame = _gap_frame(gaps.of("tip"))
    if frame.empty and not gaps.forecast:
        return None
    forecast = None
    said, caption = _said(gaps.of("tip")), "Bars are go / no-go readings."
    if gaps.forecast:
        forecast = pd.DataFrame(
            [(f.age, f.estimate_thou, f.low_thou, f.high_thou) for f in gaps.forecast],
            columns=["age", "estimate", "low", "high"],
        )
        end = gaps.forecast[-1]
        said += (
            f" Forecast of build {unit.today.build} at {numbers.age(end.age)} runs: "
            f"{numbers.number(end.estimate_thou, 'thou')} thou, "
            f"{numbers.number(end.low_thou, 'thou')} to {numbers.number(end.high_thou, 'thou')}."
        )
        caption += (
            f" The dashed line is build {unit.today.build}, the strips in use, with its "
            f"{numbers.level(report.level)} band for the true clearance."
        )
    figure, axes = plots.new_axes()
    plots.clearance_by_build(frame, axes, forecast=forecast, limit=gaps.limit_thou)
    return _drawing(figure, "Tip clearance by build", said, caption, simulated=report.simulated)


def strip_height(report: SeasonReport, unit: UnitReport) -> Drawing | None:
    """Draw strip height by build."""
    heights = unit.clearance.of("strip height")
    frame = _gap_frame(heights)
    if frame.empty:
        return None
    figure, axes = plots.new_axes()
    plots.clearance_by_build(frame, axes, quantity="strip height, thou")
    return _drawing(
        figure,
        "Strip height by build",
        _said(heights),
        "Strip above the rotor surface. More strip above the rotor seals better.",
        simulated=report.simulated,
    )


def _curve_frame(points: tuple[CurvePoint, ...]) -> pd.DataFrame:
    rows = [
        (p.runs, p.share, _none_as_nan(p.low), _none_as_nan(p.high), _none_as_nan(p.since))
        for p in points
    ]
    return pd.DataFrame(rows, columns=["runs", "survival", "low", "high", "since"])


def _life_frame(lives: Iterable[UnitLife]) -> pd.DataFrame:
    rows = [
        (
            life.unit,
            life.build,
            _none_as_nan(life.entry),
            _none_as_nan(life.lower),
            math.inf if life.upper is None else life.upper,
            _none_as_nan(life.age),
            life.open,
        )
        for life in lives
    ]
    columns = ["unit", "build", "entry", "lower", "upper", "age", "open"]
    return pd.DataFrame(rows, columns=columns)


def _all_lives(report: SeasonReport) -> tuple[UnitLife, ...]:
    return tuple(life for unit in report.units for life in unit.lives)


def _spoken_curve(points: tuple[CurvePoint, ...]) -> str:
    told = points[:: max(1, len(points) // 6)]
    spoken = "; ".join(
        f"{numbers.percent(p.share)} after {numbers.number(p.runs, 'runs')} runs" for p in told
    )
    return f"Share of strips still sound by the fitted curve: {spoken}."


def _as_seen_by_the_curve(life: UnitLife) -> UnitLife:
    """Return a life as the curve of burn-through takes it: another failure only ends the watch."""
    return life if life.mode == MODE else replace(life, upper=None)


def unit_lives(report: SeasonReport, unit: UnitReport) -> Drawing | None:
    """Draw the fleet's curve with every life under it, this unit's standing out."""
    curve = report.curve
    if not curve.fitted or not unit.lives:
        return None
    usable = [_as_seen_by_the_curve(life) for life in _all_lives(report) if not life.left_out]
    figure, axes = plots.new_axes(height_inches=4.2)
    # A short name: the figure's key has room for no more, and the page says whose it is.
    shown = "this unit"
    lives = _life_frame(usable)
    lives["unit"] = [shown if life.unit == unit.unit else "another" for life in usable]
    plots.survival_curve(
        _curve_frame(curve.fitted),
        axes,
        steps=_curve_frame(curve.seen) if curve.seen else None,
        lives=lives,
        unit=shown,
    )
    own = sum(life.unit == unit.unit for life in usable)
    return _drawing(
        figure,
        "Strip lives of this unit among the fleet's",
        f"{_spoken_curve(curve.fitted)} {own} of {len(usable)} lives are of this unit.",
        "The whole fleet's fitted curve of burn-through, with its band. Below it every life: a "
        "cross where strips had burned through, a ring where they were last seen sound.",
        simulated=report.simulated,
    )


def _caption_of_seen(seen: tuple[CurvePoint, ...]) -> str:
    if not seen:
        return "."
    boxed = any(point.since is not None for point in seen)
    boxes = " A box is where that falls between two looks, no one knows how." if boxed else ""
    return f", and the share seen sound without any model.{boxes}"


def fleet_curve(report: SeasonReport) -> Drawing | None:
    """Draw the fleet's curve with what was seen without a model."""
    curve = report.curve
    if not curve.fitted:
        return None
    figure, axes = plots.new_axes()
    plots.survival_curve(
        _curve_frame(curve.fitted), axes, steps=_curve_frame(curve.seen) if curve.seen else None
    )
    return _drawing(
        figure,
        "Strip life of the fleet",
        _spoken_curve(curve.fitted),
        f"The fitted curve with its band{_caption_of_seen(curve.seen)}",
        simulated=report.simulated,
    )


def fleet_bars(report: SeasonReport) -> tuple[Drawing, ...]:
    """Draw every life as a bar, in figures that fit a sheet of paper at full size."""
    lives = sorted(_all_lives(report), key=lambda life: (life.unit, life.build))
    farthest = max((life.age or 0.0 for life in lives), default=0.0)
    if not farthest or len(lives) > MOST_BARS:
        return ()
    return tuple(_bars(part, farthest, report) for part in _parts(lives))


def _parts(lives: list[UnitLife]) -> Iterator[list[UnitLife]]:
    """Return the lives in runs of about one length, a unit never torn in two unless too long."""
    parts = math.ceil(len(lives) / _BARS_ON_PAPER)
    part: list[UnitLife] = []
    for _, group in groupby(lives, key=lambda life: life.unit):
        own = list(group)
        if part and len(part) + len(own) / 2 > len(lives) / parts:
            yield part
            part = []
        part += own
    for start in range(0, len(part), _BARS_ON_PAPER):
        yield part[start : start + _BARS_ON_PAPER]


def _bars(lives: list[UnitLife], farthest: float, report: SeasonReport) -> Drawing:
    frame = _life_frame(lives)
    # A long name would take the width of the drawing; the tables give it whole.
    frame["unit"] = [short_name(life.unit) for life in lives]
    figure, axes = plots.new_axes_for_rows(len(lives))
    plots.fleet_lives(frame, axes)
    axes.set_xlim(0, 1.04 * farthest)
    ended = sum(life.mode != "" for life in lives)
    first, last = short_name(lives[0].unit), short_name(lives[-1].unit)
    whose = first if first == last else f"{first} to {last}"
    return _drawing(
        figure,
        f"Every strip life on record: {whose}",
        f"{cells.count(len(lives), 'build')}, {ended} of them ended by failed strips. "
        "The same lives stand in lives.csv.",
        f"{whose}, one bar for each build: known sound, not looked at since, failed somewhere in "
        "between.",
        simulated=report.simulated,
    )


_MOST_SPOKEN = 20


def _between(low: float | None, high: float | None) -> str:
    """Return an interval in brackets, or nothing where there is none."""
    if low is None or high is None:
        return ", no interval"
    return f" ({numbers.number(low)} to {numbers.number(high)})"


def recurrence(report: SeasonReport) -> Drawing | None:
    """Draw failures over total runs: the fleet's mean and each unit's own count."""
    told = report.recurrence
    if not told.curve:
        return None
    curve = pd.DataFrame(
        [(p.runs, p.mean, _none_as_nan(p.low), _none_as_nan(p.high)) for p in told.curve],
        columns=["runs", "mean", "low", "high"],
    )
    rows = []
    for each in told.counts:
        rows.append((each.unit, 0.0, 0, False))
        rows += [(each.unit, age, place + 1, True) for place, age in enumerate(each.found_at)]
        rows.append((each.unit, each.end, len(each.found_at), False))
    steps = pd.DataFrame(rows, columns=["unit", "runs", "failures", "found"])
    figure, axes = plots.new_axes()
    plots.failures_over_runs(curve, axes, steps=steps)
    last = told.curve[-1]
    spoken = "; ".join(
        f"{each.unit} {len(each.found_at)} in {numbers.age(each.end)} runs"
        for each in told.counts[:_MOST_SPOKEN]
    )
    more = "" if len(told.counts) <= _MOST_SPOKEN else "; the others stand in season.json"
    return _drawing(
        figure,
        "Failures over total runs",
        f"By {numbers.age(last.runs)} total runs {numbers.number(last.mean)} failures of one unit "
        f"on average{_between(last.low, last.high)}. Each unit: {spoken}{more}.",
        f"Each step is a failure; the band is the {numbers.level(report.level)} interval of the "
        "mean. A unit whose steps crowd together wears strips out faster.",
        simulated=report.simulated,
    )


_LABEL = 16


def went_with(report: SeasonReport) -> Drawing | None:
    """Draw the hazard ratios that rest on the records alone."""
    told = [each for each in report.went_with.ratios if not each.rests_on_prior]
    if not told:
        return None
    rows = [("\n".join(_compared(each)), *map(_none_as_nan, _ends(each.ratio))) for each in told]
    figure, axes = plots.new_axes_for_rows(round(1.7 * len(told)))
    plots.hazard_ratios(pd.DataFrame(rows, columns=["name", "estimate", "low", "high"]), axes)
    spoken = "; ".join(
        f"{' '.join(_compared(each))}: {numbers.quantity(each.ratio)}" for each in told
    )
    return _drawing(
        figure,
        "What went with burning through",
        f"Hazard ratios, each with its {numbers.level(report.level)} interval. {spoken}.",
        "A dot right of the dashed line: burned through sooner; left of it: later. A bar across "
        "the line cannot tell which.",
        simulated=report.simulated,
    )


def _compared(ratio: Ratio) -> tuple[str, str]:
    return short_name(ratio.of, _LABEL), short_name(ratio.step, _LABEL)


def _ends(ratio: Estimate) -> tuple[float | None, float | None, float | None]:
    return ratio.estimate, ratio.low, ratio.high


def plan(report: SeasonReport) -> Drawing | None:
    """Draw the cost per run against the number of runs after which strips are renewed."""
    interval = report.interval
    if interval.basis != "cost" or not interval.curve:
        return None
    frame = pd.DataFrame(
        [(p.runs, p.value, p.low, p.high, p.near_best) for p in interval.curve],
        columns=["runs", "cost_per_run", "low", "high", "near_best"],
    )
    best = interval.best.estimate.estimate if interval.best.estimate is not None else None
    figure, axes = plots.new_axes()
    plots.cost_curve(
        frame, axes, best=None if best is None else int(best), currency=interval.currency
    )
    told = interval.curve[:: max(1, len(interval.curve) // 6)]
    money = f" {interval.currency}" if interval.currency else ""
    spoken = "; ".join(f"{p.runs:g} runs: {numbers.number(p.value, 'cost')}{money}" for p in told)
    return _drawing(
        figure,
        "Cost per run by restrip interval",
        f"Cost per run when restripping after so many runs: {spoken}.",
        "What a run costs, planned restrips, burn-throughs and lost boost together.",
        simulated=report.simulated,
    )

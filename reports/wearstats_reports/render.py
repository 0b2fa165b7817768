"""From the report's value to pages. No arithmetic here: what a page says stands in the value."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wearstats_reports import figures, markup, numbers
from wearstats_reports.report import SeasonReport, UnitReport
from wearstats_reports.signs import MEANS, WORDS, sign
from wearstats_reports.tally import tally

CONTENT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""Written into every page: it may load nothing from anywhere."""


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("wearstats_reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = environment.loader.get_source(environment, "page.css")[0] if environment.loader else ""
    environment.globals.update(
        # Our own file; everything from a sheet goes through autoescape.
        style=Markup(style),  # noqa: S704
        policy=CONTENT_POLICY,
        data=markup,
        numbers=numbers,
        words=WORDS,
        means=MEANS,
        sign=sign,
        tally=tally,
    )
    return environment


def unit_page(report: SeasonReport, unit: UnitReport) -> str:
    """Return one unit's page as HTML."""
    return (
        _environment()
        .get_template("unit.html.j2")
        .render(
            report=report,
            unit=unit,
            boost_figure=figures.boost(report, unit),
            gap_figure=figures.clearance(report, unit),
            height_figure=figures.strip_height(report, unit),
            life_figure=figures.unit_lives(report, unit),
        )
    )


def fleet_page(report: SeasonReport) -> str:
    """Return the fleet's page as HTML."""
    return (
        _environment()
        .get_template("index.html.j2")
        .render(
            report=report,
            life_figure=figures.fleet_curve(report),
            bars_figure=figures.fleet_bars(report),
            recurrence_figure=figures.recurrence(report),
            plan_figure=figures.plan(report),
            most_bars=figures.MOST_BARS,
        )
    )

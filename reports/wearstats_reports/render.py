"""From the report's value to pages. No arithmetic here: what a page says stands in the value."""

from base64 import b64encode
from functools import cache
from hashlib import sha256

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wearstats_reports import figures, glossary, markup, numbers
from wearstats_reports.names import short_name
from wearstats_reports.report import SeasonReport, UnitReport
from wearstats_reports.signs import MEANS, URGENCY, WORDS, sign
from wearstats_reports.tally import tally

_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)

ROWS_TO_SORT = 3
"""Rows from which on a table can be sorted."""


def content_policy(*, sorts: bool) -> str:
    """Return what a page may load: nothing, and run: at most our own script, by its hash."""
    if not sorts:
        return _POLICY
    digest = b64encode(sha256(_source("sort.js").encode()).digest()).decode()
    return f"{_POLICY}; script-src 'sha256-{digest}'"


def _source(name: str) -> str:
    environment = _environment()
    text = environment.loader.get_source(environment, name)[0] if environment.loader else ""
    # A browser hashes a script with the line ends of its page.
    return text.replace("\r\n", "\n")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("wearstats_reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        data=markup,
        numbers=numbers,
        words=WORDS,
        means=MEANS,
        urgency=URGENCY,
        short=short_name,
        rows_to_sort=ROWS_TO_SORT,
        sign=sign,
        tally=tally,
    )
    return environment


_NO_TEXT = {code: "\ufffd" for code in (*range(32), 127) if chr(code) not in "\t\n\r"}
"""Control characters, which no page may hold; `season.json` keeps them."""


def _page(template: str, report: SeasonReport, longest_table: int, **values: object) -> str:
    sorts = longest_table >= ROWS_TO_SORT
    # Our own files; everything from a sheet goes through autoescape.
    page = (
        _environment()
        .get_template(template)
        .render(
            report=report,
            style=Markup(_source("page.css")),  # noqa: S704
            script=Markup(_source("sort.js")) if sorts else "",  # noqa: S704
            policy=content_policy(sorts=sorts),
            **values,
        )
    )
    return page.translate(_NO_TEXT)


def unit_page(report: SeasonReport, unit: UnitReport) -> str:
    """Return one unit's page as HTML."""
    tables = (unit.boost.builds, unit.clearance.builds, unit.lives)
    return _page(
        "unit.html.j2",
        report,
        max(map(len, tables)),
        unit=unit,
        boost_figure=figures.boost(report, unit),
        gap_figure=figures.clearance(report, unit),
        height_figure=figures.strip_height(report, unit),
        life_figure=figures.unit_lives(report, unit),
    )


def fleet_page(report: SeasonReport) -> str:
    """Return the fleet's page as HTML."""
    return _page(
        "index.html.j2",
        report,
        max(map(len, (report.units, report.went_with.ratios, report.past_chances.rows))),
        life_figure=figures.fleet_curve(report),
        bars_figures=figures.fleet_bars(report),
        ratios_figure=figures.went_with(report),
        recurrence_figure=figures.recurrence(report),
        plan_figure=figures.plan(report),
        most_bars=figures.MOST_BARS,
        glossary=(("Words of the shop", glossary.SHOP), ("Words of the numbers", glossary.NUMBERS)),
    )

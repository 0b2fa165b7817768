"""Numbers and days as markup: each carries its exact value, so a page can be read by a program.

Every `<data value>` and `<time datetime>` on a page is also in the JSON beside it.
"""

import math
import re
from datetime import date

from markupsafe import Markup, escape

from wearstats.estimates import Estimate
from wearstats_reports import numbers

_DAY = re.compile(r"\b(\d{4}-\d{2}-\d{2})\b")


def data(value: float | None, text: str) -> Markup:
    """Return a number with its exact value, or the bare words where there is none."""
    if value is None or not math.isfinite(value):
        return Markup("{}").format(text)
    return Markup('<data value="{!r}">{}</data>').format(value, text)


def number(value: float | None, unit: str = "") -> Markup:
    """Return one number as the report writes it."""
    return data(value, numbers.number(value, unit))


def age(value: float | None) -> Markup:
    """Return an age in runs."""
    return data(value, numbers.age(value))


def runs(value: float | None) -> Markup:
    """Return an age with its noun."""
    return Markup("{} {}").format(age(value), "run" if value == 1 else "runs")


def count(value: int, one: str, many: str) -> Markup:
    """Return a count with its noun."""
    return Markup("{} {}").format(data(value, str(value)), one if value == 1 else many)


def percent(value: float | None) -> Markup:
    """Return a chance as a whole percent."""
    return data(value, numbers.percent(value))


def day(when: date | None) -> Markup:
    """Return a day."""
    if when is None:
        return Markup("{}").format(numbers.day(None))
    return Markup('<time datetime="{0}">{0}</time>').format(when.isoformat())


def said(text: str) -> Markup:
    """Return words in which no day is torn in two at the end of a line."""
    return Markup(_DAY.sub(r'<span class="nb">\1</span>', str(escape(text))))  # noqa: S704  escaped


def reading(low: float | None, high: float | None) -> Markup:
    """Return a go / no-go reading."""
    if low is not None and high is not None and low != high:
        return Markup("{} to {}").format(
            data(low, numbers.reading(low, low)), data(high, numbers.reading(high, high))
        )
    value = high if low is None else low
    return data(value, numbers.reading(low, high))


def _shown(estimate: Estimate, *, chance: bool) -> numbers.Shown:
    return numbers.chance(estimate) if chance else numbers.quantity(estimate)


def main(estimate: Estimate, *, chance: bool = False) -> Markup:
    """Return the estimate itself, or the bound where there is none, without its unit."""
    shown = _shown(estimate, chance=chance)
    if shown.main is None:
        return _ends(estimate, shown) or Markup("not known")
    return data(estimate.estimate, shown.main)


def interval(estimate: Estimate, *, chance: bool = False) -> Markup:
    """Return the interval in words without its level; empty where the estimate is a bound."""
    shown = _shown(estimate, chance=chance)
    return Markup("") if shown.main is None else _ends(estimate, shown)


def _ends(estimate: Estimate, shown: numbers.Shown) -> Markup:
    return Markup(shown.pattern).format(  # noqa: S704  our own words
        low=data(estimate.low, shown.low or ""), high=data(estimate.high, shown.high or "")
    )

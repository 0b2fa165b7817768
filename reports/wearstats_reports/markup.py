"""Numbers and days as markup: each carries its exact value, so a page can be read by a program.

Every `<data value>` and `<time datetime>` on a page is also in the JSON beside it.
"""

from datetime import date

from markupsafe import Markup

from wearstats.estimates import Estimate
from wearstats_reports import numbers


def data(value: float | None, text: str) -> Markup:
    """Return a number with its exact value, or the bare words where there is none."""
    if value is None or value != value:  # noqa: PLR0124  NaN is the one that differs from itself
        return Markup("{}").format(text)
    exact = repr(float(value)) if isinstance(value, float) else str(value)
    return Markup('<data value="{}">{}</data>').format(exact, text)


def number(value: float | None, unit: str = "") -> Markup:
    """Return one number as the report writes it."""
    return data(value, numbers.number(value, unit))


def age(value: float | None) -> Markup:
    """Return an age in runs."""
    return data(value, numbers.age(value))


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


def reading(low: float | None, high: float | None) -> Markup:
    """Return a go / no-go reading."""
    if low is not None and high is not None and low != high:
        return Markup("{} to {}").format(
            data(low, numbers.reading(low, low)), data(high, numbers.reading(high, high))
        )
    value = high if low is None else low
    return data(value, numbers.reading(low, high))


def main(estimate: Estimate, *, chance: bool = False) -> Markup:
    """Return the estimate itself, or the bound where there is none, without its unit."""
    shown = numbers.chance(estimate) if chance else numbers.quantity(estimate)
    if estimate.estimate is None:
        return _ends(estimate, chance=chance)
    return data(estimate.estimate, shown.main)


def interval(estimate: Estimate, *, chance: bool = False) -> Markup:
    """Return the interval in words without its level; empty where the estimate is a bound."""
    return Markup("") if estimate.estimate is None else _ends(estimate, chance=chance)


def _ends(estimate: Estimate, *, chance: bool) -> Markup:
    def end(value: float) -> Markup:
        # Written with the estimate's own decimals, so all three line up.
        alone = Estimate(estimate.estimate, value, None, estimate.level, estimate.unit)
        shown = numbers.chance(alone) if chance else numbers.quantity(alone)
        words = shown.interval or shown.main
        return data(value, words.removesuffix(" or more"))

    if estimate.low is not None and estimate.high is not None:
        return Markup("{} to {}").format(end(estimate.low), end(estimate.high))
    if estimate.low is not None:
        return Markup("{} or more").format(end(estimate.low))
    if estimate.high is not None:
        return Markup("{} or less").format(end(estimate.high))
    return Markup("not known")

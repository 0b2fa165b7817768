"""How numbers are written for readers: one rule for the terminal, the report and a notebook.

A number is written as finely as a gauge on the bench could tell, and all three numbers of an
interval alike. A chance is a whole percent and never 0 or 100. The data keep every figure.
"""

import math
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wearstats.estimates import Estimate

MINUS = "\u2212"
PERCENT = "\u00a0%"
_DECIMALS = {
    "runs": 1,
    "hours": 1,
    "thou": 1,
    "thou per run": 2,
    "mm": 2,
    "mm per run": 4,
    "psi": 1,
    "psi per thou": 2,
    "kPa": 1,
    "burn-throughs": 1,
    "kPa per mm": 0,
    "": 2,
}
_MONEY_DECIMALS = 0
_COUNTED = ("runs", "hours")
_WHOLE_FROM = dict.fromkeys(_COUNTED, 10.0)
_SURELY = 0.995
_HARDLY = 0.005


@dataclass(frozen=True, slots=True)
class Shown:
    """An estimate as it is written; None where a number is not known.

    Parameters
    ----------
    main, low, high : str or None
    unit : str
        In words, or empty.
    """

    main: str | None
    low: str | None
    high: str | None
    unit: str = ""

    @property
    def pattern(self) -> str:
        """The interval in words, `{low}` and `{high}` standing for its ends."""
        if self.low is not None and self.high is not None:
            return "{low} to {high}"
        if self.low is not None:
            return "{low} or more"
        return "{high} or less" if self.high is not None else ""

    @property
    def interval(self) -> str:
        """The interval in words without its level ("6.1 to 11.0"), or empty."""
        return self.pattern.format(low=self.low, high=self.high)

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        if self.main is None:
            return f"{self.interval}{unit}" if self.interval else "not known"
        return f"{self.main}{unit} ({self.interval})" if self.interval else f"{self.main}{unit}"


def _decimals(value: float, unit: str) -> int:
    if abs(value) >= _WHOLE_FROM.get(unit, math.inf):
        return 0
    return _DECIMALS.get(unit, _MONEY_DECIMALS)


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:,.{decimals}f}".replace(",", "\u202f")
    if not text.strip("-0.\u202f"):
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def plain(text: str) -> str:
    r"""Return text that any console can print: signs of ours by plain ones, nothing that acts.

    A line break, an escape or a mark that turns the writing round becomes a question mark.

    Examples
    --------
    >>> plain("90\xa0%"), plain("K1\x1b[31m")
    ('90 %', 'K1?[31m')
    """
    return "".join(sign if sign.isprintable() else "?" for sign in plain_signs(text))


def plain_signs(text: str) -> str:
    r"""Return text with our minus and hard spaces as every set of letters has them.

    Examples
    --------
    >>> plain_signs("\u22120.1, 90\xa0%")
    '-0.1, 90 %'
    """
    return text.replace(MINUS, "-").replace("\u00a0", " ").replace("\u202f", " ")


def number(value: float | None, unit: str = "") -> str:
    """Write one number; a whole number of runs or hours without a point.

    Examples
    --------
    >>> number(7.0, "runs"), number(7.4, "runs"), number(18.75, "hours"), number(None)
    ('7', '7.4', '19', 'not known')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if unit in _COUNTED and float(value).is_integer():
        return _fixed(value, 0)
    return _fixed(value, _decimals(value, unit))


def age(value: float | None) -> str:
    """Write an age: load-weighted runs, so a shut-off run shows as a fraction at any age.

    Examples
    --------
    >>> age(12.5), age(12.0)
    ('12.5', '12')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    return f"{value:.2f}".rstrip("0").rstrip(".")


def percent(chance: float | None) -> str:
    r"""Write a chance as a whole percent, never 0 or 100.

    Examples
    --------
    >>> percent(0.834), percent(0.9991), percent(0.0)
    ('83\xa0%', 'over 99\xa0%', 'under 1\xa0%')
    """
    if chance is None or not math.isfinite(chance):
        return "not known"
    if chance >= _SURELY:
        return f"over 99{PERCENT}"
    if chance < _HARDLY:
        return f"under 1{PERCENT}"
    return f"{100 * chance:.0f}{PERCENT}"


def level(share: float) -> str:
    r"""Write the level of an interval.

    Examples
    --------
    >>> level(0.9), level(0.975)
    ('90\xa0%', '97.5\xa0%')
    """
    return f"{100 * share:.4g}{PERCENT}"


def day(when: date | None) -> str:
    """Write a day the way everybody reads alike."""
    return "day not known" if when is None else when.isoformat()


def chance(estimate: "Estimate") -> Shown:
    r"""Write a chance with its interval.

    Examples
    --------
    >>> from wearstats.estimates import Estimate
    >>> str(chance(Estimate(0.834, 0.72, 0.91, 0.9)))
    '83\xa0% (72 to 91\xa0%)'
    """

    def written(value: float | None) -> str | None:
        return None if value is None else percent(value)

    main, low, high = map(written, (estimate.estimate, estimate.low, estimate.high))
    if main is not None and main == low == high:
        return Shown(main, None, None)
    if low is not None and high is not None and low[0].isdigit():
        low = low.removesuffix(PERCENT)
    return Shown(main, low, high)


def quantity(estimate: "Estimate") -> Shown:
    """Write an estimate and its interval in its unit, all with the same number of decimals.

    Examples
    --------
    >>> from wearstats.estimates import Estimate
    >>> str(quantity(Estimate(8.04, 6.1, 11.0, 0.9, "runs")))
    '8.0 runs (6.1 to 11.0)'
    >>> str(quantity(Estimate(None, 6.13, None, 0.9, "runs")))
    '6.1 or more runs'
    """
    ends = (estimate.estimate, estimate.low, estimate.high)
    known = [value for value in ends if value is not None]
    if not known:
        return Shown(None, None, None)
    whole = estimate.unit == "runs" and all(value.is_integer() for value in map(float, known))
    decimals = 0 if whole else _decimals(known[0], estimate.unit)

    def fixed(value: float | None) -> str | None:
        return None if value is None else _fixed(value, decimals)

    main, low, high = map(fixed, ends)
    return Shown(main, low, high, estimate.unit)


def reading(low: float | None, high: float | None) -> str:
    """Write a go / no-go reading as it is spoken.

    Examples
    --------
    >>> reading(3.0, 4.0), reading(4.0, 4.0), reading(None, 2.0), reading(8.0, None)
    ('3 to 4', '4', 'under 2', 'over 8')
    >>> reading(3.937, 4.921)
    '3.9 to 4.9'
    """
    if low is None and high is None:
        return "not read"
    if low is None:
        return f"under {_plain(high)}"
    if high is None:
        return f"over {_plain(low)}"
    return _plain(low) if low == high else f"{_plain(low)} to {_plain(high)}"


def _plain(value: float | None) -> str:
    if value is None:
        return ""
    text = _fixed(value, 1)
    return text.removesuffix(".0")

"""Quantities, the units people write them in, and how those units are spelled.

The book keeps each quantity in one unit, the shop's (thou, psi, degrees F, inHg, inches,
cubic inches); everything else is converted here, at the edge. The factors follow from
1 in = 25.4 mm, 1 lbf = 4.4482216152605 N and 1 inHg = 3386.389 Pa (mercury at 0 degrees C).
"""

import functools
import re
from dataclasses import dataclass
from types import MappingProxyType

INCH_MM = 25.4
PSI_PA = 6894.757293168361
INHG_PA = 3386.389
STANDARD_PRESSURE_PA = 101_325.0


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of a quantity.

    Parameters
    ----------
    name : str
        As printed and as a suffix of column names ("thou", "psi").
    factor, offset : float
        `kept = factor * written + offset`, where `kept` is in the quantity's own unit.
    spellings : tuple of str
        Ways people write it; case, spaces and the sort of inch mark do not matter.
    """

    name: str
    factor: float
    offset: float = 0.0
    spellings: tuple[str, ...] = ()

    def keep(self, written: float) -> float:
        """Convert a written number into the unit the book keeps."""
        return self.factor * written + self.offset

    def show(self, kept: float) -> float:
        """Convert a kept number into this unit."""
        return (kept - self.offset) / self.factor


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is measured, with its units.

    Parameters
    ----------
    name : str
    kept : str
        Name of the unit the book keeps it in.
    metric : str
        Name of the unit shown with `--in metric`.
    units : tuple of Unit
    """

    name: str
    kept: str
    metric: str
    units: tuple[Unit, ...]

    def unit(self, name: str) -> Unit:
        """Return the unit of that name."""
        for unit in self.units:
            if unit.name == name:
                return unit
        message = f"{self.name} has no unit {name!r}; it has {[u.name for u in self.units]}"
        raise KeyError(message)

    def spelled(self, text: str) -> Unit | None:
        """Return the unit so spelled, or None."""
        return _spellings_of(self).get(unit_key(text))


_INCH_MARKS = re.compile("''|[“”″〃]|\N{DOUBLE PRIME}")
_IDLE = re.compile(r"\s+|\.(?![0-9])")


def unit_key(text: str) -> str:
    """Return what of a unit's spelling matters.

    Examples
    --------
    >>> unit_key("In. Hg"), unit_key(".001 ”")
    ('inhg', '.001"')
    """
    return _IDLE.sub("", _INCH_MARKS.sub('"', text)).replace("º", "°").casefold()


@functools.cache
def _spellings_of(quantity: Quantity) -> dict[str, Unit]:
    return {
        unit_key(spelling): unit
        for unit in quantity.units
        for spelling in (unit.name, *unit.spellings)
    }


_INCH_SPELLINGS = ("in", "inch", "inches", '"')

GAP = Quantity(
    "gap",
    "thou",
    "mm",
    (
        Unit(
            "thou",
            1.0,
            spellings=(
                "thou",
                "thous",
                "thousandth",
                "thousandths",
                "mil",
                "mils",
                '.001"',
                '0.001"',
                ".001in",
                "0.001in",
            ),
        ),
        Unit("in", 1000.0, spellings=_INCH_SPELLINGS),
        Unit(
            "mm",
            1000.0 / INCH_MM,
            spellings=("mm", "millimeter", "millimetre", "millimeters", "millimetres"),
        ),
        Unit("um", 1.0 / INCH_MM, spellings=("um", "µm", "micron", "microns")),
    ),
)
LENGTH = Quantity(
    "length",
    "in",
    "mm",
    (
        Unit("in", 1.0, spellings=_INCH_SPELLINGS),
        Unit(
            "mm",
            1.0 / INCH_MM,
            spellings=("mm", "millimeter", "millimetre", "millimeters", "millimetres"),
        ),
        Unit("cm", 10.0 / INCH_MM, spellings=("cm",)),
    ),
)
BOOST = Quantity(
    "boost",
    "psi",
    "kPa",
    (
        Unit("psi", 1.0, spellings=("psi", "psig", "lb", "lbs", "pounds")),
        Unit("kPa", 1e3 / PSI_PA, spellings=("kpa",)),
        Unit("bar", 1e5 / PSI_PA, spellings=("bar",)),
    ),
)
BAROMETER = Quantity(
    "barometer",
    "inHg",
    "kPa",
    (
        Unit("inHg", 1.0, spellings=("inhg", '"hg', "in-hg")),
        Unit("kPa", 1e3 / INHG_PA, spellings=("kpa",)),
        Unit("hPa", 1e2 / INHG_PA, spellings=("hpa", "mbar", "mb", "millibar", "millibars")),
        Unit("mmHg", 1.0 / INCH_MM, spellings=("mmhg", "torr")),
        Unit("psi", PSI_PA / INHG_PA, spellings=("psi", "psia")),
    ),
)
TEMPERATURE = Quantity(
    "temperature",
    "F",
    "C",
    (
        Unit("F", 1.0, spellings=("f", "°f", "degf", "degreesf", "fahrenheit")),
        Unit("C", 1.8, 32.0, spellings=("c", "°c", "degc", "degreesc", "celsius")),
    ),
)
SPEED = Quantity(
    "speed",
    "rpm",
    "rpm",
    (Unit("rpm", 1.0, spellings=("rpm", "rev/min", "1/min", "r/min")),),
)
PERCENT = Quantity(
    "percent",
    "pct",
    "pct",
    (
        Unit("pct", 1.0, spellings=("%", "percent")),
        Unit("fraction", 100.0, spellings=("share",)),
    ),
)
VOLUME = Quantity(
    "volume",
    "in3",
    "L",
    (
        Unit("in3", 1.0, spellings=("in^3", "in³", "cuin", "cubicinches", "ci", "cid")),
        Unit("cm3", 1.0 / (INCH_MM / 10.0) ** 3, spellings=("cm3", "cm^3", "cm³", "cc", "ccm")),
        Unit(
            "L",
            1000.0 / (INCH_MM / 10.0) ** 3,
            spellings=("l", "liter", "litre", "liters", "litres"),
        ),
    ),
)
TIME = Quantity(
    "time",
    "h",
    "h",
    (
        Unit("h", 1.0, spellings=("h", "hr", "hrs", "hour", "hours")),
        Unit("min", 1.0 / 60.0, spellings=("min", "mins", "minute", "minutes")),
    ),
)

QUANTITIES = MappingProxyType(
    {
        quantity.name: quantity
        for quantity in (
            GAP,
            LENGTH,
            BOOST,
            BAROMETER,
            TEMPERATURE,
            SPEED,
            PERCENT,
            VOLUME,
            TIME,
        )
    }
)

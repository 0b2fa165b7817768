"""Headers that name a unit, and may be switched to another one."""

from types import MappingProxyType

from wearstats.records.columns import Column
from wearstats.units import Unit

_SIGNS = MappingProxyType(
    {
        "pct": "%",
        "fraction": "share",
        "F": "°F",
        "C": "°C",
        "in3": "in³",
        "cm3": "cm³",
        "um": "µm",
    }
)
"""Units that are written otherwise than they are named; the reader knows both."""

SYSTEMS = ("inch", "metric")


def sign(unit: Unit) -> str:
    """Return a unit as a person writes it ("°F")."""
    return _SIGNS.get(unit.name, unit.name)


def header(column: Column, unit: Unit | None) -> str:
    """Return the header of a column whose cells are in a unit.

    Examples
    --------
    >>> from wearstats.records.schema import RUNS
    >>> boost = RUNS.column("boost")
    >>> header(boost, boost.quantity.unit("kPa"))
    'boost [kPa]'
    """
    return column.name if unit is None else f"{column.name} [{sign(unit)}]"


def units(column: Column) -> tuple[Unit, ...]:
    """Return the units a header may be switched to, the one the book keeps first."""
    if column.quantity is None:
        return ()
    kept = column.quantity.unit(column.quantity.kept)
    return (kept, *(unit for unit in column.quantity.units if unit != kept))


def first_unit(column: Column, system: str) -> Unit | None:
    """Return the unit a header starts with.

    Parameters
    ----------
    column : Column
    system : {"inch", "metric"}
    """
    if column.quantity is None:
        return None
    name = column.quantity.metric if system == "metric" else column.quantity.kept
    return column.quantity.unit(name)


def choices(column: Column) -> tuple[str, ...]:
    """Return every header a column may have."""
    return tuple(header(column, unit) for unit in units(column)) or (column.name,)

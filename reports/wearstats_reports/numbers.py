"""How numbers are written on a page: as everywhere, see `wearstats.numbers`."""

from wearstats.numbers import (
    MINUS,
    PERCENT,
    Shown,
    age,
    chance,
    day,
    level,
    number,
    percent,
    quantity,
    reading,
)

__all__ = [
    "MINUS",
    "PERCENT",
    "Shown",
    "age",
    "chance",
    "day",
    "level",
    "number",
    "percent",
    "quantity",
    "reading",
]

"""What a row says against the record that is already there: pure comparison, no book."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from wearstats.book.values import Layout, Value

SAME = 1e-9
"""Relative difference below which two numbers are the same reading written twice.

Converting units back and forth moves the last digits of a float; no gauge in a shop resolves a
part in a thousand million.
"""


class Verdict(StrEnum):
    """What becomes of a row."""

    NEW = "new"
    ALREADY_THERE = "already there"
    COMPLETES = "completed"
    CONTRADICTS = "contradiction"
    AMENDS = "amended"


@dataclass(frozen=True, slots=True)
class Comparison:
    """Columns in which a row says more than, or other than, the record.

    Parameters
    ----------
    fills, contradicts : tuple of int
        Positions in the sheet's columns.
    """

    fills: tuple[int, ...] = ()
    contradicts: tuple[int, ...] = ()


NOTHING_NEW = Comparison()


def compare(held: Sequence[Value], said: Sequence[Value], layout: Layout) -> Comparison:
    """Compare a row with the record of the same key.

    A go / no-go reading is one value: `<2` is another reading than 1/2, not a part of it.
    A blank cell says nothing.
    """
    if tuple(held) == tuple(said):
        return NOTHING_NEW
    fills, contradicts = [], []
    for number, places in enumerate(layout.places):
        new = [said[place] for place in places]
        if all(value is None for value in new):
            continue
        old = [held[place] for place in places]
        if all(value is None for value in old):
            fills.append(number)
        elif not all(same(*pair) for pair in zip(old, new, strict=True)):
            contradicts.append(number)
    return Comparison(tuple(fills), tuple(contradicts))


def same(one: Value, other: Value) -> bool:
    """Whether two values are the same but for rounding."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=1e-12)
    return one == other

"""Rules between the cells of one row. A rule knows its sheet; each is a small function."""

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from wearstats.records.cells import Fault, number_text

Fields = Mapping[str, npt.NDArray[Any]]
Broken = tuple[int, str, Fault]
"""The place of a row, the name of the column to look at, and what is wrong."""

Rule = Callable[[Fields], Iterator[Broken]]


def _some_reading(fields: Fields) -> Iterator[Broken]:
    read = [
        ~np.isnan(fields[name])
        for name in ("go_thou", "no_go_thou", "value_low_thou", "value_high_thou")
    ]
    for row in np.flatnonzero(~np.logical_or.reduce(read)):
        yield (
            int(row),
            "value",
            Fault(
                "reading-missing",
                "there is no reading in this row",
                "go and no-go, or one of them, or value",
            ),
        )


def _go_below_no_go(fields: Fields) -> Iterator[Broken]:
    go, no_go = fields["go_thou"], fields["no_go_thou"]
    for row in np.flatnonzero(go >= no_go):
        yield (
            int(row),
            "go",
            Fault(
                "reading-order",
                f"the blade that enters ({number_text(go[row])} thou) must be thinner than the "
                f"one that does not ({number_text(no_go[row])} thou)",
                "go below no-go",
            ),
        )


def _gaps_not_negative(fields: Fields) -> Iterator[Broken]:
    for name, column in (
        ("go_thou", "go"),
        ("no_go_thou", "no-go"),
        ("value_low_thou", "value"),
    ):
        gap = (fields["what"] != "strip height") & (fields[name] < 0.0)
        for row in np.flatnonzero(gap):
            yield (
                int(row),
                column,
                Fault(
                    "value-range",
                    f"{number_text(fields[name][row])} thou cannot be a clearance; only a strip "
                    "height may be negative",
                    "a clearance of 0 thou or more",
                ),
            )


def _left_after_joining(fields: Fields) -> Iterator[Broken]:
    for row in np.flatnonzero(fields["retired"] < fields["taken_in"]):
        yield (
            int(row),
            "retired",
            Fault(
                "dates-order",
                "it cannot have left before it joined",
                "a day on or after `taken in`",
            ),
        )


RULES: Mapping[str, tuple[Rule, ...]] = MappingProxyType(
    {
        "readings": (_some_reading, _go_below_no_go, _gaps_not_negative),
        "units": (_left_after_joining,),
    }
)


def broken_rules(sheet: str, fields: Fields) -> Iterator[Broken]:
    """Yield what is wrong between the cells of rows.

    Parameters
    ----------
    sheet : str
    fields : mapping of str to ndarray, shape (rows,)
        Every field of the sheet, missing where a cell is blank or at fault.
    """
    for rule in RULES.get(sheet, ()):
        yield from rule(fields)

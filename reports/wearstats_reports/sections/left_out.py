"""What was set aside at the door, and what was left out of a fit, each with its reason."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from wearstats.records.schema import RUNS
from wearstats_reports import cells
from wearstats_reports.fits import Fits, sentence


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One thing that is not in the numbers.

    Parameters
    ----------
    unit : str
        Empty where it cannot be told.
    what : str
        In words: "build 3", "12 readings", "row 17 of runs.csv, sheet runs".
    left_out_of : str
        "the book", "strip life", "wear" or "boost".
    reason : str
    """

    unit: str
    what: str
    left_out_of: str
    reason: str


class SetAside(Protocol):
    """A row set aside at the door; `wearstats.book.AsideItem` is one."""

    @property
    def file(self) -> str:
        """File it came in."""
        ...

    @property
    def sheet(self) -> str:
        """Sheet of that file."""
        ...

    @property
    def row(self) -> int:
        """As the sheet counts."""
        ...

    @property
    def cells(self) -> Mapping[str, str]:
        """Header to text as typed."""
        ...

    @property
    def reason(self) -> str:
        """Why it was set aside."""
        ...


def all_left_out(fits: Fits, set_aside: Sequence[SetAside]) -> tuple[LeftOut, ...]:
    """Return everything that is not in the numbers: rows, builds, readings.

    Parameters
    ----------
    fits : Fits
    set_aside : sequence of SetAside
        Rows the book holds aside.
    """
    return (
        *_rows(set_aside, fits.unit_names),
        *(
            LeftOut(out.unit, f"build {out.build}", "strip life", sentence(out.message))
            for out in fits.lives.left_out
        ),
        *_readings(fits),
    )


def _rows(set_aside: Sequence[SetAside], names: tuple[str, ...]) -> tuple[LeftOut, ...]:
    known = {name.casefold(): name for name in names}

    def whose(item: SetAside) -> str:
        typed = next((v for k, v in item.cells.items() if k.casefold().strip() in _UNIT), "")
        return known.get(typed.strip().casefold(), "")

    return tuple(
        LeftOut(
            whose(item),
            f"row {item.row} of {item.file}, sheet {item.sheet}",
            "the book",
            sentence(item.reason),
        )
        for item in set_aside
    )


_UNIT = frozenset({"unit", *(alias.casefold() for alias in RUNS.column("unit").aliases)})


def _readings(fits: Fits) -> tuple[LeftOut, ...]:
    out = []
    if fits.wear.fit is not None:
        out += [
            LeftOut("", cells.count(each.count, "tip reading"), "wear", sentence(each.reason))
            for each in fits.wear.fit.left_out
        ]
    if fits.boost.fit is not None:
        out += [
            LeftOut("", cells.count(each.count, "boost reading"), "boost", sentence(each.reason))
            for each in fits.boost.fit.left_out
        ]
    return tuple(out)

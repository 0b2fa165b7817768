"""From headers as people write them to columns of the schema, with the units they name."""

import difflib
import functools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wearstats.records.cells import Fault
from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.dates import DateOrder
from wearstats.records.numerals import tidy
from wearstats.records.schema import SHEETS
from wearstats.records.spellings import spelling_key
from wearstats.units import QUANTITIES

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

ASIDE_HEADER = "aside"
"""Header of the column that carries the number of a row that was set aside before."""

REASON_HEADER = "reason it was set aside"
"""Header of the column that says why; it is not read back."""

_BRACKETS = re.compile(r"(.*?)[(\[{](.*)[)\]}](.*)", re.DOTALL)
_PARTING = re.compile(r"[\s_,;:/-]+|(?=[°º%])")
_ORDERS: tuple[tuple[re.Pattern[str], DateOrder | None], ...] = (
    (re.compile(r"d{1,2}[^a-z]*m{1,4}[^a-z]*y{1,4}"), "day first"),
    (re.compile(r"m{1,4}[^a-z]*d{1,2}[^a-z]*y{1,4}"), "month first"),
    (re.compile(r"y{1,4}[^a-z]*m{1,4}[^a-z]*d{1,2}"), None),
)
_CLOSE = 0.6
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Heading:
    """One header of a sheet, understood.

    Parameters
    ----------
    label : str
        The header as written, made unlike the others of its sheet.
    role : str
        "column", "aside", "reason", "ignored", "again" (a second header for a column) or
        "unknown".
    column : Column or None
        Where its cells go, for the roles "column" and "again".
    mapped, headed : str or None
        Unit stated by the column map; named by the header.
    dates : {"day first", "month first"} or None
        Order of dates that the header states.
    fault : Fault or None
        Why its cells cannot be taken.
    """

    label: str
    role: str
    column: Column | None = None
    mapped: str | None = None
    headed: str | None = None
    dates: DateOrder | None = None
    fault: Fault | None = None


@functools.cache
def known_names(sheet: str) -> dict[str, Column]:
    """Return the columns of a kind of sheet by spelling key of their names and other headers."""
    names: dict[str, Column] = {}
    for column in SHEETS[sheet]:
        names[spelling_key(column.name)] = column
    for column in SHEETS[sheet]:
        for alias in column.aliases:
            names.setdefault(spelling_key(alias), column)
    return names


def nearest(header: str, sheet: str) -> tuple[str, ...]:
    """Return the known headers most like this one, at most three."""
    written = {
        spelling_key(name): name
        for column in SHEETS[sheet]
        for name in (*column.aliases, column.name)
    }
    close = difflib.get_close_matches(spelling_key(header), written, n=3, cutoff=_CLOSE)
    return tuple(written[key] for key in close)


def _partings(header: str) -> Iterator[tuple[str, str]]:
    """Yield each way to part a header into a name and a unit."""
    if match := _BRACKETS.fullmatch(header):
        yield f"{match[1]} {match[3]}".strip(), match[2].strip()
    for match in _PARTING.finditer(header):
        name, unit = header[: match.start()], header[match.end() :]
        if name and unit:
            yield name, unit
            if unit.casefold().startswith("in "):
                yield name, unit[3:]


def _date_order(text: str) -> tuple[bool, DateOrder | None]:
    for pattern, order in _ORDERS:
        if pattern.fullmatch(text.casefold().strip()):
            return True, order
    return False, None


def _with_unit(header: str, column: Column, unit: str) -> Heading | None:
    if column.kind is Kind.DATE:
        stated, order = _date_order(unit)
        return Heading(header, "column", column, dates=order) if stated else None
    found = column.quantity.spelled(unit) if column.quantity is not None else None
    return Heading(header, "column", column, headed=found.name) if found is not None else None


def understood(header: str, sheet: str) -> Heading | None:
    """Return what a header means in a kind of sheet, without a column map; None if unknown.

    Parameters
    ----------
    header : str
    sheet : str
        "runs", "restrips", "units" or "readings".

    Examples
    --------
    >>> heading = understood("Tip clearance [mm]", "runs")
    >>> heading.column.name, heading.headed
    ('tip', 'mm')
    """
    # What is longer is no header; to part it in every way would take for ever.
    return _understood(header, sheet) if len(header) <= _LONGEST else None


@functools.lru_cache(maxsize=4096)
def _understood(header: str, sheet: str) -> Heading | None:
    names = known_names(sheet)
    text = tidy(header)
    wrong: Heading | None = None
    for name, unit in _partings(text):
        column = names.get(spelling_key(name))
        if column is None:
            continue
        heading = _with_unit(header, column, unit)
        if heading is not None:
            return heading
        wrong = wrong or _wrong_unit(header, column, unit)
    column = names.get(spelling_key(text))
    return Heading(header, "column", column) if column is not None else wrong


def _wrong_unit(header: str, column: Column, unit: str) -> Heading | None:
    if not any(quantity.spelled(unit) for quantity in QUANTITIES.values()):
        return None
    may = ", ".join(one.name for one in column.quantity.units) if column.quantity else ""
    expected = f"it may be in {may}" if may else "it has no unit"
    fault = Fault(
        "header-unit",
        f"the header {header!r} names {unit!r} for {column.name}: {expected}",
        expected,
    )
    return Heading(header, "column", column, fault=fault)


def labels(headers: Sequence[str]) -> tuple[str, ...]:
    """Return the headers made unlike each other, with a name for each blank one.

    Examples
    --------
    >>> labels(["tip", "", "tip"])
    ('tip', 'column 2', 'tip (2)')
    """
    taken: set[str] = set()
    unlike = []
    for place, header in enumerate(headers, start=1):
        plain = header.strip() or f"column {place}"
        label, count = plain, 1
        while label in taken:
            count += 1
            label = f"{plain} ({count})"
        taken.add(label)
        unlike.append(label)
    return tuple(unlike)


def match_headers(
    headers: Sequence[str], sheet: Sheet, column_map: "ColumnMap | None"
) -> tuple[Heading, ...]:
    """Return what each header of a sheet means, in order."""
    headings: list[Heading] = []
    seen: set[str] = set()
    for header, label in zip(headers, labels(headers), strict=True):
        heading = _heading(header, label, sheet, column_map)
        if heading.role == "column" and heading.column is not None:
            if heading.column.name in seen:
                heading = _as(heading, "again")
            seen.add(heading.column.name if heading.column is not None else "")
        headings.append(heading)
    return tuple(headings)


def _as(heading: Heading, role: str, label: str | None = None) -> Heading:
    return Heading(
        label if label is not None else heading.label,
        role,
        heading.column,
        heading.mapped,
        heading.headed,
        heading.dates,
        heading.fault,
    )


def _heading(header: str, label: str, sheet: Sheet, column_map: "ColumnMap | None") -> Heading:
    key = spelling_key(header)
    if key == spelling_key(ASIDE_HEADER):
        return Heading(label, "aside")
    if key == spelling_key(REASON_HEADER):
        return Heading(label, "reason")
    if column_map is not None:
        mapped = _by_map(header, label, sheet, column_map)
        if mapped is not None:
            return mapped
    found = understood(header, sheet.name) if key else None
    return _as(found, found.role, label) if found is not None else Heading(label, "unknown")


def _by_map(header: str, label: str, sheet: Sheet, column_map: "ColumnMap") -> Heading | None:
    to = column_map.find(header)
    if to is not None:
        column = next((column for column in sheet if column.name == to.column), None)
        if column is not None:
            plain = understood(header, sheet.name)
            headed = plain.headed if plain is not None and plain.column == column else None
            return Heading(label, "column", column, mapped=to.unit, headed=headed)
    return Heading(label, "ignored") if column_map.ignores(header) else None

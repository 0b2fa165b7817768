"""Which kind of record a sheet holds, and what is to be said about its headers."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wearstats.errors import RecordError
from wearstats.records.columns import Column, Sheet
from wearstats.records.dates import DateOrder
from wearstats.records.findings import Finding, Severity
from wearstats.records.headers import Heading, match_headers, nearest
from wearstats.records.raw import RawSheet, header_score, note
from wearstats.records.schema import SHEETS

if TYPE_CHECKING:
    from wearstats.records.columnmap import ColumnMap

_EXPECTED_KINDS = f"one of {', '.join(SHEETS)}"
_TELLING = 2
"""A single known header may be chance: an instruction page may have a cell `Date`."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user states about a file.

    Parameters
    ----------
    column_map : ColumnMap or None
    dates : {"day first", "month first"} or None
        How dates in figures are written; goes before the column map and the header.
    kind : str or None
        "runs", "restrips", "units" or "readings"; goes before everything else that tells.
    """

    column_map: "ColumnMap | None" = None
    dates: DateOrder | None = None
    kind: str | None = None

    @property
    def forced_kind(self) -> str | None:
        """The kind stated here or in the column map."""
        return self.kind or (self.column_map.sheet if self.column_map is not None else None)

    @property
    def stated_dates(self) -> DateOrder | None:
        """The order of dates stated here or in the column map."""
        return self.dates or (self.column_map.dates if self.column_map is not None else None)


def sheet_kind(raw: RawSheet, settings: Settings) -> Sheet | None:
    """Tell which kind of record a sheet holds.

    Returns
    -------
    Sheet or None
        None for a sheet among others that is no record (a page of instructions).

    Raises
    ------
    RecordError
        It cannot be told, or the file's only sheet has no known header.
    """
    known = header_score(raw.headers, settings.column_map)
    forced = settings.forced_kind
    if forced is not None and (known or raw.alone):
        return _forced(raw, forced)
    named = _kinds_named(raw.name)
    if len(named) == 1:
        return SHEETS[named[0]]
    if known >= _TELLING or (known and raw.alone):
        return _by_headers(raw, settings.column_map)
    if raw.alone:
        raise _unknown_headers(raw)
    return None


def _forced(raw: RawSheet, kind: str) -> Sheet:
    if kind in SHEETS:
        return SHEETS[kind]
    message = f"{kind!r} is no kind of record; expected {_EXPECTED_KINDS}"
    finding = Finding("sheet-kind", message, file=raw.file, sheet=raw.name, value=kind)
    raise RecordError(message, findings=(finding,))


def _kinds_named(name: str) -> list[str]:
    words = set(re.findall("[a-z]+", name.casefold()))
    return [kind for kind in SHEETS if words & {kind, kind.removesuffix("s")}]


def _by_headers(raw: RawSheet, column_map: "ColumnMap | None") -> Sheet:
    scores = {}
    for kind, sheet in SHEETS.items():
        found = {
            one.column.name for one in match_headers(raw.headers, sheet, column_map) if one.column
        }
        complete = all(column.name in found for column in sheet.required)
        scores[kind] = (complete, len(found))
    best = max(scores.values())
    winners = [kind for kind, score in scores.items() if score == best]
    if len(winners) == 1:
        return SHEETS[winners[0]]
    message = (
        f"it could hold {' or '.join(winners)}; name the sheet or the file so, or state the kind "
        "with `--sheet` or `sheet` in the column map"
    )
    finding = Finding(
        "sheet-kind", message, file=raw.file, sheet=raw.name, expected=_EXPECTED_KINDS
    )
    raise RecordError(str(finding), findings=(finding,))


def _unknown_headers(raw: RawSheet) -> RecordError:
    written = ", ".join(repr(header) for header in raw.headers[:8])
    message = (
        f"none of the headers in row {raw.header_row} is known ({written}); expected headers "
        "such as date and unit, or a column map"
    )
    finding = Finding(
        "headers-unknown",
        message,
        file=raw.file,
        sheet=raw.name,
        row=raw.header_row,
        value=written,
        expected="headers such as date, unit",
    )
    return RecordError(str(finding), findings=(finding,))


def header_notes(raw: RawSheet, sheet: Sheet, headings: Sequence[Heading]) -> tuple[Finding, ...]:
    """Return what is to be said about the headers of a sheet; it sets nothing aside by itself."""
    notes = []
    first: dict[Column, str] = {}
    for heading in headings:
        said = _said(heading, sheet, first)
        if said is not None:
            code, message, expected = said
            notes.append(
                Finding(
                    code,
                    message,
                    Severity.NOTE,
                    raw.file,
                    raw.name,
                    raw.header_row,
                    heading.label,
                    heading.label,
                    expected,
                )
            )
        if heading.role == "column" and heading.column is not None:
            first[heading.column] = heading.label
    return tuple(notes)


def _said(
    heading: Heading, sheet: Sheet, first: dict[Column, str]
) -> tuple[str, str, str | None] | None:
    if heading.role == "unknown":
        close = nearest(heading.label, sheet.name)
        hint = f" (did you mean {' or '.join(close)}?)" if close else ""
        message = (
            f"the header {heading.label!r} is not known among {sheet.name}{hint}; its cells are "
            "kept with their rows as written, and not used"
        )
        return "header-unknown", message, ", ".join(close) or None
    if heading.role == "again" and heading.column is not None:
        other = first[heading.column]
        message = (
            f"{heading.label!r} and {other!r} are both headers for {heading.column.name}; rows "
            "in which they differ are set aside"
        )
        return "column-twice", message, "one header for a column"
    if heading.fault is not None:
        message = f"{heading.fault.message}; rows with anything in it are set aside"
        return heading.fault.code, message, heading.fault.expected
    return None


def not_records(raw: RawSheet) -> Finding:
    """Return the note on a sheet that holds no records."""
    return note("sheet-passed-over", "no headers of records; not read", raw.file, raw.name)


def missing_columns(
    raw: RawSheet, sheet: Sheet, headings: Sequence[Heading]
) -> tuple[Finding, ...]:
    """Return a finding for each column that must be there and is not."""
    found = {one.column for one in headings if one.role == "column"}
    unknown = [one.label for one in headings if one.role == "unknown"]
    findings = []
    for column in sheet.required:
        if column in found:
            continue
        close = [label for label in unknown if column.name in nearest(label, sheet.name)]
        hint = f"; is it {' or '.join(repr(label) for label in close)}?" if close else ""
        expected = ", ".join((column.name, *column.aliases))
        message = (
            f"a sheet of {sheet.name} must have a column {column.name!r} (also understood: "
            f"{expected}){hint}"
        )
        findings.append(
            Finding(
                "column-missing",
                message,
                file=raw.file,
                sheet=raw.name,
                column=column.name,
                expected=expected,
            )
        )
    return tuple(findings)

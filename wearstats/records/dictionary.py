"""The data dictionary: the schema as a page for people who fill in sheets."""

from collections.abc import Iterator

from wearstats.records.amounts import kept_unit, limits_text
from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.schema import SHEETS

_HOW = {
    Kind.DATE: "`2026-05-03`, `3 May 2026`, a date cell",
    Kind.TEXT: "text",
    Kind.NUMBER: "a number",
    Kind.COUNT: "a whole number",
    Kind.GO_NO_GO: "`4`; go / no-go `3/4` or `3-4`; one-sided `<2`, `>8`",
}

_PREFACE = """# Data dictionary

Made from the schema (`wearstats.records.schema`); do not edit it by hand.

Headers are matched regardless of case, spaces and punctuation, and may name a unit: `Boost (psi)`,
`boost_kpa`, `Tip clearance [mm]`, `Tip .001"`. A cell may name its own unit (`0.10 mm`, `.004"`).
Which unit holds: the one in the cell, else the column map's, else the header's, else the one the
book keeps. A bare number that could mean two things is set aside with a question, never guessed.
Dates in figures, such as 03/04/2026, need their order stated once. **Bold** headers must be there
and filled; headers marked * make a row itself: two rows alike in all of them are one record.
"""


def data_dictionary() -> str:
    """Return the data dictionary as Markdown, one table for each kind of sheet."""
    return "\n".join([_PREFACE, *(_sheet(sheet) for sheet in SHEETS.values())])


def _sheet(sheet: Sheet) -> str:
    lines = [f"## {sheet.name}", "", sheet.meaning]
    if sheet.counted is not None:
        lines[-1] += (
            f" Where `{sheet.counted}` is blank in every row alike in the other marked columns, it "
            "is filled in the order of the rows."
        )
    head = ("Header", "How it may be written", "Kept as", "Limits", "Meaning", "Other headers")
    lines += ["", _row(head), _row(["---"] * len(head))]
    lines += [_row(_cells(column)) for column in sheet]
    return "\n".join([*lines, ""])


def _row(cells: list[str] | tuple[str, ...]) -> str:
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def _cells(column: Column) -> list[str]:
    name = f"**{column.name}**" if column.required else column.name
    return [
        f"{name} \\*" if column.key else name,
        "; ".join(_written(column)),
        ", ".join(f"`{field}`" for field in column.fields),
        limits_text(column) if column.limits is not None else "",
        column.meaning,
        ", ".join(column.aliases),
    ]


def _written(column: Column) -> Iterator[str]:
    if column.kind is Kind.CHOICE:
        yield ", ".join(
            f"`{word}`" + (f" ({', '.join(also)})" if also else "")
            for word, also in (column.choices or {}).items()
        )
        return
    yield _HOW[column.kind]
    if column.may_be_percent:
        yield "or with its sign, `60%`"
    unit = kept_unit(column.quantity)
    if column.quantity is not None and unit is not None:
        others = [f"`{one.name}`" for one in column.quantity.units if one != unit]
        if others:
            yield f"in `{unit.name}`, or in {', '.join(others)} if named"
        if not column.has_default_unit:
            yield "a bare number only if one unit alone makes it plausible"
    if column.ask_below is not None:
        yield f"asked about if bare and below {column.ask_below:g}"

"""What the form says about a column: beside its header, in a cell, and when a cell is refused."""

from wearstats.records.columns import Column, Kind
from wearstats.records.values import KEY_TEXT_LENGTH
from wearstats.units import Unit
from wearstats_reports.entry.headers import sign, units
from wearstats_reports.entry.limits import asked_below, span, spans

READING = (
    "3/4: the 3 enters and the 4 does not. 4: one number. <2: not even the 2 enters. "
    ">8: even the 8 enters. Blank: not measured."
)


def how(column: Column, unit: Unit | None) -> str:
    """Return how a cell of a column is written under a header in a unit."""
    return _taken(column, span(column, unit))


def _taken(column: Column, numbers: str) -> str:
    """Return what a cell takes in words; `numbers` says from where to where."""
    match column.kind:
        case Kind.DATE:
            return "2026-05-03"
        case Kind.CHOICE:
            return f"one of {', '.join(column.choices or ())}"
        case Kind.TEXT:
            return f"text of at most {KEY_TEXT_LENGTH} characters" if column.key else "text"
    what = {Kind.COUNT: "a whole number", Kind.GO_NO_GO: "4, 3/4, <2 or >8"}
    return ", ".join(part for part in (what.get(column.kind, "a number"), numbers) if part)


def meaning(column: Column) -> str:
    """Return what a column is, and whether it must be filled."""
    return f"{column.meaning} Must be filled." if column.required else column.meaning


def about(column: Column) -> str:
    """Return what is said where somebody stands on a header."""
    if len(units(column)) < 2:  # noqa: PLR2004 - nothing to pick from
        return meaning(column)
    return f"{meaning(column)} Pick another unit here before you type: numbers are not converted."


def prompt(column: Column) -> str:
    """Return what is said where somebody stands on a cell; empty where it goes without saying."""
    if column.kind is Kind.GO_NO_GO:
        return READING
    return column.meaning if column.kind is Kind.CHOICE else ""


def refusal(column: Column) -> str:
    """Return what is said when a cell is refused: what it takes instead."""
    sentences = [f"Write {_taken(column, spans(column))}."]
    least = asked_below(column)
    if least is not None:
        smallest = f"{least:g} {sign(units(column)[0])}"
        sentences.append(f"Below {smallest} write the unit in the cell, too.")
    if column.kind is Kind.CHOICE and not column.required:
        sentences.append("Or leave the cell blank.")
    return " ".join(sentences)


UNKNOWN_ID = (
    "This id is not in the list. Is it a unit you had before? Then write it exactly as before: "
    "K2 and K 2 would be asked about. Is it new? Then go on, and give it a row on the sheet units."
)

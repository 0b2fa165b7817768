"""Tables that more than one command prints."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from wearstats_cli import show
from wearstats_reports import numbers
from wearstats_reports.cells import count

if TYPE_CHECKING:
    from wearstats.book import ImportResult
    from wearstats.estimates import Estimate
    from wearstats.plans import FleetOutlook

COUNTS = ("rows_read", "logged", "already_there", "set_aside")


def imports(results: Sequence["ImportResult"]) -> None:
    """Print what became of the rows of each sheet."""
    counts = ("read", "logged", "already there", "set aside")
    show.table(
        ("file", "sheet", "kind", *counts),
        [
            (result.file, sheet.sheet, sheet.kind, *(getattr(sheet, name) for name in COUNTS))
            for result in results
            for sheet in result.sheets
        ],
        right=counts,
    )


def fleet(outlook: "FleetOutlook") -> None:
    """Print where each unit stands, why, and the cautions that belong to it."""
    ahead = count(outlook.runs_ahead, "run")
    show.heading(f"The next {ahead}")
    show.line(
        f"From {count(outlook.lives, 'life', 'lives')}, {outlook.failures} burned through; "
        f"{outlook.left_out} left out. Intervals {numbers.level(outlook.level)}."
    )
    show.table(
        ("unit", "age", "seen at", "sound now", f"after {ahead}", "advice"),
        [
            (
                unit.unit,
                numbers.age(unit.age),
                "" if unit.last_look is None else numbers.age(unit.last_look),
                _chance(unit.chances.sound_now if unit.chances else None),
                _chance(unit.chances.ahead if unit.chances else None),
                unit.advice.value,
            )
            for unit in outlook.units
        ],
        right=("age", "seen at"),
    )
    show.line("age: runs on the strips; seen at: age when last seen sound.")
    show.bullets("Why", [f"{unit.unit}: {unit.reason}" for unit in outlook.units])
    show.bullets("Doubtful", outlook.warnings)
    show.bullets("Not planned for", [f"{each.unit}: {each.why}" for each in outlook.apart])
    show.bullets("Before anything runs", outlook.cautions)


def _chance(estimate: "Estimate | None") -> str:
    return "" if estimate is None else str(numbers.chance(estimate))

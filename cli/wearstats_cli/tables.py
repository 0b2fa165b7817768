"""Tables that more than one command prints."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from wearstats_cli import show
from wearstats_reports import numbers

if TYPE_CHECKING:
    from wearstats.book import ImportResult
    from wearstats.estimates import Estimate
    from wearstats.plans import FleetOutlook, UnitOutlook

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
    """Print where each unit stands and why; `cautions` belong after it."""
    # Loaded here: the counts of an import need no pandas.
    from wearstats_reports.cells import count

    ahead = count(outlook.runs_ahead, "run")
    show.heading(f"The next {ahead}")
    show.line(
        f"From {count(outlook.lives, 'life', 'lives')}, {outlook.failures} burned through; "
        f"{outlook.left_out} left out. Intervals {numbers.level(outlook.level)}."
    )
    own = any(unit.interval for unit in outlook.units)
    show.table(
        ("unit", "age", "seen", "sound now", f"lasts {ahead}", *(("due",) * own), "advice"),
        [
            (
                unit.unit,
                numbers.age(unit.age),
                "" if unit.last_look is None else numbers.age(unit.last_look),
                _chance(unit.chances.sound_now if unit.chances else None),
                _chance(unit.chances.ahead if unit.chances else None),
                *((_due(unit),) * own),
                unit.advice.value,
            )
            for unit in outlook.units
        ],
        right=("age", "seen", "due"),
    )
    due = "; due: restrip after so many, for this unit" if own else ""
    show.line(f"age: runs on the strips; seen: age when last seen sound{due}.")
    if any(unit.gain is not None for unit in outlook.units):
        show.line(
            "Money below: burn-through and lost boost over the runs ahead, against as many runs "
            "on strips renewed in time."
        )
    show.bullets("Why", [f"{unit.unit}: {unit.reason}" for unit in outlook.units])
    show.bullets("Doubtful", outlook.warnings)
    show.bullets("Not planned for", [f"{each.unit}: {each.why}" for each in outlook.apart])


def cautions(outlook: "FleetOutlook") -> None:
    """Print what belongs to every advice."""
    show.bullets("Before anything runs", outlook.cautions)


def _due(unit: "UnitOutlook") -> str:
    found = unit.interval
    if found is None:
        return ""
    if found.best is None:
        return "never"
    low, high = found.near_best[0][0] if found.near_best else found.best, found.latest
    if low == high == found.best:
        return f"{found.best}"
    return f"{found.best} ({low}-{'' if high is None else high})"


def _chance(estimate: "Estimate | None") -> str:
    return "" if estimate is None else str(numbers.chance(estimate))

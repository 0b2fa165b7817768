"""`wearstats plan`: run, look first or restrip, and when to restrip."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.plans import FleetOutlook, SetsNeeded


@click.command(
    "plan",
    short_help="Run, look first or restrip, per unit; when to restrip.",
    epilog="Example: wearstats plan shop.book --runs 4 --bound 0.9",
)
@options.book_argument
@options.runs_ahead
@options.bound
@options.costs
@options.level
@options.seed
@options.as_json
def command(
    *,
    book: str,
    runs: int,
    bound: float | None,
    costs: Path | None,
    level: float,
    seed: int,
    as_json: bool,
) -> int:
    """Say where each unit of BOOK stands for the next runs, and when to restrip."""
    from wearstats.plans import sets_needed, strips_now
    from wearstats.records.costs import read_costs
    from wearstats_cli import reading, show
    from wearstats_reports.fits import fit_all

    season = reading.season_of(book)
    if costs is not None:
        season = replace(season, costs=read_costs(costs))
    with show.working("Fitting"):
        fits = fit_all(season, level=level, runs_ahead=runs, bound=bound)
        reading.some_usable(fits.lives)
        fleet = reading.answered(fits.outlook)
        sets = sets_needed(
            reading.answered(fits.life).bayes,
            strips_now(fleet),
            runs_ahead=runs,
            restrip_after=fleet.restrip.best or None,
            seed=seed,
        )
    if as_json:
        show.as_json("plan", {**fleet.as_dict(), "strip_sets": sets.as_dict()})
        return 0
    show.banner(simulated=fleet.simulated)
    _show(fleet, sets)
    return 0


def _show(fleet: "FleetOutlook", sets: "SetsNeeded") -> None:
    from wearstats_cli import show, tables
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    show.bullets("When to restrip", fleet.restrip.remarks)
    carry = [
        f"{count(sets.enough(chance), 'set')}: enough with a chance of {numbers.percent(chance)}"
        for chance in (0.9, 0.95, 0.99)
    ]
    show.bullets("Strip sets to carry", carry)
    tables.fleet(fleet)

"""`wearstats plan`: run, look first or restrip; when to restrip; the meet ahead; what if."""

from dataclasses import replace
from pathlib import Path

import click

from wearstats_cli import options

_PART = click.FloatRange(min=0.0)


@click.command(
    "plan",
    epilog="Example: wearstats plan shop.book --meet-runs 8 --stock 2 --what-if overdrive=35",
)
@options.book_argument
@options.runs_ahead
@options.bound
@options.costs
@click.option(
    "--meet",
    "meet_file",
    type=options.existing_file,
    help="The meet ahead (TOML): runs, sets, hours_per_restrip, hours, windows, load, units, "
    "bound.",
)
@click.option("--meet-runs", type=click.IntRange(1, 60), help="Runs of the meet ahead.")
@click.option("--stock", type=click.IntRange(min=0), help="Strip sets at hand for the meet.")
@click.option("--hours", type=_PART, help="Hours of work at the meet, all told.")
@click.option("--restrip-hours", type=_PART, help="Hours of work a restrip takes.")
@click.option("--windows", help="Hours of work before each run of the meet: 6,0,0,6.")
@click.option(
    "--what-if",
    "changes",
    multiple=True,
    metavar="NAME=VALUE",
    help="Life and plan at another setting of a column: overdrive=35, strip_lot=L2, load=0.6.",
)
@options.level
@options.seed
@options.as_json
def command(
    *,
    book: str,
    runs: int,
    bound: float | None,
    costs: Path | None,
    meet_file: Path | None,
    meet_runs: int | None,
    stock: int | None,
    hours: float | None,
    restrip_hours: float | None,
    windows: str | None,
    changes: tuple[str, ...],
    level: float,
    seed: int,
    as_json: bool,
) -> int:
    """Say where each unit of BOOK stands for the next runs, and when to restrip."""
    from wearstats.records.costs import read_costs
    from wearstats_cli import plan_asked, plan_shown, reading, show
    from wearstats_reports.fits import fit_all

    given = {
        "runs": meet_runs,
        "sets": stock,
        "hours": hours,
        "hours_per_restrip": restrip_hours,
        "windows": windows,
    }
    meet = plan_asked.meet_of(meet_file, given, bound)
    asked = plan_asked.changes_of(changes)
    season = reading.season_of(book)
    if costs is not None:
        season = replace(season, costs=read_costs(costs))
    with show.working("Fitting"):
        fits = fit_all(season, level=level, runs_ahead=runs, bound=bound)
        reading.some_usable(fits.lives)
        plans = plan_asked.answer(fits, meet, asked, restrip_hours=restrip_hours, seed=seed)
    if as_json:
        show.as_json("plan", plans.as_dict())
    else:
        plan_shown.show_plans(plans)
    return 0 if plans.all_told else 1

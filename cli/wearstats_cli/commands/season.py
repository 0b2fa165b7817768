"""`wearstats season`: the season report."""

from dataclasses import replace
from pathlib import Path

import click

from wearstats_cli import options


@click.command(
    "season",
    epilog="Example: wearstats season shop.book --out report",
)
@options.book_argument
@click.option(
    "--out", type=options.any_path, required=True, help="Folder to write to; made if missing."
)
@click.option("--pdf", is_flag=True, help="Print every page to PDF too, by a browser found here.")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="letter",
    show_default=True,
    help="Paper of the PDF.",
)
@options.runs_ahead
@options.bound
@options.costs
@options.level
@options.seed
@options.processes
@options.as_json
def command(
    *,
    book: str,
    out: Path,
    pdf: bool,
    paper: str,
    runs: int,
    bound: float | None,
    costs: Path | None,
    level: float,
    seed: int,
    workers: int | None,
    as_json: bool,
) -> int:
    """Write the season report of BOOK, with its numbers as CSV and JSON beside it."""
    from wearstats.records.costs import read_costs
    from wearstats_cli import reading, show
    from wearstats_reports import PageWorkers, print_pages, season_report, write_season

    season, set_aside = reading.records_of(book)
    if costs is not None:
        season = replace(season, costs=read_costs(costs))
    with show.working("Fitting and drawing"), PageWorkers(workers) as pages:
        report = season_report(
            season,
            level=level,
            seed=seed,
            runs_ahead=runs,
            bound=bound,
            set_aside=set_aside,
            workers=pages,
        )
        written = write_season(report, out, workers=pages)
    printed: tuple[Path, ...] = ()
    if pdf:
        with show.working("Printing"):
            printed = print_pages(written, paper)
    if as_json:
        body = {
            "simulated": season.simulated,
            "index": str(written.index),
            "numbers": str(written.numbers),
            "pages": {unit: str(page) for unit, page in written.pages},
            "tables": [str(table) for table in written.tables],
            "pdf": [str(path) for path in printed],
        }
        show.as_json("season", body)
        return 0
    show.banner(simulated=season.simulated)
    show.line(f"Season report: {written.index} ({len(report.units)} unit pages beside it)")
    if printed:
        show.line(f"For paper: {printed[0]} ({len(printed)} PDF files, {paper})")
    return 0

"""`wearstats demo`: a simulated season, end to end."""

from pathlib import Path

import click

from wearstats_cli import options


@click.command(
    "demo",
    epilog="Example: wearstats demo demo",
)
@click.argument("folder", metavar="DIR", type=options.any_path)
@options.seed
@options.level
@options.processes
def command(*, folder: Path, seed: int, level: float, workers: int | None) -> int:
    """Simulate a season of seven superchargers in DIR, log its sheets as people write them, report.

    The sheets, the truth behind them, the book and the report stay in DIR. Every number is
    SIMULATED: of no real machine.
    """
    from wearstats.errors import UsageError
    from wearstats_cli import reading, show, tables, tour
    from wearstats_reports import PageWorkers, report_of, write_season
    from wearstats_reports.fits import fit_all
    from wearstats_reports.sections.lookback import past_chances

    if folder.exists() and any(folder.iterdir()):
        message = f"{folder} is not empty"
        raise UsageError(message, hint="Name a new folder.")
    with PageWorkers(workers) as pages:
        with show.working("Simulating a season and logging its sheets"):
            prepared = tour.prepare(folder, seed=seed)
        season, set_aside = reading.records_of(str(prepared.book))
        with show.working("Fitting and drawing"):
            past = pages.begin(past_chances, season, level=level, seed=seed)
            fits = fit_all(season, level=level, runs_ahead=tour.RUNS_AHEAD)
            report = report_of(fits, seed=seed, set_aside=set_aside, past=past)
            written = write_season(report, folder / "report", workers=pages)
    show.banner(simulated=True)
    tables.imports(prepared.results)
    tables.fleet(reading.answered(fits.outlook))
    tables.cautions(reading.answered(fits.outlook))
    show.line(f"Set aside, with reasons: {folder / 'mend.xlsx'}")
    show.line(f"Season report: {written.index}")
    show.line(f"Go on from here: wearstats plan {prepared.book} --runs 6")
    return 0

"""`wearstats sheet`: a workbook to type records into."""

from pathlib import Path

import click

from wearstats_cli import options


@click.command(
    "sheet",
    epilog="Example: wearstats sheet entry.xlsx --book shop.book, fill it in, then "
    "wearstats log shop.book entry.xlsx",
)
@click.argument("file", metavar="FILE.xlsx", type=options.any_path)
@click.option("--book", metavar="BOOK", help="Write the units of this book into it.")
@click.option(
    "--in",
    "system",
    type=click.Choice(["inch", "metric"]),
    default="inch",
    show_default=True,
    help="Units the headers start with: thou and psi, printed on Letter; mm and kPa, on A4.",
)
@click.option("--overwrite", is_flag=True, help="Replace FILE.xlsx if it is there.")
@options.as_json
def command(*, file: Path, book: str | None, system: str, overwrite: bool, as_json: bool) -> int:
    """Write FILE.xlsx: a sheet each for runs, restrips, units and readings, and a page of help.

    It has drop-down lists, limits, and headers whose unit can be switched; filled in, it is logged
    as it is.
    """
    from wearstats_cli import reading, show
    from wearstats_reports.entry import write_entry_workbook

    season = None if book is None else reading.season_of(book)
    made = write_entry_workbook(file, season=season, system=system, overwrite=overwrite)
    if as_json:
        body = {
            "file": made.path.name,
            "guide": made.guide,
            "sheets": made.sheets,
            "units": made.units,
        }
        show.as_json("sheet", body)
        return 0
    show.banner(simulated=season is not None and season.simulated)
    show.line(f"Written to {file}: sheets {', '.join(made.sheets)}.")
    if made.units:
        show.line(f"Units from the book in its lists: {len(made.units)}.")
    show.line("How to fill it in stands on its first page.")
    show.line(f"Then: wearstats log {_shown(book)} {file}")
    return 0


def _shown(book: str | None) -> str:
    if book is None:
        return "shop.book"
    from wearstats.book import shown_place

    return shown_place(book)

"""`wearstats log`: take records into the book."""

from pathlib import Path

import click

from wearstats_cli import options


def _pairs(_ctx: click.Context, _param: click.Parameter, value: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for text in value:
        left, sign, right = text.partition("=")
        if not sign or not left.strip() or not right.strip():
            message = f'{text!r} is not of the form "K 2=K2"'
            raise click.BadParameter(message)
        pairs[left.strip()] = right.strip()
    return pairs


@click.command(
    "log",
    short_help="Take records into the book.",
    epilog="Example: wearstats log shop.book runs.csv restrips.xlsx --dates day-first",
)
@options.book_argument
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=options.any_path)
@click.option("--map", "map_file", type=options.existing_file, help="Column map (TOML).")
@click.option(
    "--dates",
    type=click.Choice(["month-first", "day-first"]),
    help="How 03/04/2026 is meant. Without it such dates are asked about.",
)
@click.option(
    "--sheet",
    type=click.Choice(["runs", "restrips", "units", "readings"]),
    help="What the files hold, where neither name nor headers tell.",
)
@click.option(
    "--join", multiple=True, callback=_pairs, metavar='"K 2=K2"', help="Two spellings, one unit."
)
@click.option("--apart", multiple=True, metavar='"K 2"', help="This spelling is a unit of its own.")
@click.option("--amend", is_flag=True, help="Let these rows correct what was logged before.")
@options.as_json
def command(
    book: str,
    files: tuple[Path, ...],
    map_file: Path | None,
    dates: str | None,
    sheet: str | None,
    join: dict[str, str],
    apart: tuple[str, ...],
    amend: bool,
    as_json: bool,
) -> int:
    """Take the records in FILE... into BOOK, which is made if it is not there.

    CSV, TSV, XLSX and Parquet sheets, and costs as TOML. What cannot be taken is set aside with
    its reason; nothing is dropped.
    """
    from wearstats_cli import logging

    settings = logging.settings(map_file=map_file, dates=dates, sheet=sheet)
    results = logging.log_files(book, files, settings, amend=amend, join=join, apart=apart)
    if as_json:
        logging.show_json(results)
    else:
        logging.show_results(book, results)
    return 3 if any(result.set_aside for result in results) else 0

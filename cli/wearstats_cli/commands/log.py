"""`wearstats log`: take records into the book."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.book import ImportResult
    from wearstats.records.columnmap import ColumnMap
    from wearstats.records.costs import Costs
    from wearstats.records.dates import DateOrder
    from wearstats.records.kinds import Settings

_ORDERS: dict[str, "DateOrder"] = {"month-first": "month first", "day-first": "day first"}


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
    epilog="Example: wearstats log shop.book runs.csv restrips.xlsx --dates day-first",
)
@options.book_argument
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=options.any_path)
@click.option("--map", "map_file", type=options.existing_file, help="Column map (TOML).")
@click.option(
    "--dates",
    type=click.Choice(list(_ORDERS)),
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
    *,
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
    from wearstats_cli import show

    how = _How(_settings(map_file, dates, sheet), join, apart, amend)
    costs = [path for path in files if path.suffix.casefold() == ".toml"]
    results, waiting = _take(
        book, [path for path in files if path not in costs], costs, how, as_json=as_json
    )
    if as_json:
        body = {"files": [_as_dict(result) for result in results]}
        show.as_json("log", {**body, "costs": [path.name for path in costs]})
    else:
        _show(book, results, waiting)
        for path in costs:
            show.line(f"Costs taken from {path.name}")
    return 3 if any(result.set_aside for result in results) else 0


@dataclass(frozen=True, slots=True)
class _How:
    settings: "Settings"
    join: Mapping[str, str]
    apart: Sequence[str]
    amend: bool


def _settings(map_file: Path | None, dates: str | None, sheet: str | None) -> "Settings":
    from wearstats.records.kinds import Settings

    return Settings(
        column_map=None if map_file is None else _column_map(map_file),
        dates=_ORDERS[dates] if dates is not None else None,
        kind=sheet,
    )


def _column_map(path: Path) -> "ColumnMap":
    # Loaded where there is one: the library that checks it takes a while to load.
    from wearstats.records.columnmap import read_column_map

    return read_column_map(path)


def _costs(path: Path) -> "Costs":
    from wearstats.records.costs import read_costs

    return read_costs(path)


def _take(
    book: str, files: Sequence[Path], costs: Sequence[Path], how: _How, *, as_json: bool
) -> tuple[list["ImportResult"], int]:
    """Log each file in turn; return what became of them, and how many rows wait to be mended."""
    from wearstats.book import Book
    from wearstats.errors import WearstatsError
    from wearstats_cli import show

    results: list[ImportResult] = []
    with Book.open_or_create(book) as opened:
        for path in costs:
            opened.set_costs(_costs(path))
        try:
            for path in files:
                with show.working(f"Reading {path.name}") as say:
                    result = opened.log(
                        path,
                        on_progress=_said_by(say, path.name),
                        settings=how.settings,
                        amend=how.amend,
                        join=how.join,
                        apart=how.apart,
                    )
                results.append(result)
        except WearstatsError as error:
            # Each file is an import of its own: those before this one stand in the book.
            if results:
                done = ", ".join(one.file for one in results)
                error.hint = f"{error.hint} Logged before it: {done}.".strip()
            if results and not as_json:
                _show(book, results, len(opened.aside()))
            raise
        return results, len(opened.aside())


def _said_by(say: Callable[[str], None], name: str) -> Callable[[str, int], None]:
    return lambda sheet, rows: say(f"Reading {name}, {sheet}: {rows} rows")


def _as_dict(result: "ImportResult") -> dict[str, object]:
    from wearstats_cli import tables

    return {
        "file": result.file,
        "sha256": result.sha256,
        **{name: getattr(result, name) for name in tables.COUNTS},
        "sheets": [asdict(sheet) for sheet in result.sheets],
        "findings": [finding.as_dict() for finding in result.findings],
    }


def _show(book: str, results: Sequence["ImportResult"], waiting: int) -> None:
    from wearstats.book import shown_place
    from wearstats_cli import show, tables

    if results:
        tables.imports(results)
    found = [finding for result in results for finding in result.findings]
    if found:
        show.heading("What needs a look")
        show.findings(found)
    if any(result.set_aside for result in results) and waiting:
        rows = "1 row waits" if waiting == 1 else f"{waiting} rows wait"
        show.line(f"{rows} to be mended: wearstats aside {shown_place(book)} --out mend.xlsx")

"""From values to the terminal: tables, sentences, JSON. Nothing else in the command line prints."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from wearstats.estimates import Estimate
from wearstats.records.findings import Finding
from wearstats_cli.options import SCHEMA
from wearstats_reports import numbers

if TYPE_CHECKING:
    import pandas as pd


def as_json(command: str, body: Mapping[str, Any]) -> None:
    """Print the stable JSON of a command: strict JSON, no NaN."""
    click.echo(
        json.dumps({"schema": SCHEMA, "command": command, **body}, allow_nan=False, default=str)
    )


def records(frame: "pd.DataFrame") -> list[dict[str, object]]:
    """Return a frame as JSON rows: blanks and infinities null, days as ISO text."""
    import numpy as np
    import pandas as pd

    def plain(value: object) -> object:
        if isinstance(value, np.generic):
            value = value.item()
        if value is pd.NaT or (isinstance(value, float) and not np.isfinite(value)):
            return None
        return f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else value

    return [
        {str(name): plain(value) for name, value in row.items()}
        for row in frame.to_dict(orient="records")
    ]


def banner(*, simulated: bool) -> None:
    """Say so where the records are not of real machines."""
    if simulated:
        line("SIMULATED: made by the simulator, of no real machine.")


def bullets(title: str, sentences: Sequence[str]) -> None:
    """Print a heading and a list, or nothing where there is nothing to say."""
    if sentences:
        heading(title)
        for sentence in sentences:
            line(f"- {sentence}")


def line(text: str = "") -> None:
    """Print one paragraph, wrapped to the terminal."""
    Console(highlight=False, soft_wrap=False).print(text, markup=False)


def heading(text: str) -> None:
    """Print a heading with an empty line before it."""
    console = Console(highlight=False)
    console.print()
    console.print(Text(text, style="bold"))


def table(
    columns: Sequence[str], rows: Iterable[Sequence[object]], *, right: Sequence[str] = ()
) -> None:
    """Print a table; the columns named in `right` are aligned to the right."""
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for name in columns:
        made.add_column(Text(name), justify="right" if name in right else "left")
    for row in rows:
        # Text, not markup: a cell from a sheet stays a text.
        made.add_row(*(Text("" if cell is None else str(cell)) for cell in row))
    Console(highlight=False).print(made)


def bare(estimate: Estimate | None) -> str:
    """Return an estimate with its interval, without its unit: for a column that names it."""
    return "" if estimate is None else str(replace(numbers.quantity(estimate), unit=""))


def estimates(named: Mapping[str, Estimate], level: float) -> None:
    """Print estimates one under another, each with its unit and interval."""
    said = {name: numbers.quantity(value) for name, value in named.items()}
    table(
        ("", "estimate", "", f"{numbers.level(level)} interval"),
        [(name, each.main or "", each.unit, each.interval) for name, each in said.items()],
        right=("estimate",),
    )


def findings(found: Sequence[Finding], *, most: int = 12) -> None:
    """Print findings, the first of each kind first, and how many are not shown."""
    seen: dict[str, int] = {}
    ordered = sorted(found, key=lambda finding: _turn(seen, finding.code))
    for finding in ordered[:most]:
        line(f"- {finding}")
    if len(found) > most:
        line(f"  and {len(found) - most} more like these")


def _turn(seen: dict[str, int], code: str) -> int:
    seen[code] = seen.get(code, 0) + 1
    return seen[code]


@contextmanager
def working(text: str) -> Iterator[None]:
    """Say on standard error, on a terminal only, that work is going on."""
    console = Console(stderr=True)
    if console.is_terminal:
        with console.status(text):
            yield
    else:
        yield

"""From values to the terminal: tables, sentences, JSON. Nothing else in the command line prints."""

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from threading import Timer
from typing import TYPE_CHECKING, Any

import click

from wearstats.estimates import Estimate
from wearstats.numbers import plain_signs
from wearstats.records.findings import Finding, Severity
from wearstats_cli.options import SCHEMA
from wearstats_reports import numbers

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

_PATIENCE_SECONDS = 1.0
_BULLET = "- "


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
        listed(sentences)


def listed(sentences: Sequence[str]) -> None:
    """Print a list, a second line of a sentence under its first."""
    from rich.text import Text

    console = _console()
    for sentence in sentences:
        wrapped = Text(_written(sentence, console)).wrap(console, console.width - len(_BULLET))
        for number, part in enumerate(wrapped):
            part.rstrip()
            console.print(Text(" " * len(_BULLET) if number else _BULLET) + part)


def _console(*, stderr: bool = False) -> "Console":
    # Loaded where something is shown: JSON does without.
    from rich.console import Console

    return Console(highlight=False, stderr=stderr)


def line(text: str = "") -> None:
    """Print one paragraph, wrapped to the terminal."""
    console = _console()
    console.print(_written(text, console), markup=False)


def heading(text: str) -> None:
    """Print a heading with an empty line before it."""
    from rich.text import Text

    console = _console()
    console.print()
    console.print(Text(_written(text, console), style="bold"))


def table(
    columns: Sequence[str], rows: Iterable[Sequence[object]], *, right: Sequence[str] = ()
) -> None:
    """Print a table; the columns named in `right` are aligned to the right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    console = _console()
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for name in columns:
        made.add_column(Text(_written(name, console)), justify="right" if name in right else "left")
    for row in rows:
        # Text, not markup: a cell from a sheet stays a text.
        cells = ("" if cell is None else _written(str(cell), console) for cell in row)
        made.add_row(*map(Text, cells))
    console.print(made)


def _written(text: str, console: "Console") -> str:
    """Return text in signs that the stream can take: a file on Windows has no minus of ours."""
    return text if console.encoding.startswith("utf") else plain_signs(text)


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


def findings(found: Sequence[Finding], *, each: int = 3, most: int = 12) -> None:
    """Print findings: the first few of each kind in each sheet, and where the others are.

    Rows set aside come before notes on rows that were not.
    """
    groups: dict[tuple[bool, str, str, str], list[Finding]] = {}
    for finding in found:
        kind = (finding.severity is Severity.NOTE, finding.code, finding.file, finding.sheet)
        groups.setdefault(kind, []).append(finding)
    if sum(min(len(group), each) for group in groups.values()) > most:
        each = 1
    for _, group in sorted(groups.items(), key=lambda one: one[0][0]):
        # One more line says as much as "and 1 more".
        shown = each if len(group) > each + 1 else len(group)
        for finding in group[:shown]:
            line(f"- {finding}")
        if group[shown:]:
            line(f"  and {len(group) - shown} more of this kind: {_places(group[shown:])}")


def _places(group: Sequence[Finding], *, most: int = 8) -> str:
    """Say where findings are: in which rows, or under which headers if all are in one row."""
    rows = list(dict.fromkeys(finding.row for finding in group if finding.row is not None))
    columns = list(dict.fromkeys(finding.column for finding in group if finding.column))
    several = len(rows) > 1 or not columns
    named = [str(row) for row in rows] if several else [repr(column) for column in columns]
    more = ", ..." if len(named) > most else ""
    return f"{'rows' if several else 'columns'} {', '.join(named[:most])}{more}"


@contextmanager
def working(text: str) -> Iterator[Callable[[str], None]]:
    """Show on standard error, on a terminal only, that work goes on and for how long.

    Nothing is shown of work done within a second. Gives what says other words meanwhile.
    """
    console = _terminal()
    if console is None:
        yield lambda _: None
        return
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}", markup=False))
    shown = Progress(*columns, TimeElapsedColumn(), console=console, transient=True)
    task = shown.add_task(text, total=None)
    later = Timer(_PATIENCE_SECONDS, shown.start)
    later.daemon = True
    later.start()
    try:
        yield lambda words: shown.update(task, description=words)
    finally:
        later.cancel()
        later.join()
        if shown.live.is_started:
            shown.stop()


def _terminal() -> "Console | None":
    """Return standard error where it is a terminal, or is said to be one."""
    said = "FORCE_COLOR" in os.environ or "TTY_COMPATIBLE" in os.environ
    if not said and not sys.stderr.isatty():
        return None
    console = _console(stderr=True)
    return console if console.is_terminal else None

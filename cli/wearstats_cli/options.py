"""Options that commands share."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

SCHEMA = 1
"""Version of the JSON that commands print; documented in docs/json.md."""

MOST_WORKERS = 256

_Command = TypeVar("_Command", bound=Callable[..., Any])

existing_file = click.Path(exists=True, dir_okay=False, path_type=Path)
any_path = click.Path(path_type=Path)

book_argument = click.argument("book", metavar="BOOK", type=str)


def as_json(command: _Command) -> _Command:
    """Add `--json`."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print stable, documented JSON instead of text."
    )(command)


def level(command: _Command) -> _Command:
    """Add `--level`."""
    return click.option(
        "--level",
        type=click.FloatRange(0.5, 0.999),
        default=0.9,
        show_default=True,
        help="Nominal coverage of every interval.",
    )(command)


def seed(command: _Command) -> _Command:
    """Add `--seed`."""
    return click.option(
        "--seed",
        type=click.IntRange(min=0),
        default=20260503,
        show_default=True,
        help="Seed of everything random.",
    )(command)


def system(command: _Command) -> _Command:
    """Add `--in`."""
    return click.option(
        "--in",
        "system",
        type=click.Choice(["inch", "metric"]),
        default="inch",
        show_default=True,
        help="Units shown: thou and psi, or mm and kPa.",
    )(command)


def mode(command: _Command) -> _Command:
    """Add `--mode`."""
    return click.option(
        "--mode",
        type=click.Choice(["burned", "pulled", "cut", "rubbed"]),
        default="burned",
        show_default=True,
        help="Which end of a strip counts as the failure; other ends only end the watch.",
    )(command)


def lives_file(command: _Command) -> _Command:
    """Add `--lives`."""
    return click.option(
        "--lives",
        "lives_file",
        type=existing_file,
        help="A table of lives instead of a book: unit, entry, lower, upper, mode, weight; "
        "or time with event.",
    )(command)


def runs_ahead(command: _Command) -> _Command:
    """Add `--runs`."""
    return click.option(
        "--runs",
        type=click.IntRange(1, 200),
        default=4,
        show_default=True,
        help="Full runs each unit has ahead.",
    )(command)


def bound(command: _Command) -> _Command:
    """Add `--bound`."""
    return click.option(
        "--bound",
        type=click.FloatRange(0.5, 0.999),
        help="The chance of sound strips you ask for; left out, advice weighs cost where costs are "
        "known, and asks for 0.9 where they are not.",
    )(command)


def costs(command: _Command) -> _Command:
    """Add `--costs`."""
    return click.option(
        "--costs",
        type=existing_file,
        help="Costs (TOML) to plan with instead of those in the book.",
    )(command)


def workers(command: _Command) -> _Command:
    """Add `--workers` and `--cluster`."""
    count = click.option(
        "--workers",
        type=click.IntRange(1, MOST_WORKERS),
        default=1,
        show_default=True,
        help="Processes to share the work among; the answer is the same. Worth while from some ten "
        "seconds of work on.",
    )
    cluster = click.option(
        "--cluster",
        metavar="ADDRESS",
        default="",
        help="Let the Dask cluster at this address do the work, as in tcp://tower:8786.",
    )
    return count(cluster(command))


def processes(command: _Command) -> _Command:
    """Add `--workers` to a command that draws pages."""
    return click.option(
        "--workers",
        type=click.IntRange(1, MOST_WORKERS),
        help="Processes to draw with; the pages are the same. Left out: as many as there are "
        "processors, at most eight.",
    )(command)

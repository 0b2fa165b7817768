"""`wearstats aside`: what was set aside, and how to mend it."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.book import AsideItem


@click.command(
    "aside",
    epilog="Example: wearstats aside shop.book --out mend.xlsx, mend it, then "
    "wearstats log shop.book mend.xlsx",
)
@options.book_argument
@click.option("--out", type=options.any_path, help="Write the rows, with their reasons, here.")
@click.option(
    "--discard", multiple=True, type=int, metavar="NUMBER", help="Leave this one aside for good."
)
@click.option("--why", default="", help="Why it is left aside for good.")
@options.as_json
def command(
    book: str, out: Path | None, discard: tuple[int, ...], why: str, *, as_json: bool
) -> int:
    """List the rows of BOOK that were set aside, each with its reason."""
    from wearstats.book import Book, shown_place
    from wearstats_cli import show

    with Book.open(book) as opened:
        if discard:
            opened.discard(discard, why=why)
        items = opened.aside()
        if out is not None and items:
            opened.write_aside(out)
    if as_json:
        show.as_json("aside", {"aside": [_as_dict(item) for item in items]})
    elif not items:
        show.line("Nothing is set aside." if out is None else f"Nothing is set aside: no {out}.")
    else:
        show.table(
            ("aside", "file", "sheet", "row", "why"),
            [(item.number, item.file, item.sheet, item.row, item.reason) for item in items],
            right=("aside", "row"),
        )
        where = shown_place(book)
        if out is not None:
            show.line(f"Written to {out}: mend the cells there, then wearstats log {where} {out}")
        else:
            show.line(f"To mend them: wearstats aside {where} --out mend.xlsx")
    return 3 if items else 0


def _as_dict(item: "AsideItem") -> dict[str, object]:
    return {
        "aside": item.number,
        "file": item.file,
        "sheet": item.sheet,
        "kind": item.kind,
        "row": item.row,
        "cells": dict(item.cells),
        "findings": [finding.as_dict() for finding in item.findings],
    }

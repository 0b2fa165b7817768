"""`wearstats lives`: the strip lives with their censoring, and what was left out."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    import pandas as pd


@click.command(
    "lives",
    epilog="Example: wearstats lives shop.book",
)
@click.argument("book", metavar="[BOOK]", required=False)
@options.lives_file
@options.as_json
def command(book: str | None, lives_file: Path | None, *, as_json: bool) -> int:
    """List the strip lives of BOOK: how long each is known sound, and how it ended.

    Ages are load-weighted runs since restrip. A life that failed ended after the age under
    "sound to" and by the age under "failed by"; without the latter it had not failed when last
    seen.
    """
    from wearstats_cli import reading, show, words

    source = reading.lives_from(book, lives_file)
    lives = source.lives
    if as_json:
        body = {
            "simulated": source.simulated,
            "counts": words.lives_count(lives),
            "lives": show.records(lives.frame),
            "left_out": [words.left_out_as_dict(each) for each in lives.left_out],
            "notes": list(lives.notes),
        }
        show.as_json("lives", body)
        return 0
    show.banner(simulated=source.simulated)
    ages = ("from", "sound to", "failed by", "age")
    show.table(
        ("unit", "build", "began", *ages, "failure", "ended"), _rows(lives.frame), right=ages
    )
    show.line(words.lives_sentence(lives))
    show.bullets("Left out of the fits until resolved", words.left_out_sentences(lives))
    show.bullets("Worth knowing", lives.notes)
    return 0


def _rows(frame: "pd.DataFrame") -> list[list[str]]:
    from wearstats_cli import show
    from wearstats_reports.numbers import age

    def said(value: object) -> str:
        return age(float(value)) if isinstance(value, int | float) else ""

    return [
        [
            str(life["unit"]),
            str(life["build"]),
            str(life["began"] or ""),
            said(life["entry"]),
            "left out" if life["left_out"] else said(life["lower"]),
            said(life["upper"]),
            said(life["age"]),
            str(life["mode"] or ""),
            str(life["ending"]),
        ]
        for life in show.records(frame)
    ]

"""What every command reads: a book's season, or a table of lives."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from wearstats.errors import FitError, ObservationError, UsageError

if TYPE_CHECKING:
    from wearstats.book import AsideItem
    from wearstats.lives import StripLives
    from wearstats.records.season import Season
    from wearstats_reports.fits import Attempt

_Fit = TypeVar("_Fit")


@dataclass(frozen=True, slots=True)
class Source:
    """Lives, and whether they were simulated."""

    lives: "StripLives"
    simulated: bool = False


def season_of(book: str, *, with_costs: bool = True) -> "Season":
    """Return the records in a book."""
    from wearstats.book import Book

    with Book.open(book) as opened:
        return opened.season(with_costs=with_costs)


def records_of(book: str) -> tuple["Season", list["AsideItem"]]:
    """Return the records in a book, and the rows it holds aside."""
    from wearstats.book import Book

    with Book.open(book) as opened:
        return opened.season(), opened.aside()


def lives_from(book: str | None, lives_file: Path | None) -> Source:
    """Return the lives of a book, or those of a table.

    Raises
    ------
    UsageError
        Neither or both are given.
    """
    if (book is None) == (lives_file is None):
        message = "name a BOOK, or a table with --lives FILE, and not both"
        raise UsageError(message)
    if lives_file is not None:
        from wearstats.lives import read_lives

        return Source(read_lives(lives_file))
    from wearstats.lives import lives_of

    season = season_of(str(book), with_costs=False)
    return Source(lives_of(season), season.simulated)


def some_usable(lives: "StripLives") -> None:
    """Refuse lives of which every one is left out.

    Raises
    ------
    ObservationError
        Says where the reasons stand.
    """
    if lives.left_out and lives.usable.empty:
        message = "every build is left out until its records are resolved"
        raise ObservationError(message, hint="What was left out, and why: wearstats lives")


def answered(attempt: "Attempt[_Fit]") -> _Fit:
    """Return the fit an attempt made.

    Raises
    ------
    FitError
        There is none; says why.
    """
    if attempt.fit is None:
        raise FitError(attempt.why_not)
    return attempt.fit

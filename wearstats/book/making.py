"""A new book: whole, or not there."""

import os
import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sqlalchemy import URL, Connection, inspect

from wearstats.book.places import place_of
from wearstats.book.store import Store, sqlite_store, store_at_url
from wearstats.errors import BookError


class TakenError(BookError):
    """Something stands there already."""


def is_there(path_or_url: str | Path, patience_s: float) -> bool:
    """Tell whether anything stands at a path, or any table in the database of a URL."""
    place = place_of(path_or_url)
    if isinstance(place, Path):
        return place.exists()
    return bool(store_at_url(place, patience_s).columns_present())


def make(path_or_url: str | Path, patience_s: float, fill: Callable[[Connection], None]) -> Store:
    """Make a book, filled in one transaction; a file is filled beside and then given its name.

    Raises
    ------
    TakenError
        A file is there already, or a book in that database.
    BookError
        It cannot be made.
    """
    place = place_of(path_or_url)
    if isinstance(place, URL):
        store = store_at_url(place, patience_s)
        with store.writing(new=True) as connection:
            if inspect(connection).has_table("meta"):
                message = f"{store.name} holds a book already"
                raise TakenError(message, hint="Open it.")
            fill(connection)
        return store
    beside = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        if not place.exists():
            beside.open("xb").close()
            with sqlite_store(beside, patience_s, name=place.name).writing(new=True) as connection:
                fill(connection)
        _name(beside, place)
    except FileExistsError:
        message = f"{place.name} is there already and is not overwritten"
        raise TakenError(message, hint="Open it, or choose another name.") from None
    except OSError as error:
        message = f"{place.name} cannot be made: {error.strerror}"
        raise BookError(message, hint="Check the folder and that you may write in it.") from None
    finally:
        with suppress(OSError):  # a folder that is none has been told of above
            beside.unlink(missing_ok=True)
    return sqlite_store(place, patience_s)


def _name(beside: Path, place: Path) -> None:
    """Give a file its name, unless there is a file of that name."""
    if place.exists():
        raise FileExistsError
    try:
        os.link(beside, place)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems (of memory cards, of networks) know no second name for a file.
        place.open("xb").close()
        beside.replace(place)

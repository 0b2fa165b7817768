"""What differs between database programs, and how their complaints are said in plain words.

Nothing outside this module knows which program keeps the book. SQLite: one file, rollback
journal (a write-ahead log would make it two files, and a copy of one of them is no book),
every commit synced to the disk, one writer at a time. PostgreSQL: one writer at a time by a
row lock, readers from one snapshot.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
import numpy.typing as npt
from sqlalchemy import (
    URL,
    Connection,
    Dialect,
    Engine,
    Table,
    create_engine,
    event,
    insert,
    inspect,
    select,
    text,
)
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import ConnectionPoolEntry, NullPool
from sqlalchemy.types import TypeEngine

from wearstats.book.places import place_of, secrets_of, shown_place
from wearstats.book.tables import META
from wearstats.errors import BookError

if TYPE_CHECKING:
    from wearstats.records.coded import Coded

_SQLITE_HEADER = b"SQLite format 3\x00"
_WRITES = "wearstats_writes"
_MOST_VALUES = 900
"""In one statement; older versions of SQLite take no more than 999."""
# Held while the tables are made, when there is no row to lock yet: a number of our own.
_MAKING = text("SELECT pg_advisory_xact_lock(732819)")


@dataclass(frozen=True, slots=True)
class Store:
    """Where a book is kept.

    Parameters
    ----------
    engine : sqlalchemy.Engine
    name : str
        As shown to people: never with a password.
    patience_s : float
        How long to wait for another writer, in seconds.
    secrets : tuple of str
        What must not appear in any message.
    """

    engine: Engine
    name: str
    patience_s: float
    secrets: tuple[str, ...] = field(default=(), repr=False)

    @property
    def is_sqlite(self) -> bool:
        """Whether the book is an SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Read everything from one moment of the book."""
        with self._plain_words(), legible(self.name), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self, *, new: bool = False) -> Iterator[Connection]:
        """Write all or nothing, as the only writer; `new`: the tables are not there yet."""
        with self._plain_words(), self.engine.connect() as connection:
            connection.execution_options(**{_WRITES: True})
            with connection.begin():
                if not self.is_sqlite:
                    wait = text("SELECT set_config('lock_timeout', :wait, true)")
                    connection.execute(wait, {"wait": f"{int(self.patience_s * 1000)}ms"})
                    # Readers go on; a second writer waits here.
                    lock = _MAKING if new else select(META).with_for_update()
                    connection.execute(lock).all()
                yield connection

    def columns_present(self) -> dict[str, frozenset[str]]:
        """Return the columns of each table that is there."""
        with self.reading() as connection:
            inspector = inspect(connection)
            return {
                table: frozenset(column["name"] for column in inspector.get_columns(table))
                for table in inspector.get_table_names()
            }

    def faults(self) -> tuple[str, ...]:
        """Return what the database program finds wrong with its own file (SQLite only)."""
        if not self.is_sqlite:
            return ()
        with self.reading() as connection:
            lines = connection.execute(text("PRAGMA integrity_check")).scalars().all()
            broken = connection.execute(text("PRAGMA foreign_key_check")).all()
        found = [str(line) for line in lines if line != "ok"]
        found.extend(
            f"table {row[0]}, row {row[1]} refers to nothing in {row[2]}" for row in broken
        )
        return tuple(found)

    @contextmanager
    def _plain_words(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            # Not chained: the driver's own error may show what was sent.
            raise self._said(str(error.orig)) from None
        except UnicodeDecodeError:
            # The driver cannot even say what is wrong: a name in the file is no text.
            raise BookError(_DAMAGED.format(name=self.name), hint=_GO_BACK) from None
        except ImportError as error:
            missing = error.name or "its driver"
            message = f"{self.name} needs the Python package {missing}, which is not installed"
            raise BookError(message, hint=f"Install {missing}.") from None

    def _said(self, complaint: str) -> BookError:
        for secret in self.secrets:
            complaint = complaint.replace(secret, "***")
        lowered = complaint.casefold()
        for signs, message, hint in _COMPLAINTS:
            if any(sign in lowered for sign in signs):
                return BookError(
                    message.format(name=self.name, wait=f"{self.patience_s:g}"), hint=hint
                )
        return BookError(f"{self.name}: the book cannot be used: {complaint}")


def insert_columns(
    connection: Connection,
    table: Table,
    names: Sequence[str],
    columns: "Sequence[Coded]",
) -> None:
    """Insert many rows, given as columns in the order of `names`.

    `Connection.execute` makes a dict of every row and takes it apart again, which costs more
    than the database does; a driver that takes tuples is handed them, many rows in each.
    """
    if not columns or not len(columns[0]):
        return
    # A column of blanks need not be said: most sheets fill few of the columns there are.
    said = [place for place, values in enumerate(columns) if not values.is_blank()]
    names, columns = [names[place] for place in said], [columns[place] for place in said]
    compiled = insert(table).compile(dialect=connection.dialect, column_keys=list(names))
    if not compiled.positional or list(compiled.positiontup or ()) != list(names):
        rows = _grid(columns).tolist()
        connection.execute(insert(table), [dict(zip(names, row, strict=True)) for row in rows])
        return
    grid = _grid(
        [
            _bound(table.c[name].type, connection.dialect, values)
            for name, values in zip(names, columns, strict=True)
        ]
    )
    head, group = str(compiled).rsplit(" VALUES ", 1)
    together = max(_MOST_VALUES // len(names), 1)
    whole = len(grid) // together * together
    for rows, height in ((grid[:whole], together), (grid[whole:], 1)):
        if len(rows):
            sent = list(map(tuple, rows.reshape(-1, height * len(names)).tolist()))
            connection.exec_driver_sql(f"{head} VALUES {', '.join([group] * height)}", sent)


def _grid(columns: "Sequence[Coded]") -> npt.NDArray[np.object_]:
    """Return columns side by side."""
    grid = np.empty((len(columns[0]), len(columns)), dtype=object)
    for place, values in enumerate(columns):
        grid[:, place] = values.array()
    return grid


def _bound(kind: TypeEngine[Any], dialect: Dialect, coded: "Coded") -> "Coded":
    """Return values as the driver takes them; each distinct one is converted once."""
    convert = kind.dialect_impl(dialect).bind_processor(dialect)
    if convert is None:
        return coded
    return replace(coded, values=[convert(value) for value in coded.values])


@contextmanager
def legible(name: str) -> Iterator[None]:
    """Say that the book is damaged where it holds values that are none.

    A changed byte can leave a file that is sound to the database program and holds a date that
    is no date.
    """
    try:
        yield
    except (ValueError, TypeError, KeyError) as error:
        message = f"{name} is damaged: it holds a value that cannot be read ({error})"
        raise BookError(message, hint=_GO_BACK) from error


_GO_BACK = "Go back to the last good copy of the book and log the newer sheets again."

_DAMAGED = "{name} is damaged"

_COMPLAINTS = (
    (
        ("is locked", "lock timeout", "could not obtain lock"),
        "{name} is being written by someone else; gave up after {wait} s, nothing was changed",
        "Try again when the other import has ended.",
    ),
    (
        ("readonly", "read-only"),
        "{name} is read-only (the file, its folder or the connection); nothing was changed",
        "Copy the book to a place where you may write, or ask for the right to write.",
    ),
    (
        ("malformed", "not a database", "could not decode", "unsupported file format"),
        _DAMAGED,
        _GO_BACK,
    ),
    (
        ("disk is full", "no space left"),
        "{name}: there is no room left on the disk; nothing was changed",
        "Make room and log again.",
    ),
    (
        ("password", "role ", "permission denied"),
        "{name}: the database server does not let this name in with this password",
        "Check name, password and rights; the password may stand in the environment, PGPASSWORD.",
    ),
    (
        ("connection", "could not translate", "shutting down", "starting up"),
        "{name}: the database server cannot be reached, or went away; nothing was changed",
        "Check the server and the address, and try again.",
    ),
    (
        ("unable to open", "disk i/o error", "authorization"),
        "{name} cannot be opened or read",
        "Check that the file is there, is a file, and that you may read it and its folder.",
    ),
)


def store_at(path_or_url: str | Path, *, patience_s: float) -> Store:
    """Return the store at a path or database URL; nothing is read yet.

    Parameters
    ----------
    path_or_url : str or Path
        A path, or a text with `://` in it.
    patience_s : float
        How long to wait for another writer, in seconds.

    Raises
    ------
    BookError
        Missing file, not an SQLite file, a URL that cannot be read, no driver.
    """
    place = place_of(path_or_url)
    if isinstance(place, URL):
        return store_at_url(place, patience_s)
    _look_at(place)
    return sqlite_store(place, patience_s)


def _look_at(path: Path) -> None:
    try:
        with path.open("rb") as file:
            start = file.read(len(_SQLITE_HEADER))
    except FileNotFoundError:
        message = f"there is no book {path.name}"
        raise BookError(message, hint="Check the name, or make a new book.") from None
    except OSError as error:
        message = f"{path.name} cannot be read: {error.strerror}"
        raise BookError(message, hint="A book is one file; check that you may read it.") from None
    if start != _SQLITE_HEADER:
        what = "is empty" if not start else "is not an SQLite file"
        message = f"{path.name} is no book: it {what}"
        hint = "A sheet of records is logged into a book; it is not the book itself."
        raise BookError(message, hint=hint if start else "Delete it and make the book anew.")


def sqlite_store(path: Path, patience_s: float, *, name: str = "") -> Store:
    """Return the store in a file that is there; `name`: as shown, if not the file's."""
    # mode=rw: never make an empty file where the book has gone missing.
    uri = f"file:{quote(str(path.absolute()))}?mode=rw"

    def dial() -> sqlite3.Connection:
        return sqlite3.connect(uri, uri=True, timeout=patience_s)

    engine = create_engine("sqlite://", creator=dial, poolclass=NullPool, hide_parameters=True)
    _prepare_sqlite(engine)
    return Store(engine, name or path.name, patience_s)


def store_at_url(url: URL, patience_s: float) -> Store:
    """Return the store a URL names.

    Raises
    ------
    BookError
        No such kind of database, or no driver.
    """
    shown = shown_place(url)
    arguments = {"timeout": patience_s} if url.get_backend_name() == "sqlite" else {}
    try:
        engine = create_engine(
            url, poolclass=NullPool, hide_parameters=True, connect_args=arguments
        )
    except (ArgumentError, NoSuchModuleError, ImportError):
        message = f"{shown}: this kind of database, or its driver, is not installed"
        raise BookError(message, hint="Install the driver the URL names.") from None
    if engine.dialect.name == "sqlite":
        _prepare_sqlite(engine)
    return Store(engine, shown, patience_s, secrets_of(url))


def _prepare_sqlite(engine: Engine) -> None:
    @event.listens_for(engine, "connect")
    def on_connect(dbapi: DBAPIConnection, _entry: ConnectionPoolEntry) -> None:
        # Transactions are opened below; the driver must not open its own.
        dbapi.isolation_level = None
        cursor = dbapi.cursor()
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.close()

    @event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        # A writer takes the lock before it reads, so that what it read still holds.
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

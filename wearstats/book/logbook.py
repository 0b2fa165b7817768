"""The durable logbook: one file, everything ever logged, and how it got there."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import TYPE_CHECKING, Self

from sqlalchemy import Connection, insert

from wearstats.book.about import meta
from wearstats.book.store import Store, store_at
from wearstats.book.tables import COSTS, HISTORY, META, METADATA, SCHEMA_VERSION
from wearstats.errors import BookError, UsageError

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.book.importing import Progress
    from wearstats.book.results import AsideItem, ImportResult
    from wearstats.records.costs import Costs
    from wearstats.records.kinds import Settings
    from wearstats.records.season import Season

# What takes sheets in, and what hands frames out, is loaded by the methods that need it: to log
# a sheet takes no pandas, to read a book no reader of sheets.

_NOBODY: Mapping[str, str] = MappingProxyType({})
_PATIENCE_S = 30.0


def utc_now() -> datetime:
    """Return the time of day, in UTC: the one place where the book asks for it."""
    return datetime.now(UTC)


class Book:
    r"""A logbook in one SQLite file, or in a database a URL names.

    Made by `Book.create` or `Book.open`; a context manager.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     sheet = Path(folder, "runs.csv")
    ...     text = "date,unit,boost (psi)\n2026-05-03,K2,38\nsoon,K2,37\n"
    ...     characters = sheet.write_text(text)
    ...     with Book.create(Path(folder, "season.db")) as book:
    ...         result = book.log(sheet)
    >>> result.rows_read, result.logged, result.already_there, result.set_aside
    (2, 1, 0, 1)
    """

    def __init__(self, store: Store, clock: Callable[[], datetime]) -> None:
        self._store = store
        self._clock = clock

    def __repr__(self) -> str:
        return f"Book({self._store.name!r})"

    @classmethod
    def create(
        cls,
        path_or_url: str | Path,
        simulated: bool = False,  # noqa: FBT001, FBT002 - said by name everywhere
        *,
        clock: Callable[[], datetime] = utc_now,
        patience_s: float = _PATIENCE_S,
    ) -> Self:
        """Make a new book.

        Parameters
        ----------
        path_or_url : str or Path
            A path, or a database URL. A file that is there already is never overwritten.
        simulated : bool
            Whether its records are made up; shown wherever they are.
        clock : callable
            Gives the time written beside imports.
        patience_s : float
            How long to wait for another writer, in seconds.

        Raises
        ------
        BookError
            The file is there already, or cannot be made.
        """
        from wearstats.book.making import make

        about = {
            "made_by": "wearstats",
            "schema": str(SCHEMA_VERSION),
            "simulated": "true" if simulated else "false",
            "created_utc": _text(clock()),
        }

        def fill(connection: Connection) -> None:
            METADATA.create_all(connection, checkfirst=False)
            rows = [{"name": name, "value": value} for name, value in about.items()]
            connection.execute(insert(META), rows)

        return cls(make(path_or_url, patience_s, fill), clock)

    @classmethod
    def open_or_create(
        cls,
        path_or_url: str | Path,
        *,
        clock: Callable[[], datetime] = utc_now,
        patience_s: float = _PATIENCE_S,
    ) -> Self:
        """Open a book, or make it where there is no file, or no table in the database.

        Raises
        ------
        BookError
            As `open` and `create`.
        """
        from wearstats.book.making import TakenError, is_there

        if not is_there(path_or_url, patience_s):
            with suppress(TakenError):  # somebody else was quicker
                return cls.create(path_or_url, clock=clock, patience_s=patience_s)
        return cls.open(path_or_url, clock=clock, patience_s=patience_s)

    @classmethod
    def open(
        cls,
        path_or_url: str | Path,
        *,
        clock: Callable[[], datetime] = utc_now,
        patience_s: float = _PATIENCE_S,
    ) -> Self:
        """Open a book that is there.

        Raises
        ------
        BookError
            Missing, no book, damaged, or made by a newer version.
        """
        store = store_at(path_or_url, patience_s=patience_s)
        present = store.columns_present()
        foreign = f"{store.name} is no book of this program"
        if not {"name", "value"} <= present.get("meta", frozenset()):
            raise BookError(foreign, hint="Check the name, or make a new book.")
        with store.reading() as connection:
            about = meta(connection)
        if about.get("made_by") != "wearstats":
            raise BookError(foreign, hint="Check the name, or make a new book.")
        if _older(about.get("schema", ""), store.name):
            from wearstats.book.migrations import bring_up

            with store.writing() as connection:
                # Looked up again: somebody else may have brought it up meanwhile.
                version = meta(connection)["schema"]
                bring_up(connection, int(version), store.name)
            present = store.columns_present()
        missing = _columns_missing(present)
        if missing:
            table, columns = next(iter(missing.items()))
            message = f"{store.name} is damaged: table {table} lacks {', '.join(sorted(columns))}"
            raise BookError(message, hint="Go back to the last good copy of the book.")
        return cls(store, clock)

    def close(self) -> None:
        """Let go of the file."""
        self._store.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def log(
        self,
        path: str | Path,
        *,
        settings: "Settings | None" = None,
        amend: bool = False,
        join: Mapping[str, str] = _NOBODY,
        apart: Sequence[str] = (),
        on_progress: "Progress | None" = None,
    ) -> "ImportResult":
        """Take a file of records into the book: all of it, or nothing.

        A row whose record is there already changes nothing where it says the same, completes
        the record where it fills blanks, and is set aside where it says otherwise.

        Parameters
        ----------
        path : str or Path
            CSV, TSV, XLSX or Parquet.
        settings : Settings, optional
            How the file is to be read.
        amend : bool
            Let this file's values stand where they contradict the book; the old ones stay in
            the history. Two rows of the file that disagree are set aside all the same.
        join : mapping of str to str
            Spelling to the unit it stands for; kept, so that it is asked once.
        apart : sequence of str
            Names that are units of their own though they resemble another; kept.
        on_progress : callable, optional
            Called with the sheet's name and the rows read of it so far.

        Returns
        -------
        ImportResult
            `rows_read == logged + already_there + set_aside`, for each sheet and in all.

        Raises
        ------
        RecordError
            The file cannot be read at all.
        UsageError
            `join` or `apart` cannot be kept.
        BookError
            The book is in use, read-only or damaged.
        """
        from wearstats.book.importing import Request, take_in
        from wearstats.records.kinds import Settings

        request = Request(
            Path(path),
            Settings() if settings is None else settings,
            amend,
            join,
            apart,
            on_progress,
        )
        with self._store.writing() as connection:
            return take_in(connection, request, self._now())

    def season(self, *, with_costs: bool = True) -> "Season":
        """Return every record in the book, sorted by key.

        Parameters
        ----------
        with_costs : bool
            False leaves out what restrips and burn-throughs cost: lives need no prices, and
            what checks them takes longer to load than all records to read.
        """
        from wearstats.book import reading

        with self._store.reading() as connection:
            return reading.season(connection, with_costs=with_costs)

    def aside(self, state: str | None = "open") -> "list[AsideItem]":
        """Return rows set aside; `state` "open", "mended", "discarded", or None for all."""
        from wearstats.book import asides

        if state not in {asides.OPEN, asides.MENDED, asides.DISCARDED, None}:
            message = f"a row set aside is open, mended or discarded, not {state!r}"
            raise UsageError(message)
        with self._store.reading() as connection:
            return asides.items(connection, state)

    def write_aside(self, path: str | Path) -> None:
        """Write the open rows as a sheet (.xlsx or .csv) to be mended and logged again."""
        from wearstats.book.export import write_aside

        write_aside(Path(path), self.aside())

    def discard(self, ids: Sequence[int], why: str) -> None:
        """Give up rows set aside, for a stated reason; they stay in the book."""
        from wearstats.book import asides

        with self._store.writing() as connection:
            asides.discard(connection, ids, why, self._now())

    def imports(self) -> "pd.DataFrame":
        """Return one row for each sheet of each import, oldest first."""
        from wearstats.book import reading

        with self._store.reading() as connection:
            return reading.imports(connection)

    def history(self) -> "pd.DataFrame":
        """Return every value that was completed, amended or set anew, oldest first."""
        from wearstats.book import reading

        with self._store.reading() as connection:
            return reading.history(connection)

    def spellings(self) -> tuple[dict[str, str], frozenset[str]]:
        """Return names that stand for another unit, and names that stand apart."""
        from wearstats.book.spellings import decisions

        with self._store.reading() as connection:
            return decisions(connection)

    def set_costs(self, costs: "Costs") -> None:
        """Set what restrips and burn-throughs cost; the costs before stay in the history."""
        from wearstats.book import reading
        from wearstats.book.values import as_json

        with self._store.writing() as connection:
            now = self._now()
            old = reading.costs(connection)
            if old == costs:
                return
            before = {} if old is None else old.model_dump()
            for name, value in costs.model_dump().items():
                if before.get(name) != value:
                    connection.execute(
                        insert(HISTORY).values(
                            kind="costs",
                            record="[]",
                            field=name,
                            old=as_json([before.get(name)]),
                            new=as_json([value]),
                            why="set anew",
                            when_utc=now,
                        )
                    )
            connection.execute(insert(COSTS).values(costs=costs.model_dump_json(), when_utc=now))

    def check(self) -> tuple[str, ...]:
        """Return what is wrong with the file itself; empty if it is sound."""
        return self._store.faults()

    def _now(self) -> str:
        return _text(self._clock())


def _text(time: datetime) -> str:
    return time.astimezone(UTC).isoformat(timespec="seconds")


def _older(version: str, name: str) -> bool:
    """Tell whether a book was written by an older version; refuse one of a newer.

    Raises
    ------
    BookError
    """
    known = version.isascii() and version.isdigit() and 0 < int(version) <= SCHEMA_VERSION
    if not known:
        message = (
            f"{name} is written in version {version} of the book; "
            f"this program knows versions up to {SCHEMA_VERSION}"
        )
        raise BookError(message, hint="Install the version of wearstats that wrote it.")
    return int(version) < SCHEMA_VERSION


def _columns_missing(present: Mapping[str, frozenset[str]]) -> dict[str, frozenset[str]]:
    """Return the columns each table should have and has not."""
    wanted = {name: frozenset(table.columns.keys()) for name, table in METADATA.tables.items()}
    return {
        name: columns - present.get(name, frozenset())
        for name, columns in wanted.items()
        if columns - present.get(name, frozenset())
    }

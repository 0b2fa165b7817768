"""From the book as an older version wrote it to the book as this one reads it, step by step.

Every step is one entry of `STEPS`, under the version it leads to, and stays for good. A book of
each version that was released lies in `tests/contracts/data` and must open.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from sqlalchemy import Connection, inspect, text, update

from wearstats.book.tables import META, METADATA, SCHEMA_VERSION
from wearstats.errors import BookError

Step = Callable[[Connection], None]


def add_columns(connection: Connection) -> None:
    """Add the columns a table has not yet; records logged before are blank there."""
    inspector = inspect(connection)
    quote = connection.dialect.identifier_preparer.quote
    for table in METADATA.sorted_tables:
        present = {column["name"] for column in inspector.get_columns(table.name)}
        for column in table.columns:
            if column.name not in present:
                kind = column.type.compile(dialect=connection.dialect)
                words = f"ALTER TABLE {quote(table.name)} ADD COLUMN {quote(column.name)} {kind}"
                connection.execute(text(words))


STEPS: Mapping[int, Step] = MappingProxyType({})
"""What leads to each version from the one before: none yet, there is one version."""


def bring_up(connection: Connection, version: int, name: str) -> None:
    """Bring a book to this version, inside the one transaction of the connection.

    Raises
    ------
    BookError
        No step leads on from its version.
    """
    for following in range(version + 1, SCHEMA_VERSION + 1):
        step = STEPS.get(following)
        if step is None:
            message = f"{name} is written in version {version} of the book, which is not known"
            raise BookError(message, hint="Go back to the last good copy of the book.")
        step(connection)
    connection.execute(
        update(META).where(META.c.name == "schema").values(value=str(SCHEMA_VERSION))
    )

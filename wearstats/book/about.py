"""What a book says of itself."""

from sqlalchemy import Connection, select

from wearstats.book.tables import META


def meta(connection: Connection) -> dict[str, str]:
    """Return what the book says of itself."""
    return {row.name: row.value for row in connection.execute(select(META))}

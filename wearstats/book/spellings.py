"""Which spellings of a unit's name are one unit, decided once by the shop and kept."""

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import Connection, func, insert, select, update

from wearstats.book.asides import Import
from wearstats.book.tables import HISTORY, RECORDS, SPELLINGS
from wearstats.book.values import as_json, clean_text
from wearstats.errors import UsageError
from wearstats.records.findings import Finding, Severity
from wearstats.records.spellings import UnitSpellings


def decisions(connection: Connection) -> tuple[dict[str, str], frozenset[str]]:
    """Return what was decided: names that stand for another unit, names that stand apart."""
    joined: dict[str, str] = {}
    apart = set()
    for written, unit in connection.execute(
        select(SPELLINGS.c.written, SPELLINGS.c.unit).order_by(SPELLINGS.c.written)
    ):
        if unit is None:
            apart.add(written)
        else:
            joined[written] = unit
    return joined, frozenset(apart)


def unit_spellings(connection: Connection) -> UnitSpellings:
    """Return what the reader needs: the ids in the book, first logged first, and decisions."""
    joined, apart = decisions(connection)
    first: dict[str, tuple[int, int]] = {}
    for table in RECORDS.values():
        query = select(
            table.c.unit, func.min(table.c.import_sheet_id), func.min(table.c.id)
        ).group_by(table.c.unit)
        for unit, sheet, row in connection.execute(query):
            first[unit] = min(first.get(unit, (sheet, row)), (sheet, row))
    return UnitSpellings(sorted(first, key=lambda unit: (first[unit], unit)), joined, apart)


def decide(importing: Import, join: Mapping[str, str], apart: Sequence[str]) -> tuple[Finding, ...]:
    """Keep new decisions, and what they replace in the history.

    Returns
    -------
    tuple of Finding
        A note for each name that stood for another unit, under which rows may be logged.

    Raises
    ------
    UsageError
        A name joined to itself, in a ring or both joined and apart; a name with records of its
        own, which would have to be rewritten.
    """
    new = _stated(join, apart)
    if not new:
        return ()
    notes: list[Finding] = []
    joined, held_apart = decisions(importing.connection)
    held: dict[str, str | None] = {**joined, **dict.fromkeys(held_apart)}
    after = {**held, **new}
    # Every name ends at the unit that stays, also one joined long ago to a name joined now.
    settled = {
        written: unit if unit is None else _end(unit, after, written)
        for written, unit in after.items()
    }
    for written, unit in settled.items():
        if unit is not None and written in new:
            _refuse_if_logged(importing.connection, written, unit)
        if written not in held:
            importing.connection.execute(
                insert(SPELLINGS).values(written=written, unit=unit, import_id=importing.number)
            )
        elif held[written] != unit:
            _replace(importing, written, held[written], unit)
            notes.extend(_stays(importing, written, held[written]))
    return tuple(notes)


def _stays(importing: Import, written: str, old: str | None) -> Iterator[Finding]:
    rows = 0 if old is None else _rows_under(importing.connection, old)
    if rows:
        message = (
            f"{written!r} stood for {old!r} until now; what was logged under it before stays "
            f"among the {rows} rows of {old!r}"
        )
        yield Finding("spelling-anew", message, Severity.NOTE, importing.file, value=written)


def _stated(join: Mapping[str, str], apart: Sequence[str]) -> dict[str, str | None]:
    stated: dict[str, str | None] = {
        clean_text(written): clean_text(unit) for written, unit in join.items()
    }
    for written in map(clean_text, apart):
        if stated.get(written) is not None:
            message = f"{written!r} cannot be joined to another unit and stand apart"
            raise UsageError(message)
        stated[written] = None
    return stated


def _end(unit: str, after: Mapping[str, str | None], start: str) -> str:
    """Follow names to the unit they end at."""
    passed = [start]
    while (further := after.get(unit)) is not None or unit in passed:
        if unit in passed or further is None:
            message = f"joined in a ring: {' = '.join([*passed, unit])}"
            raise UsageError(message, hint="Join each spelling to the id that stays.")
        passed.append(unit)
        unit = further
    return unit


def _refuse_if_logged(connection: Connection, written: str, unit: str) -> None:
    rows = _rows_under(connection, written)
    if rows:
        message = (
            f"{written!r} cannot be joined to {unit!r}: "
            f"the book holds {rows} rows under {written!r}"
        )
        raise UsageError(message, hint=f"Join {unit!r} to {written!r} instead.")


def _rows_under(connection: Connection, unit: str) -> int:
    return sum(
        connection.execute(
            select(func.count()).select_from(table).where(table.c.unit == unit)
        ).scalar_one()
        for table in RECORDS.values()
    )


def _replace(importing: Import, written: str, old: str | None, new: str | None) -> None:
    importing.connection.execute(
        update(SPELLINGS)
        .where(SPELLINGS.c.written == written)
        .values(unit=new, import_id=importing.number)
    )
    importing.connection.execute(
        insert(HISTORY).values(
            kind="spellings",
            record=as_json([written]),
            field="unit",
            old=as_json([old]),
            new=as_json([new]),
            why="decided anew",
            when_utc=importing.when_utc,
        )
    )

"""What is asked of the database: any database could be asked it, and the index answers."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, event, insert, select
from sqlalchemy.dialects import registry
from sqlalchemy.engine.interfaces import DBAPICursor, ExecutionContext

from wearstats.book import Book
from wearstats.book.store import insert_columns
from wearstats.book.tables import METADATA
from wearstats.records.coded import Coded
from wearstats.records.costs import Costs

HEAD = "date,unit,run,boost (psi),strips\n"
FIRST = HEAD + "2026-05-03,K2,1,38,\n2026-05-03,K3,1,39,\nsoon,K3,1,39,\n"
SECOND = HEAD + "2026-05-03,K2,1,38,sound\n2026-05-03,K3,1,41,\n2026-05-04,K2,1,40,\n"


@contextmanager
def listening() -> Iterator[list[tuple[str, object, object]]]:
    heard: list[tuple[str, object, object]] = []

    def on_execute(
        _connection: object,
        _cursor: DBAPICursor,
        statement: str,
        parameters: object,
        context: ExecutionContext | None,
        _many: object,
    ) -> None:
        compiled = getattr(context, "compiled", None)
        heard.append((statement, parameters, getattr(compiled, "statement", None)))

    event.listen(Engine, "before_cursor_execute", on_execute)
    try:
        yield heard
    finally:
        event.remove(Engine, "before_cursor_execute", on_execute)


def use_everything(folder: Path) -> Path:
    path, file = folder / "season.db", folder / "runs.csv"
    with Book.create(path) as book:
        for text in (FIRST, SECOND):
            file.write_text(text, encoding="utf-8")
            book.log(file, amend=text == SECOND, join={"K 2": "K2"}, apart=["k-3"])
        units = folder / "units.csv"
        for text in ("unit,lobes\nK2,3\n", "unit,lobes\nK2,3\nK3,2\n"):
            units.write_text(text, encoding="utf-8")
            book.log(units)
        book.set_costs(Costs(planned=900, burn_through=14_000))
        book.write_aside(folder / "mend.csv")
        book.log(folder / "mend.csv")
        book.discard([item.number for item in book.aside()], "typed twice")
        book.season()
        book.imports()
        book.history()
        book.spellings()
    return path


def test_every_statement_can_be_put_to_postgresql(tmp_path: Path) -> None:
    with listening() as heard:
        use_everything(tmp_path)
    dialect = registry.load("postgresql")()
    plain, inserted = set(), set()
    for text, _, statement in heard:
        if statement is None and text.startswith("INSERT INTO "):
            # Compiled by `insert_columns`, from the statement that is put here.
            table = METADATA.tables[text.split()[2]]
            assert str(insert(table).compile(dialect=dialect))
            inserted.add(table.name)
        elif statement is None:
            plain.add(text.split("(")[0])
        else:
            assert str(statement.compile(dialect=dialect))  # type: ignore[attr-defined]  # a clause
    # The rest is SQLAlchemy's own look at what tables there are, and what `store` says.
    own = {text for text in plain if "sqlite_master" not in text and "PRAGMA main." not in text}
    assert own == {"BEGIN", "BEGIN IMMEDIATE"}
    assert inserted == {"runs", "units"}


@pytest.mark.parametrize("paramstyle", ["qmark", "named"], ids=["tuples", "dicts"])
def test_rows_go_in_alike_whatever_the_driver_takes(paramstyle: str) -> None:
    engine = create_engine("sqlite://", paramstyle=paramstyle)
    table = METADATA.tables["units"]
    rows = [
        ("K1", 3, date(2026, 5, 3), None),
        ("K2", 2, None, "x"),
        ("K3", 3, date(2026, 5, 3), ""),
    ]
    rows += [(f"L{number}", 2, None, None) for number in range(300)]  # more than go in at once
    names = ("unit", "lobes", "taken_in", "remark")
    whole = [(*row, 1, number, 0) for number, row in enumerate(rows)]
    with engine.begin() as connection:
        METADATA.create_all(connection)
        all_names = (*names, "import_sheet_id", "source_row", "changes")
        columns = [Coded.one_each(values) for values in zip(*whole, strict=True)]
        insert_columns(connection, table, all_names, columns)
        insert_columns(connection, table, names, [Coded.one_each([]) for _ in names])
        held = connection.execute(select(*(table.c[name] for name in names))).all()
    engine.dispose()
    assert [tuple(row) for row in held] == rows


def test_records_are_fetched_by_the_index_of_their_key(tmp_path: Path) -> None:
    with listening() as heard:
        path = use_everything(tmp_path)
    asked = [
        (text, parameters)
        for text, parameters, _ in heard
        if text.startswith("SELECT") and "source_row" in text and "changes" in text
    ]
    assert len(asked) >= 3
    held = sqlite3.connect(path)
    try:
        for text, parameters in asked:
            plan = held.execute(f"EXPLAIN QUERY PLAN {text}", parameters).fetchall()  # type: ignore[arg-type]  # as sent
            assert all(str(step[-1]).startswith("SEARCH") for step in plan), plan
    finally:
        held.close()

"""The tables follow the schema, hold one record a key, and read the same in any database."""

from datetime import date

import pytest
from sqlalchemy import UniqueConstraint, create_engine, insert
from sqlalchemy.dialects import registry
from sqlalchemy.exc import IntegrityError
from sqlalchemy.schema import CreateIndex, CreateTable

from wearstats.book.tables import METADATA, NO_NUMBER, RECORDS
from wearstats.records.schema import SHEETS


@pytest.mark.parametrize("kind", SHEETS)
def test_a_sheet_has_its_fields_as_columns_and_its_key_as_constraint(kind: str) -> None:
    table = RECORDS[kind]
    assert set(SHEETS[kind].fields) <= set(table.columns.keys())
    (unique,) = (held for held in table.constraints if isinstance(held, UniqueConstraint))
    assert tuple(unique.columns.keys()) == SHEETS[kind].key_fields
    assert not any(table.c[name].nullable for name in SHEETS[kind].key_fields)


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_every_table_can_be_made_in_either_database(database: str) -> None:
    dialect = registry.load(database)()
    for table in METADATA.sorted_tables:
        made = str(CreateTable(table).compile(dialect=dialect))
        assert table.name in made
        for index in table.indexes:
            assert str(CreateIndex(index).compile(dialect=dialect))


def test_two_records_with_the_same_blank_in_their_key_cannot_stand_side_by_side() -> None:
    engine = create_engine("sqlite://")
    METADATA.create_all(engine)
    row = {
        "date": date(2026, 5, 3),
        "unit": "K2",
        "after_run": NO_NUMBER,
        "import_sheet_id": 1,
        "source_row": 2,
        "changes": 0,
    }
    with engine.begin() as connection:
        connection.execute(insert(RECORDS["restrips"]), row)
        with pytest.raises(IntegrityError):
            connection.execute(insert(RECORDS["restrips"]), row)
    engine.dispose()

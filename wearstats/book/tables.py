"""The book's tables, derived from the record schema.

One table for each sheet of `records.schema.SHEETS` with its fields as columns, and the book's
own tables: imports and their sheets, what was set aside, history, spellings, costs, meta.

A blank part of a record's key is kept as a sentinel (`NO_NUMBER`, `NO_TEXT`), because a unique
constraint lets any number of NULLs stand side by side. No key of the schema can hold either.
"""

from types import MappingProxyType
from typing import Any

from sqlalchemy import (
    Column,
    Date,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine

from wearstats.records.schema import SHEETS, Kind, Sheet

SCHEMA_VERSION = 1
NO_NUMBER = -1
NO_TEXT = ""

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)

META = Table(
    "meta",
    METADATA,
    Column("name", String(40), primary_key=True),
    Column("value", Text, nullable=False),
)

IMPORTS = Table(
    "imports",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("file", Text, nullable=False),
    Column("sha256", String(64), nullable=False, index=True),
    Column("when_utc", String(32), nullable=False),
    Column("amend", Integer, nullable=False),
    Column("settings", Text, nullable=False),
)

COUNTS = (
    "rows_read",
    "logged",
    "already_there",
    "set_aside",
    "amended",
    "completed",
    "mended",
)
"""What is counted of each sheet of an import, in the order shown."""

IMPORT_SHEETS = Table(
    "import_sheets",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("import_id", ForeignKey("imports.id"), nullable=False, index=True),
    Column("sheet", Text, nullable=False),
    Column("kind", String(20), nullable=False),
    *(Column(name, Integer, nullable=False) for name in COUNTS),
    Column("first_row", Integer),
    Column("last_row", Integer),
)

ASIDE = Table(
    "aside",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("import_sheet_id", ForeignKey("import_sheets.id"), nullable=False),
    Column("source_row", Integer, nullable=False),
    # What the row looked like when it was first set aside: sheet, cells and which of its equals.
    Column("fingerprint", String(64), nullable=False, index=True),
    # A list of [header, text as typed], in the order of the sheet.
    Column("cells", Text, nullable=False),
    Column("findings", Text, nullable=False),
    Column("state", String(10), nullable=False, index=True),
    Column("resolved_by_import_id", ForeignKey("imports.id")),
    Column("why", Text),
    Column("resolved_utc", String(32)),
    sqlite_autoincrement=True,  # a number once given to a person never names another row
)

HISTORY = Table(
    "history",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("kind", String(20), nullable=False),
    Column("record", Text, nullable=False),
    Column("field", Text, nullable=False),
    Column("old", Text),
    Column("new", Text),
    Column("why", Text, nullable=False),
    Column("old_import_sheet_id", ForeignKey("import_sheets.id")),
    Column("old_row", Integer),
    Column("import_sheet_id", ForeignKey("import_sheets.id")),
    Column("source_row", Integer),
    Column("when_utc", String(32), nullable=False),
    Index("ix_history_kind_record", "kind", "record"),
)

SPELLINGS = Table(
    "spellings",
    METADATA,
    Column("written", Text, primary_key=True),
    # NULL: the name stands for a unit of its own, apart from those it resembles.
    Column("unit", Text),
    Column("import_id", ForeignKey("imports.id"), nullable=False),
)

COSTS = Table(
    "costs",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("costs", Text, nullable=False),
    Column("when_utc", String(32), nullable=False),
)


def _column_type(kind: Kind) -> TypeEngine[Any]:
    if kind is Kind.DATE:
        return Date()
    if kind is Kind.COUNT:
        return Integer()
    if kind in (Kind.TEXT, Kind.CHOICE):
        return Text()
    return Double()


def _record_table(sheet: Sheet) -> Table:
    fields = [
        Column(field, _column_type(column.kind), nullable=not column.key)
        for column in sheet
        for field in column.fields
    ]
    return Table(
        sheet.name,
        METADATA,
        Column("id", Integer, primary_key=True),
        *fields,
        Column("import_sheet_id", ForeignKey("import_sheets.id"), nullable=False),
        Column("source_row", Integer, nullable=False),
        # How many of its values were completed or amended: where 0, history need not be asked.
        Column("changes", Integer, nullable=False),
        UniqueConstraint(*sheet.key_fields),
    )


RECORDS = MappingProxyType({name: _record_table(sheet) for name, sheet in SHEETS.items()})
"""The table of each kind of record, by the sheet's name."""

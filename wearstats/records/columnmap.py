"""The column map: how one person's own sheet is written, stated once in a TOML file.

sheet = "runs"
dates = "day first"
ignore = ["Driver"]

[columns]
"Blower #" = "unit"
"Tip" = { column = "tip", unit = "in" }

[units_joined]
"K 2" = "K2"
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from wearstats.records.columns import Column
from wearstats.records.dates import DateOrder
from wearstats.records.schema import SHEETS
from wearstats.records.spellings import spelling_key
from wearstats.records.tomlfiles import read_toml

_FROZEN = ConfigDict(frozen=True, extra="forbid")
SheetName = Literal["runs", "restrips", "units", "readings"]


class MappedColumn(BaseModel):
    """Where one of the writer's columns goes.

    Parameters
    ----------
    column : str
        Name of the column here.
    unit : str or None
        Unit of its bare numbers, by any of its spellings.
    """

    model_config = _FROZEN

    column: str
    unit: str | None = None


def _mapped(value: object) -> object:
    return {"column": value} if isinstance(value, str) else value


class ColumnMap(BaseModel):
    """What the writer of a sheet states about it.

    Parameters
    ----------
    sheet : str or None
        Kind of record, where neither the sheet's name nor its headers tell.
    dates : {"day first", "month first"} or None
        How dates in figures are written.
    columns : mapping of str to MappedColumn
        From the writer's header to the column here; the name alone will do.
    ignore : tuple of str
        Headers to pass over without a note; their cells are kept with the row all the same.
    units_joined : mapping of str to str
        Spellings of unit ids, and the id each stands for.

    Examples
    --------
    >>> ColumnMap.model_validate({"columns": {"Gap": {"column": "tip", "unit": '"'}}}).columns
    {'Gap': MappedColumn(column='tip', unit='in')}
    """

    model_config = _FROZEN

    sheet: SheetName | None = None
    dates: DateOrder | None = None
    columns: Mapping[str, Annotated[MappedColumn, BeforeValidator(_mapped)]] = Field(
        default_factory=dict
    )
    ignore: tuple[str, ...] = ()
    units_joined: Mapping[str, str] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _names_exist(self) -> Self:
        settled = {header: self._settled(header, to) for header, to in self.columns.items()}
        object.__setattr__(self, "columns", settled)
        return self

    def _settled(self, header: str, to: MappedColumn) -> MappedColumn:
        sheets = [SHEETS[self.sheet]] if self.sheet is not None else list(SHEETS.values())
        columns = [
            column
            for sheet in sheets
            for column in sheet
            if spelling_key(to.column) in {spelling_key(column.name), spelling_key(column.base)}
        ]
        if not columns:
            known = ", ".join(dict.fromkeys(column.name for sheet in sheets for column in sheet))
            message = (
                f"{header!r} is mapped to {to.column!r}, which is no column; there are {known}"
            )
            raise ValueError(message)
        return MappedColumn(column=columns[0].name, unit=_unit_name(header, to, columns[0]))

    def find(self, header: str) -> MappedColumn | None:
        """Return where a header goes, or None where the map does not say."""
        if header in self.columns:
            return self.columns[header]
        wanted = spelling_key(header)
        for written, to in self.columns.items():
            if spelling_key(written) == wanted:
                return to
        return None

    def ignores(self, header: str) -> bool:
        """Tell whether a header is to be passed over."""
        return spelling_key(header) in {spelling_key(written) for written in self.ignore}


def _unit_name(header: str, to: MappedColumn, column: Column) -> str | None:
    if to.unit is None:
        return None
    unit = column.quantity.spelled(to.unit) if column.quantity is not None else None
    if unit is None:
        names = (
            ", ".join(unit.name for unit in column.quantity.units) if column.quantity else "none"
        )
        message = f"{header!r}: {to.unit!r} is not a unit of {column.name}; it may be in {names}"
        raise ValueError(message)
    return unit.name


def read_column_map(path: str | Path) -> ColumnMap:
    """Read a column map from a TOML file.

    Raises
    ------
    RecordError
        Unreadable, no TOML, or a key or value that is not taken.
    """
    return read_toml(path, ColumnMap, "a column map")

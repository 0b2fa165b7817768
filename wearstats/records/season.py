"""A season: every record in canonical form, from the book or from a notebook's own frames."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from wearstats.errors import RecordError
from wearstats.records.cells import cell_text
from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.findings import Finding
from wearstats.records.schema import READINGS, RESTRIPS, RUNS, UNITS

if TYPE_CHECKING:
    from wearstats.records.costs import Costs

_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Season:
    """Records in canonical form, each frame sorted by its key with a fresh index.

    Parameters
    ----------
    runs, restrips, units, readings : DataFrame
        With the `fields` of the sheet as columns: dates as datetime64[ns] at midnight, numbers
        as float64 with NaN where missing, text as object with None where missing; `run` and
        `repeat` are never missing.
    costs : Costs or None
    simulated : bool
        Whether the records are invented; said wherever they are shown.
    """

    runs: pd.DataFrame
    restrips: pd.DataFrame
    units: pd.DataFrame
    readings: pd.DataFrame
    costs: "Costs | None" = None
    simulated: bool = False

    @classmethod
    def from_frames(
        cls,
        runs: pd.DataFrame | None = None,
        restrips: pd.DataFrame | None = None,
        units: pd.DataFrame | None = None,
        readings: pd.DataFrame | None = None,
        costs: "Costs | None" = None,
        *,
        simulated: bool = False,
    ) -> "Season":
        """Make a season of frames whose columns are fields of the schema.

        Absent frames and columns become empty ones; a blank `run` or `repeat` is filled by the
        order of the rows.

        Parameters
        ----------
        runs, restrips, units, readings : DataFrame or None
            Not changed.
        costs : Costs or None
        simulated : bool

        Raises
        ------
        RecordError
            An unknown column, a missing required one, a value that is not of its kind or
            outside its limits, a repeated key; with a finding for each.

        Examples
        --------
        >>> season = Season.from_frames(runs=pd.DataFrame({"date": ["2026-05-03"], "unit": "K1"}))
        >>> season.runs[["unit", "run"]].values.tolist()
        [['K1', 1]]
        """
        return cls(
            canonical(RUNS, runs),
            canonical(RESTRIPS, restrips),
            canonical(UNITS, units),
            canonical(READINGS, readings),
            costs,
            simulated,
        )


def canonical(sheet: Sheet, frame: pd.DataFrame | None) -> pd.DataFrame:
    """Return a frame with exactly the fields of a sheet, their types, sorted by key.

    Parameters
    ----------
    sheet : Sheet
    frame : DataFrame or None
        None for a frame without a row.

    Raises
    ------
    RecordError
    """
    given = pd.DataFrame(index=pd.RangeIndex(0)) if frame is None else frame
    _refuse(sheet, _unknown_columns(sheet, given))
    absent = not len(given.columns) and not len(given)
    if not absent:
        _refuse(sheet, _missing_columns(sheet, given))
    findings: list[Finding] = []
    columns: dict[str, pd.Series] = {}
    for column in sheet:
        for field in column.fields:
            written = given[field] if field in given.columns else None
            values, wrong = _values(column, written, len(given))
            columns[field] = values.set_axis(pd.RangeIndex(len(given)))
            findings.extend(_finding(sheet, field, message) for message in wrong)
    _refuse(sheet, findings)
    result = pd.DataFrame(columns, index=pd.RangeIndex(len(given)))
    if sheet.counted is not None:
        result[sheet.counted] = _counted(sheet, result)
    return _keyed(sheet, result)


def _refuse(sheet: Sheet, findings: list[Finding]) -> None:
    if findings:
        message = "; ".join(finding.message for finding in findings)
        whole = f"{sheet.name}: {message}"
        raise RecordError(whole, findings=findings)


def _finding(sheet: Sheet, field: str, message: str) -> Finding:
    return Finding("frame", message, sheet=sheet.name, column=field)


def _unknown_columns(sheet: Sheet, frame: pd.DataFrame) -> list[Finding]:
    fields = set(sheet.fields)
    names = [str(name) for name in frame.columns]
    known = ", ".join(sheet.fields)
    unknown = [
        _finding(sheet, name, f"{name!r} is no column; there are {known}")
        for name in names
        if name not in fields
    ]
    twice = {name for name in names if names.count(name) > 1}
    return [
        *unknown,
        *(_finding(sheet, name, f"{name!r} is there twice") for name in sorted(twice)),
    ]


def _missing_columns(sheet: Sheet, frame: pd.DataFrame) -> list[Finding]:
    return [
        _finding(sheet, field, f"the column {field!r} must be there")
        for column in sheet.required
        for field in column.fields
        if field not in frame.columns
    ]


def _values(column: Column, written: pd.Series | None, size: int) -> tuple[pd.Series, list[str]]:
    """Return the values of a field, and what is wrong with them."""
    if column.kind is Kind.DATE:
        values, wrong = _dates(written, size)
    elif column.kind in {Kind.TEXT, Kind.CHOICE}:
        values, wrong = _texts(column, written, size)
    else:
        values, wrong = _numbers(column, written, size)
    if column.required and values.isna().any():
        wrong = [*wrong, f"{column.name} is missing in {int(values.isna().sum())} rows"]
    return values, wrong


def _examples(written: pd.Series, bad: pd.Series) -> str:
    shown = written[bad.to_numpy()].head(_SHOWN)
    return ", ".join(f"{value!r} (index {label!r})" for label, value in shown.items())


def _dates(written: pd.Series | None, size: int) -> tuple[pd.Series, list[str]]:
    if written is None:
        return pd.Series(pd.NaT, index=range(size), dtype="datetime64[ns]"), []
    if isinstance(written.dtype, pd.DatetimeTZDtype):
        written = written.dt.tz_localize(None)
    if pd.api.types.is_datetime64_dtype(written.dtype):
        return written.astype("datetime64[ns]").dt.normalize(), []
    if pd.api.types.is_numeric_dtype(written.dtype) and written.notna().any():
        return _dates(None, size)[0], [f"{written.name} holds numbers; expected dates"]
    values = pd.to_datetime(written.astype("object"), format="ISO8601", errors="coerce", utc=True)
    bad = values.isna() & written.notna()
    wrong = [f"{written.name}: not dates: {_examples(written, bad)}"] if bad.any() else []
    return values.dt.tz_localize(None).astype("datetime64[ns]").dt.normalize(), wrong


def _texts(column: Column, written: pd.Series | None, size: int) -> tuple[pd.Series, list[str]]:
    if written is None:
        return pd.Series([None] * size, dtype="object"), []
    blank = written.isna().to_numpy()
    listed = [
        None if missing else cell_text(value) or None
        for value, missing in zip(written.tolist(), blank, strict=True)
    ]
    values = pd.Series(listed, dtype="object")
    if column.choices is None:
        return values, []
    bad = values.notna() & ~values.isin(list(column.choices))
    words = ", ".join(column.choices)
    wrong = [f"{column.name}: not one of {words}: {_examples(written, bad)}"] if bad.any() else []
    return values, wrong


def _numbers(column: Column, written: pd.Series | None, size: int) -> tuple[pd.Series, list[str]]:
    if written is None:
        return pd.Series(np.nan, index=range(size), dtype="float64"), []
    values = pd.to_numeric(written, errors="coerce").astype("float64")
    bad = (values.isna() & written.notna()) | np.isinf(values)
    if pd.api.types.is_bool_dtype(written.dtype) and len(written):
        bad = pd.Series(data=True, index=written.index)
    if bad.any():
        return values, [f"{written.name}: not numbers: {_examples(written, bad)}"]
    low, high = column.limits or (-np.inf, np.inf)
    # A bound a hair away is the rounding of a conversion between units.
    outside = (values < low - 1e-9) | (values > high + 1e-9)
    if column.kind is Kind.COUNT:
        outside |= values.notna() & (values % 1 != 0)
    wrong = (
        [f"{written.name}: outside {low:g} to {high:g}: {_examples(written, outside)}"]
        if outside.any()
        else []
    )
    return values, wrong


def _counted(sheet: Sheet, frame: pd.DataFrame) -> pd.Series:
    """Fill the place of rows among their like by the order they come in."""
    name = str(sheet.counted)
    blank = frame[name].isna()
    if blank.any():
        alike = [field for field in sheet.key_fields if field != name]
        groups = frame.groupby(alike, sort=False, dropna=False)
        share = blank.groupby(groups.ngroup()).transform("mean")
        if ((share > 0) & (share < 1)).any():
            message = f"some rows alike in {', '.join(alike)} give {name!r} and others do not"
            _refuse(sheet, [_finding(sheet, name, message)])
        return frame[name].fillna(groups.cumcount() + 1).astype("int64")
    return frame[name].astype("int64")


def _keyed(sheet: Sheet, frame: pd.DataFrame) -> pd.DataFrame:
    keys = list(sheet.key_fields)
    again = frame.duplicated(keys)
    if again.any():
        shown = frame.loc[again, keys].head(_SHOWN).astype(str).agg(", ".join, axis=1).tolist()
        message = f"{int(again.sum())} rows have the same {', '.join(keys)} as another: {shown}"
        _refuse(sheet, [_finding(sheet, keys[0], message)])
    return frame.sort_values(keys, kind="stable", ignore_index=True)

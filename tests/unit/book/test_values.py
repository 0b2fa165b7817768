"""Frames go into the book and come out as they were."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from wearstats.book.reading import frame_of
from wearstats.book.values import Keeping, Row, clean_text, record_name, shown
from wearstats.errors import BookError
from wearstats.records.coded import Coded
from wearstats.records.schema import READINGS, RESTRIPS, RUNS, SHEETS, Kind


def blank_frame(kind: str, rows: int) -> pd.DataFrame:
    columns: dict[str, object] = {}
    for column in SHEETS[kind]:
        for name in column.fields:
            if column.kind is Kind.DATE:
                columns[name] = pd.Series([pd.NaT] * rows, dtype="datetime64[ns]")
            elif column.kind in (Kind.TEXT, Kind.CHOICE):
                columns[name] = pd.Series([None] * rows, dtype=object)
            elif column.name == SHEETS[kind].counted:
                columns[name] = np.ones(rows, dtype="int64")
            else:
                columns[name] = np.full(rows, np.nan)
    return pd.DataFrame(columns)


def filled_frame(kind: str) -> pd.DataFrame:
    frame = blank_frame(kind, 2)
    if "date" in frame:
        frame["date"] = pd.to_datetime(["2026-05-03", "2026-05-04"])
    frame["unit"] = ["K2", "K 3"]
    return frame


def taken_of(frame: pd.DataFrame, kind: str) -> dict[str, Coded]:
    """Return a frame as a reader hands it over, each cell a value of its own."""
    columns = {}
    for name in SHEETS[kind].fields:
        values = frame[name].tolist()
        if name in frame.select_dtypes("datetime"):
            values = [None if pd.isna(value) else value.date() for value in values]
        columns[name] = Coded(values, np.arange(len(frame)))
    return columns


def rows_of(frame: pd.DataFrame, kind: str) -> list[Row]:
    return list(
        zip(*(c.listed() for c in Keeping(kind).columns_of(taken_of(frame, kind))), strict=True)
    )


@pytest.mark.parametrize("kind", SHEETS)
def test_blanks_come_out_blank(kind: str) -> None:
    frame = filled_frame(kind)
    pd.testing.assert_frame_equal(frame_of(rows_of(frame, kind), kind), frame)


@pytest.mark.parametrize("kind", SHEETS)
def test_an_empty_frame_comes_out_with_its_columns_and_types(kind: str) -> None:
    frame = blank_frame(kind, 0)
    pd.testing.assert_frame_equal(frame_of(rows_of(frame, kind), kind), frame)


def test_values_come_out_to_the_last_digit() -> None:
    frame = filled_frame("runs")
    frame["boost_psi"] = [0.1 + 0.2, 1e-17]
    frame["tip_low_thou"] = [np.nan, 8.0]
    frame["tip_high_thou"] = [2.0, np.nan]
    frame["run"] = [1, 12]
    frame["remark"] = pd.Series(["=1+1", None], dtype=object)
    pd.testing.assert_frame_equal(frame_of(rows_of(frame, "runs"), "runs"), frame)


def test_no_part_of_a_key_is_null() -> None:
    frame = filled_frame("readings")
    places = [READINGS.fields.index(name) for name in READINGS.key_fields]
    for row in rows_of(frame, "readings"):
        assert all(row[place] is not None for place in places)


def test_a_count_that_is_no_whole_number_is_refused() -> None:
    frame = filled_frame("runs")
    frame["run"] = [1.5, 2.0]
    with pytest.raises(BookError, match=r"run must be a whole number, not 1\.5"):
        rows_of(frame, "runs")


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("=HYPERLINK(1)", "=HYPERLINK(1)"),
        ("K\x002", "K␀2"),
        ("K\udc80", "K�"),
        ("line\nbreak\ttab", "line\nbreak\ttab"),
        ("𝕂2 é ẞ", "𝕂2 é ẞ"),
    ],
)
def test_text_stays_as_typed_but_for_what_no_database_keeps(written: str, kept: str) -> None:
    assert clean_text(written) == kept
    frame = filled_frame("runs")
    frame["remark"] = pd.Series([None, written], dtype=object)
    assert frame_of(rows_of(frame, "runs"), "runs")["remark"][1] == kept
    keeping, taken = Keeping("runs"), taken_of(frame, "runs")
    keeping.columns_of(taken)
    assert keeping.unkeepable(taken) == ([] if kept == written else [(1, "remark")])


def test_a_list_of_values_may_grow_between_two_stretches() -> None:
    keeping, values = Keeping("units"), ["K1"]
    others = taken_of(blank_frame("units", 2), "units")
    place = SHEETS["units"].fields.index("unit")
    first = keeping.columns_of({**others, "unit": Coded(values, np.array([0, 0]))})
    values += ["K2", "K\x003"]
    last = {**others, "unit": Coded(values, np.array([2, 1]))}
    assert (first[place].listed(), keeping.columns_of(last)[place].listed()) == (
        ["K1", "K1"],
        ["K␀3", "K2"],
    )
    assert keeping.unkeepable(last) == [(0, "unit")]


def test_a_record_is_named_by_its_key_with_blanks_as_null() -> None:
    (row, _) = rows_of(filled_frame("restrips"), "restrips")
    assert record_name("restrips", row) == '["2026-05-03","K2",null]'


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ((3.0, 4.0), "3/4 thou"),
        ((4.0, 4.0), "4 thou"),
        ((None, 2.0), "<2 thou"),
        ((8.0, None), ">8 thou"),
        ((None, None), "blank"),
    ],
)
def test_readings_are_shown_as_they_are_written(values: tuple[object, ...], text: str) -> None:
    assert shown(values, RUNS.column("tip")) == text


def test_other_values_are_shown_plainly() -> None:
    assert shown((30.5,), RUNS.column("boost")) == "30.5 psi"
    assert shown(("sound",), RUNS.column("strips")) == "sound"
    assert shown((date(2026, 5, 3),), RESTRIPS.column("date")) == "2026-05-03"

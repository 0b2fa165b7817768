"""Cells as people type them. Conversions: 1 in = 25.4 mm, 1 psi = 6894.757 Pa (NIST SP 811)."""

import math
from datetime import date, datetime
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field, TypeAdapter, ValidationError

from wearstats.records.amounts import within
from wearstats.records.cells import Cell, Fault, Uncomputed
from wearstats.records.columns import Column
from wearstats.records.dates import DateOrder
from wearstats.records.schema import READINGS, RUNS, SHEETS
from wearstats.records.values import cell_reader

TIP = RUNS.column("tip")
BOOST = RUNS.column("boost")
AIR = RUNS.column("air temperature")
BAROMETER = RUNS.column("barometer")


def kept(column: Column, cell: Cell, **stated: str | None) -> tuple[object, ...]:
    parsed = cell_reader(column, mapped=stated.get("mapped"), headed=stated.get("headed"))(cell)
    assert not isinstance(parsed, Fault), parsed
    return parsed


def fault(
    column: Column,
    cell: Cell,
    *,
    mapped: str | None = None,
    headed: str | None = None,
    dates: DateOrder | None = None,
) -> Fault:
    parsed = cell_reader(column, mapped=mapped, headed=headed, dates=dates)(cell)
    assert isinstance(parsed, Fault), parsed
    return parsed


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("4", 4, 4),
        ('.004"', 4, 4),
        ("0.004 in", 4, 4),
        (".004”", 4, 4),
        ("4 thou", 4, 4),
        ("4thou", 4, 4),
        ("0.10 mm", 0.10 / 0.0254, 0.10 / 0.0254),
        ("0,10 mm", 0.10 / 0.0254, 0.10 / 0.0254),
        ("100 µm", 100 / 25.4, 100 / 25.4),
        ("3/4", 3, 4),
        ("3-4", 3, 4),
        ("3 – 4", 3, 4),
        ("3 to 4 thou", 3, 4),
        ("3/4 thou", 3, 4),
        ('.003/.004"', 3, 4),
        ('.003"/.004"', 3, 4),
        ("0,08/0,10 mm", 0.08 / 0.0254, 0.10 / 0.0254),
        ("<2", math.nan, 2),
        ("< .002 in", math.nan, 2),
        (">8", 8, math.nan),
        ("≥8 thou", 8, math.nan),
        ("0", 0, 0),
        (4.25, 4.25, 4.25),
        (5, 5, 5),
    ],
    ids=lambda value: value.name if isinstance(value, Column) else repr(value),
)
def test_a_clearance_is_read_as_it_is_typed(text: Cell, low: float, high: float) -> None:
    # abs: the conversion may round in the last place.
    assert kept(TIP, text) == pytest.approx((low, high), abs=1e-9, nan_ok=True)


@pytest.mark.parametrize(
    "text", ["0.004", ".004", "0.003/.004", 0.004, "0,004", "<0.004", "0.1"], ids=repr
)
@pytest.mark.parametrize("headed", [None, "thou"])
def test_a_bare_number_in_doubt_is_asked_about(text: Cell, headed: str | None) -> None:
    asked = fault(TIP, text, headed=headed)
    assert asked.code == "unit-doubt"
    assert "in (" in asked.message


def test_the_question_names_the_plausible_readings_and_no_other() -> None:
    assert "0.004 in (4 thou)?" in fault(TIP, "0.004").message
    assert "0.1 in (100 thou) or 0.1 mm (3.937 thou)?" in fault(TIP, "0.1").message


def test_a_column_map_settles_the_question() -> None:
    assert kept(TIP, "0.004", mapped="in") == (4, 4)
    assert kept(TIP, "0.004", mapped="thou") == (0.004, 0.004)


def test_the_unit_in_the_cell_goes_before_map_and_header() -> None:
    assert kept(TIP, "4 thou", mapped="mm", headed="in") == (4, 4)
    assert kept(TIP, "0.1", mapped="mm", headed="in") == pytest.approx((3.937008, 3.937008))


def test_a_header_that_names_the_unit_silences_the_question_for_boost() -> None:
    assert fault(BOOST, "1.8").code == "unit-doubt"
    assert kept(BOOST, "1.8", headed="psi") == (1.8,)
    # 1.8 bar = 180 000 Pa / 6894.757 Pa = 26.107 psi
    assert kept(BOOST, "1.8", headed="bar") == pytest.approx((26.1068,), abs=1e-3)


def test_four_under_a_header_in_mm_offers_thou() -> None:
    message = fault(TIP, "4", headed="mm").message
    assert "4 mm is 157.5 thou" in message
    assert "did you mean 4 thou?" in message


@pytest.mark.parametrize(
    ("column", "cell", "code"),
    [
        (TIP, "-3", "value-range"),
        (TIP, "4/3", "reading-order"),
        (TIP, "4/4", "reading-order"),
        (TIP, "<0", "value-range"),
        (TIP, "3,4", "number-doubt"),
        (TIP, "nan", "not-finite"),
        (TIP, "-inf", "not-finite"),
        (TIP, float("nan"), "not-finite"),
        (TIP, float("inf"), "not-finite"),
        (TIP, True, "value-kind"),
        (TIP, datetime(2026, 3, 4), "value-kind"),  # noqa: DTZ001 - a spreadsheet's has no zone
        (TIP, "tight", "number-unread"),
        (TIP, "3/4/5", "number-unread"),
        (TIP, "4 furlong", "unit-unknown"),
        (TIP, "٣", "number-unread"),
        (TIP, "#REF!", "error-value"),
        (TIP, "#div/0!", "error-value"),
        (TIP, Uncomputed("=A1"), "formula-without-value"),
        (BOOST, "900 psi", "value-range"),
        (BOOST, "1e999", "value-range"),
        (BOOST, "#N/A", "error-value"),
        (RUNS.column("remark"), "#REF!", "error-value"),
        (RUNS.column("load"), "60", "value-range"),
        (RUNS.column("load"), "1/2", "number-unread"),
        (RUNS.column("overdrive"), "0.4", "unit-doubt"),
        (RUNS.column("run"), "2.5", "count-whole"),
        (RUNS.column("run"), "0", "value-range"),
        (RUNS.column("run"), "second", "number-unread"),
        (RUNS.column("unit"), None, "cell-missing"),
        (RUNS.column("unit"), "  ", "cell-missing"),
        (RUNS.column("unit"), True, "value-kind"),
        (RUNS.column("unit"), "K\u200b2", "text-control"),
        (RUNS.column("unit"), "K" * 81, "text-long"),
        (RUNS.column("unit"), date(2026, 3, 4), "value-kind"),
        (RUNS.column("strips"), "dunno", "word-unknown"),
    ],
    ids=lambda value: value.name if isinstance(value, Column) else repr(value),
)
def test_what_cannot_be_taken_says_why(column: Column, cell: Cell, code: str) -> None:
    assert fault(column, cell).code == code


def test_an_unknown_word_lists_the_words() -> None:
    assert (
        "sound, hot, burned, pulled, cut, rubbed" in fault(RUNS.column("strips"), "melted").message
    )


@pytest.mark.parametrize(
    ("text", "word"),
    [("OK", "sound"), ("Burned-Through", "burned"), ("burn through", "burned"), ("RUB", "rubbed")],
)
def test_choice_words_do_not_depend_on_case_or_punctuation(text: str, word: str) -> None:
    assert kept(RUNS.column("strips"), text) == (word,)


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [
        (AIR, "85", 85.0),
        (AIR, "29 C", 84.2),  # 29 * 1.8 + 32
        (BAROMETER, "29.92", 29.92),
        (BAROMETER, "1013", 1013e2 / 3386.389),
        (BAROMETER, "101.3", 101.3e3 / 3386.389),
        (RUNS.column("load"), "60%", 0.6),
        (RUNS.column("load"), "0.6", 0.6),
        (RUNS.column("overdrive"), "40%", 40.0),
        (RUNS.column("overdrive"), "40", 40.0),
        (RUNS.column("overdrive"), "0.4 fraction", 40.0),
        (RUNS.column("engine speed"), "8,200", 8200.0),
        (RUNS.column("engine speed"), "8200rpm", 8200.0),
        (BOOST, "30,5 psi", 30.5),
        (RUNS.column("run"), "2.0", 2.0),
        (READINGS.column("go"), "-3 thou", -3.0),
    ],
)
def test_a_number_is_kept_in_the_kept_unit(column: Column, cell: Cell, value: float) -> None:
    assert kept(column, cell) == pytest.approx((value,))


def test_a_bare_number_that_two_units_make_plausible_is_asked_about() -> None:
    asked = fault(AIR, "29")
    assert asked.code == "unit-doubt"
    assert "29 F or 29 C (84.2 F)" in asked.message
    assert kept(AIR, "29", headed="C") == pytest.approx((84.2,))
    assert kept(AIR, "29", mapped="F", headed="C") == (29.0,)


def test_a_thousands_comma_that_two_readings_fit_is_asked_about() -> None:
    assert "1.2 or 1200" in fault(SHEETS["restrips"].column("cost"), "1,200").message


def test_numbers_in_a_text_column_are_text_as_seen() -> None:
    assert kept(RUNS.column("unit"), 2.0) == ("2",)
    assert kept(RUNS.column("unit"), " K  2 ") == ("K 2",)
    assert kept(READINGS.column("station"), "Front") == ("front",)


@pytest.mark.parametrize(
    ("cell", "order"),
    [
        ("2026-05-03", None),
        ("2026/5/3", None),
        ("20260503", None),
        ("2026-05-03T14:30:00", None),
        (datetime(2026, 5, 3, 14, 30), None),  # noqa: DTZ001 - a spreadsheet's has no zone
        (date(2026, 5, 3), None),
        ("3 May 2026", None),
        ("3. May 2026", None),
        ("May 3, 2026", None),
        ("May 3rd 2026", None),
        ("Sun 3 May 2026", None),
        ("3-May-2026", None),
        ("03.05.2026", "day first"),
        ("05/03/2026", "month first"),
        ("05/03/26", "month first"),
        ("3-May-26", "day first"),
    ],
)
def test_a_date_is_read_in_many_ways(cell: Cell, order: DateOrder | None) -> None:
    assert cell_reader(RUNS.column("date"), dates=order)(cell) == (date(2026, 5, 3),)


def test_a_date_whose_order_its_figures_tell_needs_no_statement() -> None:
    read = cell_reader(RUNS.column("date"))
    assert read("13/05/2026") == (date(2026, 5, 13),)
    assert read("05/13/2026") == (date(2026, 5, 13),)
    assert read("04.04.2026") == (date(2026, 4, 4),)


@pytest.mark.parametrize(
    ("cell", "order", "code"),
    [
        ("03/04/2026", None, "date-order"),
        ("03/04/26", None, "date-order"),
        ("3-May-26", None, "date-order"),
        ("05/13/2026", "day first", "date-order"),
        ("1/2/0000", None, "date-order"),
        ("31.02.2026", None, "date-invalid"),
        ("2026-13-01", None, "date-invalid"),
        ("1949-12-31", None, "value-range"),
        ("2101-01-01", None, "value-range"),
        ("46145", None, "date-serial"),
        (46145.0, None, "date-serial"),
        ("May 2026", None, "date-unread"),
        ("soon", None, "date-unread"),
        (True, None, "value-kind"),
    ],
    ids=lambda value: value.name if isinstance(value, Column) else repr(value),
)
def test_a_date_is_never_guessed(cell: Cell, order: DateOrder | None, code: str) -> None:
    assert fault(RUNS.column("date"), cell, dates=order).code == code


def test_a_day_number_is_shown_as_the_day_it_may_be() -> None:
    # 46145 days after 1899-12-30, the spreadsheets' day 0.
    assert "2026-05-03" in fault(RUNS.column("date"), "46145").message


@given(st.sampled_from([TIP, BOOST, AIR, RUNS.column("load")]), st.floats())
def test_limits_hold_as_an_independent_library_holds_them(column: Column, number: float) -> None:
    low, high = column.limits or (-math.inf, math.inf)
    adapter = TypeAdapter(Annotated[float, Field(ge=low, le=high, allow_inf_nan=False)])
    try:
        adapter.validate_python(number)
        held = True
    except ValidationError:
        held = False
    assert within(column, number) == held
    assert within(column, low) == within(column, high) == math.isfinite(high)

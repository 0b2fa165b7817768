import pytest

from wearstats.records.columnmap import ColumnMap
from wearstats.records.headers import labels, match_headers, nearest, understood
from wearstats.records.schema import RUNS, SHEETS
from wearstats.records.spellings import spelling_key


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("Boost (psi)", "boost", "psi"),
        ("boost_kpa", "boost", "kPa"),
        ("BOOST", "boost", None),
        ("Tip clearance [mm]", "tip", "mm"),
        ('Tip .001"', "tip", "thou"),
        ('Tip (.001")', "tip", "thou"),
        ('Tip "', "tip", "in"),
        ("tip, in thou", "tip", "thou"),
        ("Air °F", "air temperature", "F"),
        ("Air°C", "air temperature", "C"),
        ("Baro inHg", "barometer", "inHg"),
        ("Baro (in. Hg)", "barometer", "inHg"),
        ("Overdrive %", "overdrive", "pct"),
        ("strip_height_thou", "strip height", "thou"),
        ("Runs-since restrip", "runs since restrip", None),
        ("Blower #", "unit", None),
    ],
)
def test_a_header_is_matched_and_its_unit_heard(header: str, column: str, unit: str | None) -> None:
    heading = understood(header, "runs")
    assert heading is not None
    assert heading.column is not None
    assert (heading.column.name, heading.headed) == (column, unit)


def test_every_canonical_field_of_one_value_is_a_header() -> None:
    for sheet in SHEETS.values():
        for column in sheet:
            if len(column.fields) == 1:
                heading = understood(column.fields[0], sheet.name)
                assert heading is not None
                assert heading.column == column


def test_no_header_means_two_columns_of_a_sheet() -> None:
    for sheet in SHEETS.values():
        keys = [spelling_key(name) for column in sheet for name in {column.name, *column.aliases}]
        assert len(keys) == len(set(keys)), sheet.name


def test_a_unit_the_column_cannot_have_is_a_fault() -> None:
    heading = understood("boost mm", "runs")
    assert heading is not None
    assert heading.fault is not None
    assert heading.fault.code == "header-unit"
    assert "psi, kPa, bar" in heading.fault.message


def test_a_date_header_may_state_the_order() -> None:
    for header, order in (("Date (dd/mm/yyyy)", "day first"), ("date m/d/y", "month first")):
        heading = understood(header, "runs")
        assert heading is not None
        assert heading.dates == order


def test_nearest_known_headers_are_named() -> None:
    assert "boost" in nearest("Bosst", "runs")
    assert nearest("zzzz", "runs") == ()


def test_headers_alike_are_told_apart() -> None:
    assert labels(["tip", " tip", "", "tip (2)"]) == ("tip", "tip (2)", "column 3", "tip (2) (2)")


def test_roles_of_headers() -> None:
    written = ["date", "unit", "tip", "tip gap", "aside", "Reason it was set aside", "odd", "skip"]
    column_map = ColumnMap.model_validate({"ignore": ["Skip"]})
    roles = [heading.role for heading in match_headers(written, RUNS, column_map)]
    assert roles == [
        "column",
        "column",
        "column",
        "again",
        "aside",
        "reason",
        "unknown",
        "ignored",
    ]


def test_a_column_map_goes_before_the_known_headers() -> None:
    column_map = ColumnMap.model_validate(
        {"columns": {"Tip": {"column": "mesh", "unit": "in"}, "Lücke": "tip"}}
    )
    tip, gap = match_headers(["tip", "Lücke"], RUNS, column_map)
    assert tip.column is not None
    assert (tip.column.name, tip.mapped) == ("mesh", "in")
    assert gap.column is not None
    assert gap.column.name == "tip"

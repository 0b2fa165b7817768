"""What a row says against a record."""

import pytest

from wearstats.book.matching import compare
from wearstats.book.values import Value, layout
from wearstats.records.schema import RUNS


def row(**values: Value) -> tuple[Value, ...]:
    return tuple(values.get(name) for name in RUNS.fields)


def names(places: tuple[int, ...]) -> list[str]:
    return [RUNS.columns[place].name for place in places]


@pytest.mark.parametrize(
    ("held", "said", "fills", "contradicts"),
    [
        ({"boost_psi": 30.0}, {"boost_psi": 30.0}, [], []),
        ({"boost_psi": 30.0}, {}, [], []),
        ({}, {"boost_psi": 30.0}, ["boost"], []),
        ({"boost_psi": 30.0}, {"boost_psi": 31.0}, [], ["boost"]),
        ({"boost_psi": 0.1 + 0.2}, {"boost_psi": 0.3}, [], []),
        ({"boost_psi": 30.0}, {"boost_psi": 30.000001}, [], ["boost"]),
        ({"meet": "Lake A"}, {"meet": "Lake B", "engine": "1"}, ["engine"], ["meet"]),
        # A one-sided reading is a reading, not half a blank.
        ({"tip_high_thou": 2.0}, {"tip_low_thou": 1.0, "tip_high_thou": 2.0}, [], ["tip"]),
        ({"tip_low_thou": 1.0, "tip_high_thou": 2.0}, {"tip_high_thou": 2.0}, [], ["tip"]),
        ({}, {"tip_high_thou": 2.0}, ["tip"], []),
    ],
)
def test_a_row_fills_contradicts_or_says_nothing_new(
    held: dict[str, Value], said: dict[str, Value], fills: list[str], contradicts: list[str]
) -> None:
    found = compare(row(**held), row(**said), layout("runs"))
    assert names(found.fills) == fills
    assert names(found.contradicts) == contradicts

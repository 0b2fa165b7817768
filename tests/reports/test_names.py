"""File names are safe whatever a unit is called."""

import re

from hypothesis import given
from hypothesis import strategies as st

from wearstats_reports.names import page_names

SAFE = re.compile(r"unit-[a-z0-9]+(-[a-z0-9]+)*\.html")


@given(st.lists(st.text(max_size=250), unique=True, max_size=8))
def test_names_are_safe_short_and_unlike_even_where_case_is_ignored(units: list[str]) -> None:
    names = page_names(units)
    assert list(names) == units
    assert all(SAFE.fullmatch(name) for name in names.values())
    assert all(len(name) < 80 for name in names.values())
    assert len({name.casefold() for name in names.values()}) == len(units)


def test_plain_names_stay_as_they_are_and_changed_ones_are_marked() -> None:
    names = page_names(["K1", "K 2", "../../x", "CON", "🏁"])
    assert names["K1"] == "unit-k1.html"
    assert re.fullmatch(r"unit-k-2-[0-9a-f]{8}\.html", names["K 2"])
    assert re.fullmatch(r"unit-x-[0-9a-f]{8}\.html", names["../../x"])
    assert re.fullmatch(r"unit-con-[0-9a-f]{8}\.html", names["CON"])
    assert re.fullmatch(r"unit-[0-9a-f]{8}\.html", names["🏁"])


def test_a_name_does_not_depend_on_the_order_of_units() -> None:
    assert page_names(["k1", "K1", "a"]) == page_names(["a", "K1", "k1"])


def test_a_unit_cannot_take_the_changed_name_of_another() -> None:
    (changed,) = page_names(["../../x"]).values()
    thief = changed.removeprefix("unit-").removesuffix(".html")
    assert len(set(page_names(["../../x", thief]).values())) == 2

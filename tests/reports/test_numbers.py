"""One rule for every number a reader sees."""

import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearstats.estimates import Estimate
from wearstats_reports import markup, numbers
from wearstats_reports.tally import strokes, tally


@pytest.mark.parametrize(
    ("estimate", "written"),
    [
        (Estimate(8.04, 6.13, 11.0, 0.9, "runs"), "8.0 runs (6.1 to 11.0)"),
        (Estimate(7.0, 5.0, 10.0, 0.9, "runs"), "7 runs (5 to 10)"),
        (Estimate(12.6, 9.4, 20.2, 0.9, "runs"), "13 runs (9 to 20)"),
        (Estimate(0.312, 0.22, 0.43, 0.9, "psi per thou"), "0.31 psi per thou (0.22 to 0.43)"),
        (Estimate(-1.24, -1.72, -0.81, 0.9, "psi"), "−1.2 psi (−1.7 to −0.8)"),
        (Estimate(-0.01, None, 0.4, 0.9, "psi"), "0.0 psi (0.4 or less)"),
        (Estimate(None, 6.1, None, 0.9, "runs"), "6.1 or more runs"),
        (Estimate(None, None, None, 0.9, "runs"), "not known"),
    ],
)
def test_a_quantity_is_written_with_one_number_of_decimals(
    estimate: Estimate, written: str
) -> None:
    assert str(numbers.quantity(estimate)) == written


@given(st.floats(0.0, 1.0))
def test_a_chance_is_never_written_as_certain(chance: float) -> None:
    assert numbers.percent(chance) not in {"0\u00a0%", "100\u00a0%"}


@given(st.floats(0.005, 0.9949))
def test_a_chance_is_written_within_half_a_percent(chance: float) -> None:
    whole = int(numbers.percent(chance).split("\u00a0")[0])
    assert abs(whole - 100 * chance) <= 0.5 + 1e-9


class _Values(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.values: list[float] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "data":
            self.values.append(float(dict(attrs)["value"] or "nan"))


@given(
    st.tuples(*[st.floats(-1e6, 1e6, allow_nan=False) | st.none()] * 3).filter(
        lambda v: v[1] is None or v[2] is None or v[1] <= v[2]
    ),
    st.sampled_from(["runs", "thou", "psi", ""]),
)
def test_markup_carries_every_exact_number_and_says_what_the_words_say(
    ends: tuple[float | None, float | None, float | None], unit: str
) -> None:
    estimate = Estimate(*ends, 0.9, unit)
    html = markup.main(estimate) + markup.interval(estimate)
    reader = _Values()
    reader.feed(html)
    assert sorted(reader.values) == sorted(v for v in ends if v is not None)
    shown = numbers.quantity(estimate)
    assert re.sub("<[^>]*>", "", html) == ((shown.main or "") + shown.interval or "not known")


@pytest.mark.parametrize(
    ("estimate", "written"),
    [
        (Estimate(0.834, 0.72, 0.91, 0.9), "83\u00a0% (72 to 91\u00a0%)"),
        (Estimate(0.02, 0.001, 0.05, 0.9), "2\u00a0% (under 1\u00a0% to 5\u00a0%)"),
        (Estimate(0.98, 0.9, 0.999, 0.9), "98\u00a0% (90 to over 99\u00a0%)"),
        (Estimate(1.0, 1.0, 1.0, 0.9), "over 99\u00a0%"),
        (Estimate(None, None, 0.4, 0.9), "40\u00a0% or less"),
    ],
)
def test_a_chance_is_written_in_percent(estimate: Estimate, written: str) -> None:
    assert str(numbers.chance(estimate)) == written


def test_markup_escapes_what_it_is_given() -> None:
    assert "<script>" not in markup.data(1.0, "<script>")


def test_tally_has_a_stroke_for_every_run_and_opens_those_nobody_looked_at() -> None:
    marks = strokes(6.5, 3.0)
    assert [length for length, _ in marks] == [1, 1, 1, 1, 1, 1, 0.5]
    assert [seen for _, seen in marks] == [True] * 3 + [False] * 4


@given(st.floats(0, 400), st.floats(0, 400))
def test_tally_lengths_add_up_to_the_age(age: float, look: float) -> None:
    marks = strokes(age, min(look, age))
    assert sum(length for length, _ in marks) == pytest.approx(min(age, 100), abs=1e-6)
    assert [seen for _, seen in marks] == sorted((seen for _, seen in marks), reverse=True)


def test_tally_says_in_words_what_it_draws() -> None:
    drawn = tally(6.5, 3.0)
    assert 'aria-label="6.5 runs on the strips, 4 of them since anybody looked"' in drawn
    assert drawn.count('class="seen"') == 3
    assert drawn.count('class="unseen"') == 4
    assert tally(None, None) == tally(0.0, 0.0) == ""

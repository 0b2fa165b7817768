"""What a result shows: no text acts, no number is lost, any console can print it."""

import math
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from wearstats.estimates import Estimate
from wearstats.shown import Cell, Column, Summary

NUMBERS = st.one_of(st.none(), st.floats(-1e6, 1e6))


@st.composite
def estimates(draw: st.DrawFn) -> Estimate:
    low, middle, high = sorted(draw(st.tuples(*[st.floats(-1e6, 1e6)] * 3)))
    missing = draw(st.integers(0, 7))
    ends = [None if missing >> at & 1 else each for at, each in enumerate((middle, low, high))]
    return Estimate(ends[0], ends[1], ends[2], 0.9, draw(st.sampled_from(["runs", "thou", ""])))


CELLS: dict[str, st.SearchStrategy[Cell]] = {
    "text": st.text(),
    "number": NUMBERS,
    "estimate": st.one_of(st.none(), estimates()),
    "chance": st.one_of(st.none(), estimates()),
}


@st.composite
def summaries(draw: st.DrawFn) -> Summary:
    columns = (
        Column("name"),
        Column("age", "number"),
        Column("runs_left", "estimate"),
        Column("lasts", "chance"),
    )
    rows = draw(st.lists(st.tuples(*(CELLS[each.kind] for each in columns)), max_size=15))
    texts = st.text(max_size=200)
    return Summary(draw(texts), draw(texts), columns, tuple(rows), tuple(draw(st.lists(texts))))


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.named: set[str] = set()
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.named |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


OURS = {"div", "p", "strong", "table", "thead", "tbody", "tr", "th", "td", "ul", "li"}


@given(summaries())
def test_text_from_records_is_never_markup(summary: Summary) -> None:
    page = _Page()
    page.feed(summary.html())
    page.close()
    assert set(page.tags) <= OURS
    assert page.named <= {"scope", "dir"}
    shown = min(len(summary.rows), 12)
    assert page.tags.count("tr") == (1 + shown if shown else 0)
    assert page.tags.count("li") == len(summary.notes) + (len(summary.rows) > 12)


def test_a_hostile_name_is_shown_as_it_is_written() -> None:
    name = "<script>alert('K1')</script> & co"
    html = Summary(name, name, (Column("unit"),), ((name[:25],),), (name,)).html()
    assert "<script>" not in html
    page = _Page()
    page.feed(html)
    assert page.texts.count(name) == 3
    assert name[:25] in page.texts


@given(summaries())
def test_any_console_can_print_it_and_nothing_acts_on_it(summary: Summary) -> None:
    lines = summary.text().split("\n")
    assert all(line.isprintable() for line in lines)
    # What we add ourselves is plain: a name may be in any writing.
    ours = Summary("t", "b", summary.columns, tuple(("K1", *row[1:]) for row in summary.rows))
    assert ours.text().isascii()


@given(summaries())
def test_the_frame_holds_every_number_as_it_is(summary: Summary) -> None:
    frame = summary.frame()
    assert list(frame.columns) == [
        *("name", "age", "runs_left", "runs_left_low", "runs_left_high"),
        *("lasts", "lasts_low", "lasts_high"),
    ]
    assert len(frame) == len(summary.rows)
    for row, found in zip(summary.rows, frame.to_dict(orient="records"), strict=True):
        expected = [row[1]]
        for cell in row[2:]:
            ends = (cell.estimate, cell.low, cell.high) if isinstance(cell, Estimate) else ()
            expected += ends or (None, None, None)
        for value, wanted in zip([*found.values()][1:], expected, strict=True):
            assert value == wanted or (wanted is None and math.isnan(value))


@given(estimates())
def test_an_estimate_says_its_interval_and_level(estimate: Estimate) -> None:
    said = str(estimate)
    assert said.isascii()
    assert said.endswith("interval 90 %")
    assert repr(estimate) == f"<Estimate: {said}>"
    row = estimate.to_frame().iloc[0]
    for name, value in estimate.as_dict().items():
        assert row[name] == value or (value is None and math.isnan(row[name]))

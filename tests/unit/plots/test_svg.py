"""A figure in a page: the same bytes, ids of its own, words for those who do not see it."""

import io
import re
from functools import cache

import pandas as pd
import pytest
from defusedxml.ElementTree import fromstring
from matplotlib.figure import Figure

from wearstats.errors import UsageError
from wearstats.plots import fleet_chances, new_axes, new_axes_for_rows, survival_curve, to_svg

SVG = "{http://www.w3.org/2000/svg}"


def chances(unit: str = "K1", chance: float = 0.8) -> Figure:
    rows = pd.DataFrame(
        {
            "unit": [unit],
            "ahead": [chance],
            "ahead_low": [0.7],
            "ahead_high": [0.9],
            "ahead_if_sound": [chance],
            "advice": ["run"],
        }
    )
    figure, axes = new_axes_for_rows(1)
    fleet_chances(rows, axes, bound=0.9)
    return figure


def curve() -> Figure:
    rows = pd.DataFrame(
        {"runs": [0.0, 9.0], "survival": [1.0, 0.5], "low": [1.0, 0.3], "high": [1.0, 0.7]}
    )
    figure, axes = new_axes()
    survival_curve(rows, axes)
    return figure


@cache
def chances_svg() -> str:
    return to_svg(chances(), "Chances", "K1: 80 %.")


@cache
def curve_svg() -> str:
    return to_svg(curve(), "Curve", "Falls.")


def ids(svg: str) -> list[str]:
    return re.findall(r'\bid="([^"]+)"', svg)


def test_the_same_figure_gives_the_same_bytes() -> None:
    figure = chances()
    first = to_svg(figure, "Chances", "K1: 80 %.")
    figure.savefig(io.BytesIO(), format="png", dpi=131)
    assert to_svg(figure, "Chances", "K1: 80 %.") == first
    assert chances_svg() == first


def test_title_and_description_are_its_alternative() -> None:
    root = fromstring(to_svg(chances(), "Chances & more", "K1 < K2: 80 %."))
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    title, description = root[0], root[1]
    assert (title.tag, title.text) == (f"{SVG}title", "Chances & more")
    assert (description.tag, description.text) == (f"{SVG}desc", "K1 < K2: 80 %.")
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"


def test_the_page_sets_the_width() -> None:
    root = fromstring(chances_svg())
    assert root.get("viewBox") is not None
    assert root.get("width") is None
    assert root.get("height") is None


def test_it_refers_to_nothing_outside_and_reaches_nothing_outside() -> None:
    svg = chances_svg()
    assert svg.startswith("<svg ")
    assert re.findall(r"https?://[^\"]*", svg) == ["http://www.w3.org/2000/svg"]
    for unwanted in ("xlink", "<style", "<image", "<script", "metadata", "DOCTYPE", "DejaVu"):
        assert unwanted not in svg
    used = re.findall(r"url\(#([^)]+)\)", svg) + re.findall(r'href="#([^"]+)"', svg)
    assert used
    assert set(used) <= set(ids(svg))


def test_several_figures_share_a_page() -> None:
    page = [
        chances_svg(),
        to_svg(chances(chance=0.7), "Chances", "K1: 80 %."),
        to_svg(chances(), "Chances", "K1, again."),
        curve_svg(),
    ]
    every = [each for svg in page for each in ids(svg)]
    assert len(every) == len(set(every))


def test_words_and_axes_take_the_color_of_the_page() -> None:
    svg = curve_svg()
    assert "currentColor" in svg
    assert "#010203" not in svg
    assert "#000000" not in svg
    for text in fromstring(svg).iter(f"{SVG}text"):
        assert "currentColor" in (text.get("style") or "")


def test_nothing_is_painted_behind_it() -> None:
    assert "#ffffff" not in curve_svg()


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "$K_1$", "K & Co", "100 %"])
def test_a_name_is_text_and_never_markup(name: str) -> None:
    root = fromstring(to_svg(chances(unit=name), "Chances", name))
    texts = [text.text for text in root.iter(f"{SVG}text")]
    assert name in texts
    assert not list(root.iter(f"{SVG}script"))


@pytest.mark.parametrize(("title", "description"), [("", "K1."), ("Chances", "  ")])
def test_a_figure_without_words_is_refused(title: str, description: str) -> None:
    with pytest.raises(UsageError, match="do not see"):
        to_svg(chances(), title, description)

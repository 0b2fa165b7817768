"""What stands on the pages: every number from the value, sound markup, cautions with advice."""

import json
import re
from base64 import b64encode
from collections.abc import Callable, Iterator
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from wearstats.plans import CAUTIONS
from wearstats.records.season import Season
from wearstats_reports import SeasonReport, WrittenReport, season_report
from wearstats_reports.render import ROWS_TO_SORT, fleet_page, unit_page
from wearstats_reports.signs import URGENCY, WORDS

Parsed = Callable[[Path], Any]


def _leaves(value: object) -> Iterator[object]:
    if isinstance(value, dict):
        for item in value.values():
            yield from _leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from _leaves(item)
    else:
        yield value


def _told(written: WrittenReport) -> tuple[set[float], set[str]]:
    leaves = list(_leaves(json.loads(written.numbers.read_text(encoding="utf-8"))))
    numbers = {float(v) for v in leaves if isinstance(v, int | float) and not isinstance(v, bool)}
    return numbers, {v for v in leaves if isinstance(v, str)}


def test_every_number_in_the_box_of_today_is_in_the_json(
    report: SeasonReport, written: WrittenReport, parsed: Parsed
) -> None:
    numbers, words = _told(written)
    for _, path in written.pages:
        (box,) = parsed(path).classed("tag")
        shown = {float(e.attributes["value"]) for e in box.all("data")}
        assert len(shown) > 5
        assert shown <= numbers
        assert {e.attributes["datetime"] for e in box.all("time")} <= words
        # What is left may hold no figure of its own but the id, the level and the runs ahead.
        rest = box.without("data", "time", "h1")
        for sentence in sorted(words, key=len, reverse=True):
            if re.search(r"\d", sentence):
                rest = rest.replace(sentence, "")
        assert "<" not in rest
        rest = rest.replace(f"the next {report.runs_ahead} runs", "").replace("its 90\u00a0%", "")
        assert not re.search(r"\d", rest), rest


def test_every_marked_number_and_day_of_every_page_is_in_the_json(
    written: WrittenReport, parsed: Parsed
) -> None:
    numbers, words = _told(written)
    for path in (written.index, *(page for _, page in written.pages)):
        page = parsed(path)
        assert {float(e.attributes["value"]) for e in page.all("data")} - numbers <= {
            float(len(written.pages))
        }
        assert {e.attributes["datetime"] for e in page.all("time")} <= words


def test_numbers_on_the_page_follow_the_value(report: SeasonReport, written: WrittenReport) -> None:
    path = dict(written.pages)["K1"]
    (today,) = [unit.today for unit in report.units if unit.unit == "K1"]
    chance = today.chance_next.estimate
    assert chance is not None
    assert f'<data value="{chance.estimate!r}">' in path.read_text(encoding="utf-8")
    assert today.age == 4.5  # five runs, one of them shut off half way


def test_units_stand_in_the_order_of_urgency(report: SeasonReport) -> None:
    urgency = [URGENCY.index(unit.today.advice) for unit in report.units]
    assert urgency == sorted(urgency)
    for first, second in pairwise(report.units):
        if first.today.advice == second.today.advice:
            one, other = first.today.chance_next.estimate, second.today.chance_next.estimate
            assert one is not None
            assert other is not None
            assert (one.estimate or 0) <= (other.estimate or 0)


def test_markup_is_sound_and_readable_by_ear(pages: tuple[Path, ...], parsed: Parsed) -> None:
    for path in pages:
        page = parsed(path)
        (html,) = page.all("html")
        assert html.attributes["lang"] == "en"
        assert len(page.all("h1")) == len(page.all("main")) == len(page.all("header")) == 1
        assert page.all("footer")
        assert page.all("title")[0].text.strip()
        ids = [e.attributes["id"] for e in page.all() if "id" in e.attributes]
        assert len(ids) == len(set(ids))
        for element in page.all():
            for name in element.attributes.get("aria-labelledby", "").split():
                assert name in ids
        skip = page.classed("skip")[0]
        assert skip.attributes["href"] == "#main"
        assert "main" in ids
        heads = [int(e.tag[1]) for e in page.all("h1", "h2", "h3")]
        assert heads[0] == 1
        assert all(below <= above + 1 for above, below in pairwise(heads))
        for table in page.all("table"):
            assert table.all("caption")[0].text.strip()
            assert all(cell.attributes.get("scope") for cell in table.all("th"))
        for region in page.classed("scroll"):
            assert region.attributes["tabindex"] == "0"
            assert region.attributes["role"] == "region"
            assert region.attributes["aria-label"]
        for drawing in page.all("svg"):
            hidden = drawing.attributes.get("aria-hidden") == "true"
            assert hidden or drawing.all("title")[0].text.strip()
            assert hidden or drawing.all("desc")[0].text.strip()


def test_pages_ask_for_nothing_and_run_at_most_our_own_script(
    pages: tuple[Path, ...], parsed: Parsed
) -> None:
    sorted_pages = 0
    for path in pages:
        page = parsed(path)
        (policy,) = [
            e.attributes["content"] for e in page.all("meta") if "http-equiv" in e.attributes
        ]
        allowed = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
        assert allowed["default-src"] == allowed["base-uri"] == allowed["form-action"] == "'none'"
        assert set(allowed) <= {
            *("default-src", "style-src", "img-src", "base-uri", "form-action", "script-src")
        }
        longest = max([0, *(len(t.all("tbody")[0].all("tr")) for t in page.all("table"))])
        scripts = page.all("script")
        assert len(scripts) == (longest >= ROWS_TO_SORT)
        assert ("script-src" in allowed) == bool(scripts)
        for script in scripts:
            sorted_pages += 1
            # Content Security Policy Level 3: the base64 of the SHA-256 of what stands within.
            digest = b64encode(sha256(script.text.encode()).digest()).decode()
            assert allowed["script-src"] == f"'sha256-{digest}'"
            assert not script.attributes
        for table in page.all("table"):
            many = len(table.all("tbody")[0].all("tr")) >= ROWS_TO_SORT
            assert ("sorts" in table.attributes.get("class", "")) == many
        assert not page.all("link", "img", "iframe", "object", "embed", "form")
        beside = {file.name for file in path.parent.iterdir()}
        for element in page.all():
            assert not [name for name in element.attributes if name.startswith("on")]
            assert "src" not in element.attributes
            href = element.attributes.get("href", "#")
            assert href.startswith("#") or href.partition("#")[0] in beside
        text = path.read_text(encoding="utf-8")
        assert "@import" not in text
        assert not re.search(r"url\((?!#)", text)
    assert 0 < sorted_pages < len(pages)


def test_cautions_stand_with_the_advice_word_for_word(
    pages: tuple[Path, ...], parsed: Parsed
) -> None:
    for path in pages:
        page = parsed(path)
        first = page.all("main")[0].all("section")[0]
        (caution,) = first.classed("caution")
        assert [p.text for p in caution.all("p")] == list(CAUTIONS)
        assert "No number here is permission to run" in caution.text
        assert first.classed("word")[0].text.strip() in WORDS.values()


def test_advice_is_told_by_word_and_shape(
    report: SeasonReport, written: WrittenReport, parsed: Parsed
) -> None:
    for unit in report.units:
        word = parsed(dict(written.pages)[unit.unit]).classed("word")[0]
        assert word.text.strip() == WORDS[unit.today.advice]
        assert word.all("svg")


def test_simulated_is_said_on_every_page_and_figure_and_nowhere_else(
    written: WrittenReport, hostile: tuple[SeasonReport, WrittenReport], parsed: Parsed
) -> None:
    for path in (written.index, *(page for _, page in written.pages)):
        page = parsed(path)
        assert "SIMULATED" in page.all("title")[0].text
        assert "SIMULATED" in page.all("header")[0].text
        assert all("SIMULATED" in figure.text for figure in page.all("figure"))
    text = hostile[1].index.read_text(encoding="utf-8")
    assert "SIMULATED" not in text


def test_with_almost_no_data_every_section_says_why(
    nearly_empty: tuple[SeasonReport, WrittenReport], parsed: Parsed
) -> None:
    value, written = nearly_empty
    (unit,) = value.units
    assert unit.today.advice == "cannot tell"
    for answer in (unit.today.chance_next, unit.today.boost_lost, value.curve.life_10):
        assert not answer.known
        assert answer.why_not.endswith(".")
    assert unit.boost.why_not
    assert unit.clearance.why_not
    page = parsed(written.pages[0][1])
    assert len(page.classed("silent")) == 3
    assert page.classed("none")
    for path in (written.index, written.pages[0][1]):
        text = parsed(path).all("main")[0].text
        assert not re.search(r"\b(nan|None|inf)\b", text)
    assert "NaN" not in written.numbers.read_text(encoding="utf-8")


def test_an_empty_season_gives_a_page_that_says_so() -> None:
    assert "The records name no unit yet." in fleet_page(season_report(Season.from_frames()))


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_words_contrast_with_what_is_behind_them(scheme: str, written: WrittenReport) -> None:
    style = written.index.read_text(encoding="utf-8").split("<style>")[1].split("</style>")[0]
    blocks = [dict(re.findall(r"--(\w+): (#\w{6})", b)) for b in style.split(":root {")[1:]]
    colors = dict(zip(["light", "dark", "print"], blocks, strict=True))[scheme]

    def luminance(color: str) -> float:
        parts = [int(color[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        red, green, blue = (
            p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for words in ("ink", "soft", "blue", "red"):
        for behind in ("paper", "sheet"):
            high, low = sorted([luminance(colors[words]), luminance(colors[behind])])[::-1]
            # WCAG 2.2, success criterion 1.4.3, level AA: 4.5 to 1 for text.
            assert (high + 0.05) / (low + 0.05) >= 4.5, (words, behind)


@pytest.mark.parametrize(
    ("without", "silent"),
    [
        ("boost_psi", "No boost was logged for this unit"),
        ("barometer_inhg", ""),
        ("strips", ""),
    ],
)
def test_what_was_never_written_down_is_said_and_breaks_nothing(
    season: Season, without: str, silent: str
) -> None:
    runs = season.runs[season.runs["unit"] == "K1"].reset_index(drop=True)
    blank = runs.drop(columns=without)
    restrips = season.restrips[season.restrips["unit"] == "K1"].reset_index(drop=True)
    value = season_report(Season.from_frames(runs=blank, restrips=restrips))
    text = re.sub(
        r"<(style|svg).*?</\1>|<[^>]*>", " ", unit_page(value, value.units[0]), flags=re.DOTALL
    )
    assert silent in text
    assert not re.search(r"\b(nan|None|inf|NaT)\b", text)


def test_every_word_that_is_linked_is_in_the_glossary(
    pages: tuple[Path, ...], parsed: Parsed
) -> None:
    for path in pages:
        page = parsed(path)
        ids = {e.attributes["id"] for e in page.all() if "id" in e.attributes}
        linked = {e.attributes["href"] for e in page.all("a") if "#" in e.attributes["href"]}
        fleet = {
            e.attributes["id"]
            for e in parsed(path.parent / "index.html").all()
            if "id" in e.attributes
        }
        assert {href.removeprefix("#") for href in linked if href.startswith("#")} <= ids
        beside = {href for href in linked if not href.startswith("#")}
        assert {href.removeprefix("index.html#") for href in beside} <= fleet
        assert any("glossary" in href for href in linked)


def test_the_glossary_has_the_words_of_the_headings(written: WrittenReport, parsed: Parsed) -> None:
    page = parsed(written.index)
    (shop, numbers) = page.classed("glossary")
    terms = {term.text for part in (shop, numbers) for term in part.all("dt")}
    assert len(terms) == len(shop.all("dt")) + len(numbers.all("dt"))
    assert all(meaning.text.endswith(".") for meaning in page.classed("glossary")[0].all("dd"))
    # DESIGN's words, and the words of the numbers that stand beside figures and in tables.
    for word in (
        "unit",
        "run",
        "restrip",
        "build",
        "strip life",
        "burn-through",
        "strip height",
        "metal to metal",
        "go / no-go reading",
        "chance",
        "interval",
        "prior",
    ):
        assert word in terms


def test_numbers_say_what_they_rest_on_and_when_anybody_last_looked(
    report: SeasonReport, written: WrittenReport, parsed: Parsed
) -> None:
    looks = [u.today.last_look for u in report.units if u.today.last_look is not None]
    assert report.basis.endswith(f"last look {max(looks)}")
    for unit in report.units:
        for answer in (unit.today.chance_next, unit.today.boost_lost, unit.clearance.now):
            assert answer.known
            assert re.search(r"\d", answer.behind), answer
            assert re.search(r"\d{4}-\d{2}-\d{2}", answer.behind), answer
        facts = [
            f for f in parsed(dict(written.pages)[unit.unit]).classed("fact") if f.classed("big")
        ]
        assert len(facts) >= 6
        for fact in facts:
            assert re.search(r"\d{4}-\d{2}-\d{2}", fact.classed("behind")[0].text), fact.text

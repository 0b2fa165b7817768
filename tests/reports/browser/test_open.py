"""Every page, opened in a browser: nothing is fetched, nothing overflows, nothing complains."""

from pathlib import Path
from typing import Any

import pytest

from wearstats_reports import WrittenReport

pytestmark = pytest.mark.browser

WAYS = [(1200, "light"), (1200, "dark"), (360, "light"), (360, "dark")]

_MEASURE = """
(() => {
  const wide = document.documentElement.clientWidth;
  const inScroll = (e) => e.closest(".scroll") !== null && !e.classList.contains("scroll");
  const over = [...document.body.querySelectorAll("*")].filter(
    (e) => !inScroll(e) && !e.closest("svg") && !e.closest(".skip")
      && (e.getBoundingClientRect().right > wide + 1 || e.getBoundingClientRect().left < -1));
  const small = [...document.body.querySelectorAll("*")].filter(
    (e) => !e.closest("svg, script") && e.textContent.trim()
      && parseFloat(getComputedStyle(e).fontSize) < 13);
  const name = (e) => e.tagName + "." + e.className;
  return {
    wide, scrolls: document.documentElement.scrollWidth,
    over: over.slice(0, 5).map(name), small: small.slice(0, 5).map(name),
    dark: getComputedStyle(document.body).backgroundColor,
  };
})()
"""
# Every rule axe has on; what it cannot decide is no violation.
_CHECK = """
axe.run(document, {resultTypes: ["violations"]}).then((found) => found.violations.map(
  (v) => v.id + ": " + v.nodes.slice(0, 3).map((n) => n.target.join(" ") + " " + n.failureSummary)
    .join(" | ")))
"""


@pytest.mark.parametrize(("width", "scheme"), WAYS)
def test_pages_as_they_are(browser: Any, pages: tuple[Path, ...], width: int, scheme: str) -> None:
    for page in pages:
        browser.open(page, width, scheme=scheme)
        measured = browser.evaluate(_MEASURE)
        assert measured["wide"] in (width, width - 15), page  # a scroll bar is 15 wide
        assert measured["scrolls"] <= measured["wide"], page
        assert measured["over"] == [], page
        assert measured["small"] == [], page
        assert (measured["dark"] == "rgb(21, 22, 23)") == (scheme == "dark")
        assert browser.requested == [page.as_uri()]
        assert browser.complaints == [], page


@pytest.mark.parametrize(("width", "scheme"), WAYS)
def test_pages_can_be_read_by_everybody(
    browser: Any, axe: str, pages: tuple[Path, ...], width: int, scheme: str
) -> None:
    for page in pages:
        browser.open(page, width, scheme=scheme)
        browser.evaluate(f"{axe};0")
        assert browser.evaluate(_CHECK) == [], page


def test_the_checks_can_fail(browser: Any, axe: str, tmp_path: Path) -> None:
    page = tmp_path / "bad.html"
    page.write_text(
        '<!DOCTYPE html><html lang="en"><head><title>bad</title></head><body>'
        '<p style="width:2000px;font-size:9px;color:#ccc">wide</p>'
        '<img src="http://gone.invalid/x.png"><script>console.error("boom")</script></body></html>',
        encoding="utf-8",
    )
    browser.open(page, 360)
    measured = browser.evaluate(_MEASURE)
    assert measured["scrolls"] > 360
    assert measured["over"] == measured["small"] == ["P."]
    assert browser.requested == [page.as_uri(), "http://gone.invalid/x.png"]
    assert any("boom" in str(said) for said in browser.complaints)
    browser.evaluate(f"{axe};0")
    found = {line.split(":")[0] for line in browser.evaluate(_CHECK)}
    assert {"color-contrast", "image-alt"} <= found


def test_the_first_screen_of_a_phone_answers(browser: Any, written: WrittenReport) -> None:
    bottom = "document.querySelector({!r}).getBoundingClientRect().bottom"
    for _, page in written.pages:
        browser.open(page, 360, 740)
        for answer in ("h1", ".word", ".means", ".tally", ".fact .big"):
            assert browser.evaluate(bottom.format(answer)) < 740, (page, answer)
    browser.open(written.index, 360, 740)
    assert browser.evaluate(bottom.format(".glance")) < 740
    assert browser.evaluate(bottom.format(".lead")) < 740

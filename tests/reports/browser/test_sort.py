"""Long tables are sorted by their headings, by hand or by keyboard, and stand without a script."""

from typing import Any

import pytest

from wearstats_reports import SeasonReport, WrittenReport

pytestmark = pytest.mark.browser

_ROWS = "[...document.querySelectorAll('[aria-labelledby=side] tbody tr')]"
_FIRST_COLUMN = f"{_ROWS}.map(r => r.cells[0].textContent)"
_ROW_OF = _ROWS + ".map(r => r.cells[{}].textContent)"
_HEADS = "[...document.querySelectorAll('[aria-labelledby=side] th')]"
_SORTED = f"{_HEADS}.map(h => h.ariaSort).filter(Boolean)"
_FOCUS = "document.querySelectorAll('[aria-labelledby=side] thead button')[{}].focus()"


def test_a_heading_sorts_up_then_down_by_keyboard(
    browser: Any, report: SeasonReport, written: WrittenReport
) -> None:
    browser.open(written.index, 1200)
    before = browser.evaluate(_FIRST_COLUMN)
    assert before == [unit.unit for unit in report.units]
    by_age = [u.unit for u in sorted(report.units, key=lambda u: u.today.age or 0)]
    assert by_age != before
    browser.evaluate(_FOCUS.format(3))
    browser.press("Tab")
    browser.press("Enter")
    assert browser.evaluate(_FIRST_COLUMN) == by_age
    assert browser.evaluate(_SORTED) == ["ascending"]
    browser.press("Enter")
    assert browser.evaluate(_FIRST_COLUMN) == by_age[::-1]
    assert browser.evaluate(_SORTED) == ["descending"]
    assert browser.evaluate("document.activeElement.textContent") == "Runs"
    assert browser.complaints == []


def test_advice_is_sorted_by_urgency_and_names_as_people_count(
    browser: Any, report: SeasonReport, written: WrittenReport
) -> None:
    browser.open(written.index, 1200)
    browser.evaluate("document.querySelectorAll('[aria-labelledby=side] thead button')[0].click()")
    assert browser.evaluate(_FIRST_COLUMN) == sorted(unit.unit for unit in report.units)
    browser.evaluate("document.querySelectorAll('[aria-labelledby=side] thead button')[1].click()")
    words = [unit.today.advice for unit in report.units]  # the report's own order
    assert [word.casefold() for word in browser.evaluate(_ROW_OF.format(1))] == words
    assert len(browser.evaluate(_SORTED)) == 1


def test_what_has_no_number_stays_last_either_way(browser: Any, written: WrittenReport) -> None:
    browser.open(dict(written.pages)["K3"], 1200)
    column = "[...document.querySelector('section[aria-labelledby=lives] tbody').rows]"
    failed_by = f"{column}.map(r => r.cells[5].textContent)"
    for _ in range(2):
        browser.evaluate(
            "document.querySelectorAll('section[aria-labelledby=lives] thead button')[5].click()"
        )
        shown = browser.evaluate(failed_by)
        assert shown[-2:] == ["not failed", "not failed"]
        ages = [float(text) for text in shown[:-2]]
        assert ages in (sorted(ages), sorted(ages)[::-1])
        assert len(set(ages)) > 1


def test_without_a_script_the_tables_stand(
    browser: Any, report: SeasonReport, written: WrittenReport
) -> None:
    browser.ask("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(written.index, 1200)
        assert browser.evaluate("document.querySelectorAll('button, .how').length") == 0
        assert browser.evaluate(_FIRST_COLUMN) == [unit.unit for unit in report.units]
    finally:
        browser.ask("Emulation.setScriptExecutionDisabled", value=False)

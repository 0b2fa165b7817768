"""Pages on paper: one PDF each, of the size asked for, and no figure cut."""

import re
from pathlib import Path
from typing import Any

import pytest

from wearstats.errors import UsageError
from wearstats_reports import SeasonReport, WrittenReport, print_pages, printing, write_season

# ISO 216 and ANSI/ASME Y14.1, from memory: 210 x 297 mm and 8.5 x 11 in, in points of 1/72 in.
SIZES = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}


@pytest.fixture
def own(nearly_empty: tuple[SeasonReport, WrittenReport], tmp_path: Path) -> WrittenReport:
    return write_season(nearly_empty[0], tmp_path / "a report")


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_page_is_printed_on_the_paper_asked_for(
    browser: Any, own: WrittenReport, paper: str
) -> None:
    assert browser
    before = {path.name for path in own.folder.iterdir()}
    printed = print_pages(own, paper)
    assert printed == tuple(p.with_suffix(".pdf") for p in (own.index, own.pages[0][1]))
    assert {path.name for path in own.folder.iterdir()} - before == {p.name for p in printed}
    for path in printed:
        content = path.read_bytes()
        assert content.startswith(b"%PDF-")
        boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", content)
        assert boxes
        for box in boxes:
            assert [float(side) for side in box] == pytest.approx(SIZES[paper], abs=0.6)
        # A PDF that is sent on holds no folder of the machine it was made on.
        assert b"file:" not in content


@pytest.mark.browser
def test_no_figure_is_taller_than_a_sheet(browser: Any, written: WrittenReport) -> None:
    # Letter between the page's own margins, in CSS pixels of 1/96 in: 248 mm.
    room = 248 / 25.4 * 96
    for page in (written.index, *(page for _, page in written.pages)):
        browser.open(page, 688 + 15)  # A4 between the page's own margins, and a scroll bar
        browser.ask("Emulation.setEmulatedMedia", media="print", features=[])
        tall = browser.evaluate(
            "[...document.querySelectorAll('figure, .tag, .caution')]"
            ".map(e => e.getBoundingClientRect().height)"
        )
        assert len(tall) >= 4
        assert max(tall) <= room, page
        over = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
        assert browser.evaluate(over) is False


def test_without_a_browser_the_error_says_what_to_install(
    own: WrittenReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printing, "find_browser", lambda: None)
    with pytest.raises(UsageError, match="no browser") as caught:
        print_pages(own, "a4")
    assert caught.value.exit_code == 2
    assert "Install Chromium, Chrome or Edge" in caught.value.hint
    assert own.index.is_file()


def test_a_browser_that_fails_is_named_with_what_it_said(
    own: WrittenReport, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "broken"
    broken.write_text("#!/bin/sh\necho no display >&2\nexit 3\n", encoding="utf-8")
    broken.chmod(0o755)
    monkeypatch.setenv(printing.BROWSER_VARIABLE, str(broken))
    with pytest.raises(UsageError, match="broken did not print them: no display"):
        print_pages(own, "a4")
    assert not [path for path in own.folder.iterdir() if "printing" in path.name]
    monkeypatch.setenv(printing.BROWSER_VARIABLE, str(tmp_path / "none"))
    with pytest.raises(UsageError, match="which is no program"):
        print_pages(own, "a4")


def test_a_browser_is_looked_for_where_each_system_keeps_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edge = tmp_path / "Microsoft" / "Edge" / "Application" / "msedge.exe"
    places = printing._usual_places("win32", {"ProgramFiles(x86)": str(tmp_path)})
    assert edge in list(places)
    macos = [str(place) for place in printing._usual_places("darwin", {})]
    assert "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome" in macos
    assert not list(printing._usual_places("linux", {}))
    monkeypatch.delenv(printing.BROWSER_VARIABLE, raising=False)
    monkeypatch.setattr("shutil.which", lambda _: None)
    monkeypatch.setattr(printing, "_usual_places", lambda *_: iter([edge]))
    assert printing.find_browser() is None
    edge.parent.mkdir(parents=True)
    edge.touch()
    assert printing.find_browser() == edge

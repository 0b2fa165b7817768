"""Every page, opened in a browser: nothing is fetched, nothing overflows, nothing complains."""

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "chrome") if (found := shutil.which(name))),
    None,
)
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on the path: install it to run these"),
]
WIDTHS = (1200, 360)

# A browser's window cannot be made as narrow as a phone, a frame can. Its script measures the
# page and tells the frame's owner, which writes it where `--dump-dom` finds it.
_MEASURE = """
<script>
addEventListener("load", () => {
  const wide = document.documentElement.clientWidth;
  const inScroll = (e) => e.closest(".scroll") !== null && !e.classList.contains("scroll");
  const over = [...document.body.querySelectorAll("*")].filter(
    (e) => !inScroll(e) && !e.closest("svg") && !e.closest(".skip")
      && (e.getBoundingClientRect().right > wide + 1 || e.getBoundingClientRect().left < -1));
  const small = [...document.body.querySelectorAll("*")].filter(
    (e) => !e.closest("svg") && e.textContent.trim()
      && parseFloat(getComputedStyle(e).fontSize) < 13);
  parent.postMessage({
    page: PAGE, width: innerWidth, wide, scrolls: document.documentElement.scrollWidth,
    over: over.slice(0, 5).map((e) => e.tagName + "." + e.className),
    small: small.slice(0, 5).map((e) => e.tagName + "." + e.className),
    fetched: performance.getEntriesByType("resource").map((r) => r.name),
  }, "*");
});
</script>
"""
_OWNER = """<!DOCTYPE html><html lang="en"><title>measures</title><body><script>
addEventListener("message", (m) => {
  const note = document.createElement("pre");
  note.className = "measured";
  note.textContent = JSON.stringify(m.data);
  document.body.append(note);
});
</script>
"""


@dataclass(frozen=True)
class Opened:
    dom: str
    console: tuple[str, ...]
    requested: tuple[str, ...]


def _requests(log: Path) -> tuple[str, ...]:
    """Return what pages asked for; what the browser asks on its own behalf has no origin."""
    net = json.loads(log.read_text(encoding="utf-8"))
    start = net["constants"]["logEventTypes"]["URL_REQUEST_START_JOB"]
    return tuple(
        event["params"]["url"]
        for event in net["events"]
        if event["type"] == start
        and event.get("params", {}).get("initiator", "not an origin") != "not an origin"
    )


def _open(page: Path) -> Opened:
    assert CHROMIUM is not None
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as own:
        log, dom, said = (Path(own) / name for name in ("net.json", "dom.html", "said.txt"))
        # Into files, and its whole group ended: a helper process of the browser that outlives
        # it would hold a pipe open, and whoever reads the pipe would wait for ever.
        with dom.open("wb") as to_dom, said.open("wb") as to_said:
            browser = subprocess.Popen(
                [
                    CHROMIUM,
                    "--headless",
                    "--no-sandbox",
                    "--disable-gpu",
                    "--disable-quic",
                    "--no-first-run",
                    "--disable-background-networking",
                    "--disable-component-update",
                    "--disable-sync",
                    # Whatever asks for a name, the browser itself included, finds no server.
                    "--host-resolver-rules=MAP * ~NOTFOUND",
                    f"--user-data-dir={own}/profile",
                    "--enable-logging=stderr",
                    f"--log-net-log={log}",
                    "--window-size=1300,900",
                    "--virtual-time-budget=20000",
                    "--dump-dom",
                    page.as_uri(),
                ],
                stdin=subprocess.DEVNULL,
                stdout=to_dom,
                stderr=to_said,
                env={**os.environ, "HOME": own},
                start_new_session=True,
            )
            try:
                ended = browser.wait(timeout=180)
            finally:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(browser.pid, signal.SIGKILL)
                browser.wait()
        assert ended == 0, said.read_text(encoding="utf-8", errors="replace")
        lines = said.read_text(encoding="utf-8", errors="replace").splitlines()
        console = tuple(line for line in lines if ":CONSOLE:" in line)
        return Opened(dom.read_text(encoding="utf-8"), console, _requests(log))


def _measures(pages: tuple[Path, ...], folder: Path) -> tuple[list[dict[str, Any]], Opened]:
    """Open a copy of every page, with a measuring script, in a frame of every width."""
    frames = []
    for number, page in enumerate(pages):
        text = page.read_text(encoding="utf-8")
        # Only the copy may run a script; that the page itself allows none is tested elsewhere.
        open_text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)
        script = _MEASURE.replace("PAGE", json.dumps(page.name))
        copy = folder / f"copy-{number}.html"
        copy.write_text(open_text.replace("</body>", script + "</body>"), encoding="utf-8")
        frames += [
            f'<iframe src="{copy.name}" width="{width}" height="900"></iframe>' for width in WIDTHS
        ]
    owner = folder / "owner.html"
    owner.write_text(_OWNER + "\n".join(frames), encoding="utf-8")
    opened = _open(owner)
    found = re.findall(r'<pre class="measured">(.*?)</pre>', opened.dom, re.DOTALL)
    return [json.loads(note.replace("&amp;", "&").replace("&gt;", ">")) for note in found], opened


def test_pages_as_they_are_fetch_nothing_and_complain_of_nothing(
    pages: tuple[Path, ...], tmp_path: Path
) -> None:
    frames = "\n".join(f'<iframe src="{page.as_uri()}"></iframe>' for page in pages)
    owner = tmp_path / "all.html"
    owner.write_text(f'<!DOCTYPE html><html lang="en"><title>all</title>{frames}', encoding="utf-8")
    opened = _open(owner)
    assert opened.console == ()
    assert {url for url in opened.requested if not url.startswith("file:")} == set()


def test_pages_fit_a_desk_and_a_phone_and_load_nothing_more(
    pages: tuple[Path, ...], tmp_path: Path
) -> None:
    measures, opened = _measures(pages, tmp_path)
    assert len(measures) == len(pages) * len(WIDTHS)
    assert {note["width"] for note in measures} == set(WIDTHS)
    for note in measures:
        assert note["scrolls"] <= note["wide"], note
        assert note["over"] == [], note
        assert note["small"] == [], note
        assert note["fetched"] == [], note
    assert opened.console == ()


def test_the_measures_can_fail(tmp_path: Path) -> None:
    page = tmp_path / "bad.html"
    page.write_text(
        '<!DOCTYPE html><html lang="en"><head><title>bad</title></head><body>'
        '<p style="width:2000px;font-size:9px">wide</p><img src="http://gone.invalid/x.png">'
        '<script>console.error("boom")</script></body></html>',
        encoding="utf-8",
    )
    (desk, phone), opened = _measures((page,), tmp_path)
    for note in (desk, phone):
        assert note["scrolls"] > note["wide"]
        assert note["over"] == ["P."]
        assert note["small"] == ["P."]
        assert note["fetched"] == ["http://gone.invalid/x.png"]
    assert any("boom" in line for line in opened.console)
    assert "http://gone.invalid/x.png" in opened.requested

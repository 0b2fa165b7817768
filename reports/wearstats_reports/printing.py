"""Pages printed to PDF by a browser that is on the machine already.

Why a browser and not a library: docs/report.md.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

from wearstats.errors import UsageError
from wearstats.spread import processors
from wearstats_reports.files import WrittenReport

BROWSER_VARIABLE = "WEARSTATS_BROWSER"
"""Names the browser to print with where it is none of the usual ones, or not where they lie."""

PAPERS = {"a4": "A4", "letter": "letter"}
"""Paper by the name an option takes, as style sheets write it."""

_ON_PATH = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "microsoft-edge-stable",
    "chrome",
    "msedge",
)
_ON_WINDOWS = (
    "Microsoft/Edge/Application/msedge.exe",
    "Google/Chrome/Application/chrome.exe",
    "Chromium/Application/chrome.exe",
)
_ON_MACOS = (
    "Google Chrome.app/Contents/MacOS/Google Chrome",
    "Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    "Chromium.app/Contents/MacOS/Chromium",
)
_LINK_OUT = re.compile(r'<a href="[^#"][^"]*"')
_PATIENCE_S = 180
_AT_ONCE = 4


def _usual_places(system: str, environment: Mapping[str, str]) -> Iterator[Path]:
    if system == "win32":
        for folder in ("ProgramFiles", "ProgramFiles(x86)", "LocalAppData"):
            if environment.get(folder):
                yield from (Path(environment[folder]) / tail for tail in _ON_WINDOWS)
    if system == "darwin":
        for root in (Path("/Applications"), Path.home() / "Applications"):
            yield from (root / tail for tail in _ON_MACOS)


def find_browser() -> Path | None:
    """Return a browser that prints without a window, or None.

    Raises
    ------
    UsageError
        `WEARSTATS_BROWSER` names a file that is not there.
    """
    named = os.environ.get(BROWSER_VARIABLE, "")
    if named:
        found = shutil.which(named)
        if found is None:
            message = f"{BROWSER_VARIABLE} names {named}, which is no program"
            raise UsageError(message)
        return Path(found)
    on_path = (Path(found) for name in _ON_PATH if (found := shutil.which(name)))
    there = (place for place in _usual_places(sys.platform, os.environ) if place.is_file())
    return next(on_path, None) or next(there, None)


def print_pages(written: WrittenReport, paper: str) -> tuple[Path, ...]:
    """Print every page of a report to a PDF beside it.

    Parameters
    ----------
    written : WrittenReport
    paper : str
        "a4" or "letter".

    Returns
    -------
    tuple of Path
        The fleet's page first.

    Raises
    ------
    UsageError
        There is no browser to print with, or it failed; the pages stay as they are.
    """
    browser = find_browser()
    if browser is None:
        message = f"the pages are in {written.folder}, but no browser was found to print them"
        hint = (
            "Install Chromium, Chrome or Edge, or name one in "
            f"{BROWSER_VARIABLE}; or open the pages and print them yourself."
        )
        raise UsageError(message, hint=hint)
    pages = (written.index, *(page for _, page in written.pages))
    with ThreadPoolExecutor(min(_AT_ONCE, processors())) as printers:
        return tuple(printers.map(partial(_print, browser, PAPERS[paper]), pages))


def _print(browser: Path, paper: str, page: Path) -> Path:
    # A page that named its paper would hinder who prints it by hand: only this copy does. A link
    # to another file would stay behind in a PDF that is sent on, with this machine's folders in it.
    copy = page.with_name(f"{page.stem}.printing.html")
    out, done = copy.with_suffix(".pdf"), page.with_suffix(".pdf")
    text = page.read_text(encoding="utf-8")
    try:
        copy.write_text(
            _LINK_OUT.sub(
                "<a", text.replace("</style>", f"@page {{ size: {paper}; }}\n</style>", 1)
            ),
            encoding="utf-8",
            newline="",
        )
        _run(browser, copy, out)
        out.replace(done)
    finally:
        copy.unlink(missing_ok=True)
        out.unlink(missing_ok=True)
    return done


def _run(browser: Path, page: Path, out: Path) -> None:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as own:
        said = Path(own) / "said.txt"
        command = [
            str(browser),
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            # The page asks for nothing; whatever else would, finds no server.
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={own}/profile",
            "--no-pdf-header-footer",
            f"--print-to-pdf={out.resolve()}",
            *(["--no-sandbox"] if _is_root() else []),
            page.resolve().as_uri(),
        ]
        # Into a file: a helper process that outlives the browser would hold a pipe open.
        with said.open("wb") as words:
            try:
                ended = subprocess.run(  # noqa: S603 - a browser, our own page, no shell
                    command,
                    check=False,
                    stdin=subprocess.DEVNULL,
                    stdout=words,
                    stderr=words,
                    timeout=_PATIENCE_S,
                ).returncode
            except (OSError, subprocess.TimeoutExpired) as error:
                raise _failed(browser, page, str(error)) from error
        if ended != 0 or not _is_pdf(out):
            lines = said.read_text(encoding="utf-8", errors="replace").split("\n")
            last = next(
                (line for line in reversed(lines) if line.strip()), f"it ended with {ended}"
            )
            raise _failed(browser, page, last.strip())


def _failed(browser: Path, page: Path, why: str) -> UsageError:
    message = f"the pages are in {page.parent}, but {browser.name} did not print them: {why}"
    hint = f"Name another browser in {BROWSER_VARIABLE}, or open the pages and print them yourself."
    return UsageError(message, hint=hint)


def _is_pdf(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(5) == b"%PDF-"


def _is_root() -> bool:
    """Return whether we are root, for whom a browser's sandbox refuses to start."""
    return hasattr(os, "geteuid") and os.geteuid() == 0

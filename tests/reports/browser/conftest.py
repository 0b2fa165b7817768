"""A headless Chromium, driven through a pipe: no port is opened, no library needed."""

import contextlib
import importlib.util
import json
import os
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = next(
    (
        found
        for name in ("chromium", "chromium-browser", "google-chrome", "chrome")
        if (found := shutil.which(name))
    ),
    None,
)
_PATIENCE_S = 120.0
_SWITCHES = (
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
    "--remote-debugging-pipe",
)
# Chromium reads its commands from descriptor 3 and answers on 4.
_ON_3_AND_4 = (
    "import os, sys; os.dup2(int(sys.argv[1]), 3); os.dup2(int(sys.argv[2]), 4); "
    "os.execv(sys.argv[3], sys.argv[3:])"
)
_COMPLAINTS = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")


class Browser:
    """One page of a browser, spoken to in the DevTools protocol."""

    def __init__(self, program: str, own: str) -> None:
        import fcntl  # not on Windows

        ours, self._commands = os.pipe()
        self._answers, theirs = os.pipe()
        # Out of the way of 3 and 4.
        ends = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in (ours, theirs)]
        words = [program, *_SWITCHES, f"--user-data-dir={own}/profile"]
        self._process = subprocess.Popen(
            [sys.executable, "-c", _ON_3_AND_4, *map(str, ends), *words],
            pass_fds=ends,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "HOME": own},
            start_new_session=True,
        )
        for end in (ours, theirs, *ends):
            os.close(end)
        self._unread = b""
        self._number = 0
        self._session: dict[str, str] = {}
        self.events: list[dict[str, Any]] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        attached = self.ask("Target.attachToTarget", targetId=target, flatten=True)
        self._session = {"sessionId": attached["sessionId"]}
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")

    def close(self) -> None:
        """End the browser and all it has started."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        os.close(self._commands)
        os.close(self._answers)

    def _message(self) -> dict[str, Any]:
        deadline = time.monotonic() + _PATIENCE_S
        while b"\0" not in self._unread:
            ready, _, _ = select.select([self._answers], [], [], deadline - time.monotonic())
            assert ready, "the browser does not answer"
            more = os.read(self._answers, 1 << 20)
            assert more, "the browser has gone"
            self._unread += more
        message, _, self._unread = self._unread.partition(b"\0")
        read: dict[str, Any] = json.loads(message)
        return read

    def ask(self, method: str, **parameters: object) -> dict[str, Any]:
        """Send one command and return its result."""
        self._number += 1
        command = {"id": self._number, "method": method, "params": parameters, **self._session}
        os.write(self._commands, json.dumps(command).encode() + b"\0")
        while True:
            message = self._message()
            if message.get("id") == self._number:
                assert "error" not in message, (method, message["error"])
                result: dict[str, Any] = message["result"]
                return result
            self.events.append(message)

    def open(self, page: Path, width: int, height: int = 900, scheme: str = "light") -> None:
        """Open a page as it stands, in a window of that size and scheme."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )
        wanted = [{"name": "prefers-color-scheme", "value": scheme}]
        self.ask("Emulation.setEmulatedMedia", media="", features=wanted)
        self.events.clear()
        self.ask("Page.navigate", url=page.as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self._message())

    def evaluate(self, script: str) -> Any:
        """Return what an expression in the page comes to."""
        asked = self.ask(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in asked, asked["exceptionDetails"]
        return asked["result"].get("value")

    def press(self, key: str) -> None:
        """Press and let go one key, on whatever has the focus."""
        text = {"Enter": "\r"}.get(key, "")
        for kind in ("keyDown", "keyUp"):
            code = {"Enter": 13, "Tab": 9}[key]
            event: dict[str, object] = {"type": kind, "key": key, "windowsVirtualKeyCode": code}
            if text and kind == "keyDown":
                event["text"] = text
            self.ask("Input.dispatchKeyEvent", **event)

    @property
    def complaints(self) -> list[dict[str, Any]]:
        """What the page has said on the console since it was opened, and every alert."""
        self.evaluate("0")  # whatever was said before is read by now
        kinds = (*_COMPLAINTS, "Page.javascriptDialogOpening")
        return [event["params"] for event in self.events if event.get("method") in kinds]

    @property
    def requested(self) -> list[str]:
        """What the page has asked for since it was opened, itself first."""
        self.evaluate("0")
        return [
            event["params"]["request"]["url"]
            for event in self.events
            if event.get("method") == "Network.requestWillBeSent"
        ]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None or os.name != "posix":
        pytest.skip("no chromium on the path: install it to run these (not on Windows)")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as own:
        started = Browser(CHROMIUM, own)
        try:
            yield started
        finally:
            started.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The checks themselves; the package is not imported, as it wants a browser of its own."""
    found = importlib.util.find_spec("axe_playwright_python")
    if found is None or found.origin is None:
        pytest.skip("axe-core is not installed: pip install --no-deps -r requirements/axe.txt")
    return Path(found.origin).with_name("axe.min.js").read_text(encoding="utf-8")

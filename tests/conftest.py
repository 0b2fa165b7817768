"""Habits of every test: fixed hypothesis examples, no global randomness, no display.

And a PostgreSQL of our own, where one is installed, so that the book is tested on both.
"""

import os
import random
import shutil
import signal
import subprocess
import tempfile
import time
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pytest
import rich.console  # noqa: F401 - draws a style's id once, when it is imported
from hypothesis import HealthCheck, settings
from sqlalchemy import URL, make_url

from wearstats.book import making, store
from wearstats.book.places import place_of

os.environ.setdefault("MPLBACKEND", "Agg")

settings.register_profile(
    "fixed",
    derandomize=True,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.register_profile("search", parent=settings.get_profile("fixed"), derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fixed"))


@pytest.fixture(autouse=True)
def no_global_randomness() -> Iterator[None]:
    """Fail a test that draws from the global generators: answers must follow from a seed."""
    python_before = random.getstate()
    numpy_before = np.random.get_state(legacy=False)  # noqa: NPY002 - watched, not used
    yield
    numpy_after = np.random.get_state(legacy=False)  # noqa: NPY002 - watched, not used
    same_numpy = (
        np.array_equal(numpy_before["state"]["key"], numpy_after["state"]["key"])
        and numpy_before["state"]["pos"] == numpy_after["state"]["pos"]
    )
    same_python = python_before == random.getstate()
    random.setstate(python_before)
    np.random.set_state(numpy_before)  # noqa: NPY002 - put back as it was
    assert same_numpy, "something drew from numpy's global generator"
    assert same_python, "something drew from Python's global generator"


PASSWORD = "s3cr/t word"  # noqa: S105 - of a server that lives as long as the tests
"""Of every test database, so that nothing works by chance without one."""


def _program(name: str) -> str | None:
    """Return where a program of PostgreSQL is; Debian keeps them off the path."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), reverse=True)
    return shutil.which(name) or next(map(str, places), None)


def _server_account() -> dict[str, str]:
    """Return who the server runs as: it refuses to run as root."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return {}
    return {"user": "nobody", "group": "nogroup"}


@pytest.fixture(scope="session")
def new_database() -> Iterator[Callable[[], str]]:
    """Yield a call that makes an empty PostgreSQL database and returns its URL.

    The server is one of our own in a temporary folder, on a socket there and on no port.
    """
    psycopg = pytest.importorskip("psycopg")
    initdb, server = _program("initdb"), _program("postgres")
    if initdb is None or server is None:
        pytest.skip("PostgreSQL is not installed")
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    # Gone in the end, whatever happens.
    weakref.finalize(psycopg, shutil.rmtree, folder, ignore_errors=True)
    account = _server_account()
    if account:
        shutil.chown(folder, account["user"], account["group"])
    data, secret = folder / "data", folder / "secret"
    secret.write_text(PASSWORD, encoding="utf-8")
    secret.chmod(0o644)
    words = [initdb, "-D", data, "-U", "shop", "-A", "scram-sha-256", f"--pwfile={secret}"]
    words += ["--no-sync", "--encoding=UTF8", "--locale=C"]
    subprocess.run(words, check=True, capture_output=True, cwd=folder, **account)  # type: ignore[call-overload]  # user and group
    quick = ["fsync=off", "full_page_writes=off", "max_connections=80", "shared_buffers=16MB"]
    settled = [word for setting in (*quick, "listen_addresses=") for word in ("-c", setting)]
    with (folder / "log").open("wb") as log:
        running = subprocess.Popen(
            [server, "-D", data, "-k", folder, *settled],
            stdout=log, stderr=log, cwd=folder, **account,  # type: ignore[call-overload]  # as above
        )  # fmt: skip
        address = {"host": str(folder), "user": "shop", "password": PASSWORD}
        made = 0

        def ask(statement: str, database: str = "books") -> None:
            with psycopg.connect(**address, dbname=database, autocommit=True) as connection:
                connection.execute(statement)

        def create() -> str:
            nonlocal made
            made += 1
            # A schema is as good as a database, and made in no time.
            ask(f"CREATE SCHEMA book{made}")
            secret, options = quote(PASSWORD, safe=""), quote(f"-csearch_path=book{made}")
            return f"postgresql+psycopg://shop:{secret}@/books?host={folder}&options={options}"

        try:
            _wait_until(lambda: ask("SELECT 1", "postgres"), psycopg.OperationalError)
            # Another order of texts than SQLite's.
            ask(
                "CREATE DATABASE books TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'en-US'",
                "postgres",
            )
            yield create
        finally:
            running.send_signal(signal.SIGQUIT)  # nothing in it is to be kept
            running.wait(30)
            shutil.rmtree(folder, ignore_errors=True)


def _wait_until(call: Callable[[], None], failure: type[Exception]) -> None:
    for _ in range(200):
        try:
            return call()
        except failure:
            time.sleep(0.05)
    return call()


@pytest.fixture(params=["sqlite", "postgresql"])
def either_database(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Keep the books of a test in SQLite, then in PostgreSQL: a path stands for a database."""
    kind: str = request.param
    if kind == "sqlite":
        return kind
    create: Callable[[], str] = request.getfixturevalue("new_database")
    urls: dict[Path, str] = {}

    def elsewhere(path: str | Path) -> Path | URL:
        place = place_of(path)
        if isinstance(place, Path):
            place = make_url(urls[place] if place in urls else urls.setdefault(place, create()))
        return place

    for module in (store, making):
        monkeypatch.setattr(module, "place_of", elsewhere)
    return kind

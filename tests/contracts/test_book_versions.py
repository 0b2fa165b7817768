"""Books of every version that was released: they open, and say what was logged into them.

`data/book-v1.book` was written by version 1 from the sheets told below. A change of the tables
that makes this fail needs a new number and a step in `wearstats.book.migrations`, never a new
file under the old number.
"""

import shutil
import sqlite3
from pathlib import Path
from types import MappingProxyType

import pandas as pd
import pytest
from sqlalchemy import Connection

from wearstats.book import Book, logbook, migrations
from wearstats.book.tables import SCHEMA_VERSION
from wearstats.errors import BookError
from wearstats.records.costs import Costs

DATA = Path(__file__).parent / "data"


@pytest.fixture
def first(tmp_path: Path) -> Path:
    return Path(shutil.copy(DATA / "book-v1.book", tmp_path / "season.book"))


def test_there_is_a_book_of_every_version() -> None:
    held = {path.name for path in DATA.glob("*.book")}
    assert held == {f"book-v{number}.book" for number in range(1, SCHEMA_VERSION + 1)}


def test_a_book_of_version_1_says_what_was_logged_into_it(first: Path) -> None:
    # Typed: K2 boost 38, tip 3/4, sound, later amended to 37; K3 boost 39, "first", later
    # completed with tip <2, sound; a run of the day "soon"; K2 restripped, burned, pressed; K2 has
    # 3 lobes; one tip reading of K2, 3 go, 4 no-go; K 2 is K2, k-3 is one of its own.
    with Book.open(first) as book:
        assert book.check() == ()
        season = book.season()
        runs = season.runs.set_index("unit")
        (item,) = book.aside()
        history = book.history()
        assert book.spellings() == ({"K 2": "K2"}, frozenset({"k-3"}))
        assert book.imports()["file"].tolist() == [
            "runs.csv", "later.csv", "restrips.csv", "units.csv", "readings.csv",
        ]  # fmt: skip
    shown = runs.loc[["K2", "K3"], ["boost_psi", "tip_low_thou", "tip_high_thou", "remark"]]
    assert [
        [None if pd.isna(value) else value for value in row]
        for row in shown.itertuples(index=False, name=None)
    ] == [[37, 3, 4, None], [39, None, 2, "first"]]
    assert runs["strips"].tolist() == ["sound", "sound"]
    assert season.restrips[["unit", "strip_material"]].to_numpy().tolist() == [["K2", "pressed"]]
    assert season.units["lobes"].tolist() == [3]
    assert season.readings["unit"].tolist() == ["K2"]
    assert season.costs == Costs(planned=900, burn_through=14_000, currency="EUR")
    assert (item.file, item.row, item.cells["date"]) == ("runs.csv", 4, "soon")
    assert set(history["why"]) == {"amended", "completed", "set anew"}


def test_a_book_of_version_1_can_be_logged_into(first: Path, tmp_path: Path) -> None:
    file = tmp_path / "more.csv"
    file.write_text("date,unit,run,boost (psi)\n2026-05-03,K2,1,37\n2026-05-05,K2,1,36\n")
    with Book.open(first) as book:
        result = book.log(file)
    assert (result.logged, result.already_there, result.set_aside) == (1, 1, 0)


# --- the way from an older version -----------------------------------------------------------


def as_an_older_book(path: Path) -> None:
    """Make a book of version 1 with a column less, as if version 2 had brought it."""
    held = sqlite3.connect(path)
    held.execute("ALTER TABLE runs DROP COLUMN strip_height_thou")
    held.commit()
    held.close()


def as_the_newer_program(monkeypatch: pytest.MonkeyPatch, step: migrations.Step) -> None:
    for module in (logbook, migrations):
        monkeypatch.setattr(module, "SCHEMA_VERSION", 2)
    monkeypatch.setattr(migrations, "STEPS", MappingProxyType({2: step}))


def version_of(path: Path) -> str:
    held = sqlite3.connect(path)
    ((version,),) = held.execute("SELECT value FROM meta WHERE name = 'schema'").fetchall()
    held.close()
    return str(version)


def test_an_older_book_is_brought_up_when_it_is_opened(
    first: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Book.open(first) as book:
        before = book.season().runs
    as_an_older_book(first)
    as_the_newer_program(monkeypatch, migrations.add_columns)
    with Book.open(first) as book:
        pd.testing.assert_frame_equal(book.season().runs, before)
        assert book.check() == ()
    assert version_of(first) == "2"


def test_a_step_that_fails_leaves_the_older_book_as_it_was(
    first: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_an_older_book(first)
    before = first.read_bytes()

    def step(connection: Connection) -> None:
        migrations.add_columns(connection)
        raise KeyboardInterrupt

    as_the_newer_program(monkeypatch, step)
    with pytest.raises(KeyboardInterrupt):
        Book.open(first)
    assert version_of(first) == "1"
    assert first.read_bytes() == before


def test_an_older_book_that_cannot_be_written_says_so(
    first: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_an_older_book(first)
    as_the_newer_program(monkeypatch, migrations.add_columns)
    with pytest.raises(BookError, match="read-only"):
        Book.open(f"sqlite:///file:{first}?mode=ro&uri=true")


@pytest.mark.parametrize("version", ["2", "999", "0", "-1", "", "one", "١"])
def test_a_version_that_is_not_known_is_refused(first: Path, version: str) -> None:
    held = sqlite3.connect(first)
    held.execute("UPDATE meta SET value = ? WHERE name = 'schema'", (version,))
    held.commit()
    held.close()
    with pytest.raises(BookError, match=f"version {version} of the book") as caught:
        Book.open(first)
    assert "Install the version" in caught.value.hint

"""The book on PostgreSQL as a person uses it: by its URL, from the command line, many at once."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import MetaData, create_engine, make_url, select

from wearstats.book import Book
from wearstats.errors import BookError, RecordError
from wearstats_cli.main import main

HEAD = "date,unit,run,boost (psi),strips\n"
GOOD = f"{HEAD}2026-05-03,K2,1,38,sound\n2026-05-03,K3,1,39,\n"

NewDatabase = Callable[[], str]
Wearstats = Callable[..., tuple[int, str]]


@pytest.fixture
def url(new_database: NewDatabase) -> str:
    return new_database()


def secret_of(url: str) -> tuple[str, str]:
    """Return the password as it stands in the URL, and as it is."""
    return url.split("shop:")[1].split("@", maxsplit=1)[0], str(make_url(url).password)


def sheet(folder: Path, text: str = GOOD, name: str = "runs.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def wearstats(capsys: pytest.CaptureFixture[str]) -> Wearstats:
    """Return a call of the command line, which returns its exit code and what it printed."""

    def call(*words: str | Path) -> tuple[int, str]:
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(word) for word in words])
        said = capsys.readouterr()
        return int(str(ended.value.code)), said.out + said.err

    return call


def everything(url: str) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of every table, as PostgreSQL itself tells them."""
    engine = create_engine(url)
    held = MetaData()
    with engine.connect() as connection:
        held.reflect(connection)
        rows = {
            table.name: [tuple(row) for row in connection.execute(select(table))]
            for table in held.sorted_tables
        }
    engine.dispose()
    return rows


def test_a_book_is_made_and_logged_into_by_its_url(
    url: str, tmp_path: Path, wearstats: Wearstats
) -> None:
    file = sheet(tmp_path)
    code, first = wearstats("log", url, file, "--json")
    assert (code, json.loads(first)["files"][0]["logged"]) == (0, 2)
    code, again = wearstats("log", url, file, "--json")
    assert (code, json.loads(again)["files"][0]["already_there"]) == (0, 2)
    code, lives = wearstats("lives", url, "--json")
    assert (code, len(json.loads(lives)["lives"])) == (0, 2)
    assert [*tmp_path.iterdir()] == [file]


def test_a_password_is_neither_shown_nor_kept(
    url: str, tmp_path: Path, wearstats: Wearstats
) -> None:
    file = sheet(tmp_path, f"{GOOD}soon,K2,2,38,\n2026-05-03,K2,1,31,\n")
    wrong = url.replace("shop:", "shop:wrong")
    said = [
        wearstats(*words)[1]
        for words in (
            ("log", url, file),
            ("log", url, file, "--json"),
            ("log", url, file, "--amend"),
            ("log", url, tmp_path / "missing.csv"),
            ("aside", url),
            ("aside", url, "--out", tmp_path / "mend.xlsx"),
            ("aside", url, "--discard", "999", "--why", "x", "--json"),
            ("lives", url),
            ("life", url, "--json"),
            ("lives", url.replace("/books", "/nowhere"), "--json"),
            ("lives", wrong, "--json"),
            ("log", wrong, file),
            ("sheet", tmp_path / "entry.xlsx", "--book", url),
        )
    ]
    shown = "".join(said)
    assert "***" in shown, "the book is named, without its password"
    kept = repr(everything(url)) + "".join(
        path.read_bytes().decode("latin-1") for path in tmp_path.iterdir()
    )
    for secret in secret_of(url):
        assert secret not in shown
        assert secret not in kept


def test_a_wrong_password_is_a_matter_of_words(url: str) -> None:
    with pytest.raises(BookError) as caught:
        Book.open(url.replace("shop:", "shop:wrong"))
    assert caught.value.hint
    assert caught.value.exit_code == 2


def test_a_second_writer_gives_up_in_plain_words(url: str, tmp_path: Path) -> None:
    file = sheet(tmp_path)
    seen: list[BookError] = []

    def second(_sheet: str, _rows: int) -> None:
        with Book.open(url, patience_s=0.2) as other, pytest.raises(BookError) as caught:
            other.log(file)
        seen.append(caught.value)

    with Book.create(url) as book:
        book.log(file, on_progress=second)
    assert "being written by someone else; gave up after 0.2 s" in str(seen[0])


def test_many_writers_at_once_lose_nothing(url: str, tmp_path: Path) -> None:
    files = [
        sheet(tmp_path, f"{HEAD}2026-05-03,K{who},1,38,\n2026-05-03,K0,1,38,sound\n", f"{who}.csv")
        for who in range(1, 13)
    ]
    with Book.create(url):
        pass

    def log(file: Path) -> tuple[int, int]:
        with Book.open(url) as book:
            result = book.log(file)
        return result.logged, result.already_there

    with ThreadPoolExecutor(len(files)) as pool:
        counts = list(pool.map(log, files))
    assert sorted(counts) == [(1, 1)] * 11 + [(2, 0)]
    with Book.open(url) as book:
        assert len(book.season().runs) == 13
        assert len(book.imports()) == 12


def test_an_import_that_fails_leaves_the_book_as_it_was(url: str, tmp_path: Path) -> None:
    with Book.create(url) as book:
        book.log(sheet(tmp_path))
        before = everything(url)
        broken = sheet(tmp_path, f'{HEAD}2026-05-04,K2,1,38,sound\n2026-05-05,K2,1,"38\n', "b.csv")
        with pytest.raises(RecordError):
            book.log(broken)
    assert everything(url) == before


def test_a_server_that_goes_away_is_said_in_plain_words(url: str, tmp_path: Path) -> None:
    def cut(_sheet: str, _rows: int) -> None:
        engine = create_engine(url)
        with engine.connect() as other:
            other.exec_driver_sql(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE pid <> pg_backend_pid() AND usename = 'shop'"
            )
        engine.dispose()

    with Book.create(url) as book:
        before = everything(url)
        with pytest.raises(BookError) as caught:
            book.log(sheet(tmp_path), on_progress=cut)
    assert caught.value.hint
    assert everything(url) == before


def test_a_database_with_other_tables_is_no_book(url: str) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE songs (title text)")
    engine.dispose()
    with pytest.raises(BookError, match="no book of this program"):
        Book.open(url)


def test_a_book_is_not_made_twice(url: str) -> None:
    with Book.create(url):
        pass
    with pytest.raises(BookError, match="holds a book already"):
        Book.create(url)

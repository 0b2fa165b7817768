"""Whatever is logged in whatever order, the book says what a plain model of it says."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from wearstats.book import Book, ImportResult, SheetResult
from wearstats.book.tables import METADATA

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
COLUMNS = ("boost (psi)", "tip (thou)", "strips", "remark")

Key = tuple[str, str, str]
Said = tuple[str, ...]

keys = st.tuples(
    st.sampled_from(["2026-05-03", "2026-05-04"]),
    st.sampled_from(["K2", "K3"]),
    st.sampled_from(["1", "2"]),
)
said = st.tuples(
    st.sampled_from(["", "38", "39.5"]),
    st.sampled_from(["", "3/4", "<4", "4"]),
    st.sampled_from(["", "sound"]),
    st.sampled_from(["", "=1+1"]),
)
FAULTY: tuple[Key, Said] = (("soon", "K2", "1"), ("38", "", "", ""))


@dataclass(frozen=True)
class File:
    rows: dict[Key, Said]
    amend: bool
    faulty: int


files = st.lists(
    st.builds(
        File,
        rows=st.dictionaries(keys, said, max_size=8),
        amend=st.booleans(),
        faulty=st.integers(1, 2),
    ),
    min_size=1,
    max_size=4,
)


@dataclass
class Model:
    """The rules of the book in a few lines, on text."""

    records: dict[Key, list[str]] = field(default_factory=dict)

    def log(self, file: File) -> dict[str, int]:
        counts = dict.fromkeys(("logged", "already_there", "set_aside", "amended", "completed"), 0)
        counts["set_aside"] += file.faulty
        for key, new in file.rows.items():
            held = self.records.get(key)
            if held is None:
                self.records[key] = list(new)
                counts["logged"] += 1
                continue
            fills = [n for n, (old, value) in enumerate(zip(held, new, strict=True))
                     if value and not old]  # fmt: skip
            clashes = [n for n, (old, value) in enumerate(zip(held, new, strict=True))
                       if value and old and value != old]  # fmt: skip
            if clashes and not file.amend:
                counts["set_aside"] += 1
            elif clashes or fills:
                counts["logged"] += 1
                counts["amended" if clashes else "completed"] += 1
                for place in (*fills, *clashes):
                    held[place] = new[place]
            else:
                counts["already_there"] += 1
        return counts

    def canonical(self) -> list[tuple[object, ...]]:
        readings = {"": (None, None), "3/4": (3.0, 4.0), "<4": (None, 4.0), "4": (4.0, 4.0)}
        return [
            (
                pd.Timestamp(day),
                unit,
                int(run),
                float(boost) if boost else None,
                *readings[tip],
                strips or None,
                remark or None,
            )
            for (day, unit, run), (boost, tip, strips, remark) in sorted(self.records.items())
        ]


@contextmanager
def book_folder() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp())
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def write(folder: Path, number: int, file: File) -> Path:
    # The last header makes each file one of its own; it is not known and not used.
    lines = [",".join(["date", "unit", "run", *COLUMNS, f"own words {number}"])]
    rows = [*file.rows.items(), *[FAULTY] * file.faulty]
    lines.extend(",".join([*key, *values, ""]) for key, values in rows)
    path = folder / f"runs{number}.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def log(book: Book, path: Path, *, amend: bool) -> ImportResult:
    result = book.log(path, amend=amend)
    parts: list[ImportResult | SheetResult] = [result, *result.sheets]
    for part in parts:
        assert part.rows_read == part.logged + part.already_there + part.set_aside
    return result


def canonical(book: Book) -> list[tuple[object, ...]]:
    fields = ["date", "unit", "run", "boost_psi", "tip_low_thou", "tip_high_thou", "strips"]
    frame = book.season().runs[[*fields, "remark"]]
    rows = frame.itertuples(index=False, name=None)
    return [tuple(None if pd.isna(value) else value for value in row) for row in rows]


def content(book: Book) -> dict[str, list[tuple[object, ...]]]:
    kept = [table for table in METADATA.sorted_tables if not table.name.startswith("import")]
    with book._store.reading() as connection:
        return {
            table.name: [
                tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))
            ]
            for table in kept
        }


# Every example makes books of its own, in the one database or the other.
in_either = pytest.mark.usefixtures("either_database")
ALIKE = [HealthCheck.function_scoped_fixture]


@in_either
@given(files)
@settings(max_examples=12, suppress_health_check=ALIKE)
def test_the_book_agrees_with_a_plain_model(logged: list[File]) -> None:
    model = Model()
    with book_folder() as folder, Book.create(folder / "a.db", clock=lambda: NOON) as book:
        for number, file in enumerate(logged):
            result = log(book, write(folder, number, file), amend=file.amend)
            expected = model.log(file)
            assert {name: getattr(result, name) for name in expected} == expected
            assert canonical(book) == model.canonical()
        assert book.check() == ()
        amended = sum(book.history()["why"] == "amended")
        assert amended >= sum(book.imports()["amended"])


@in_either
@given(files)
@settings(max_examples=8, suppress_health_check=ALIKE)
def test_logging_everything_again_changes_nothing(logged: list[File]) -> None:
    with book_folder() as folder, Book.create(folder / "a.db", clock=lambda: NOON) as book:
        paths = [write(folder, number, file) for number, file in enumerate(logged)]
        first = [log(book, path, amend=False) for path in paths]
        before = content(book)
        again = [log(book, path, amend=False) for path in paths]
        assert content(book) == before
    assert all(result.logged == result.mended == 0 for result in again)
    assert [result.set_aside for result in again] == [result.set_aside for result in first]


@in_either
@given(files)
@settings(max_examples=8, suppress_health_check=ALIKE)
def test_what_was_amended_is_not_undone_by_logging_the_older_files_again(
    logged: list[File],
) -> None:
    with book_folder() as folder, Book.create(folder / "a.db", clock=lambda: NOON) as book:
        paths = [write(folder, number, file) for number, file in enumerate(logged)]
        for path in paths:
            log(book, path, amend=True)
        before = canonical(book), book.history().drop(columns="when_utc")
        for path in paths:
            assert log(book, path, amend=False).logged == 0
        assert canonical(book) == before[0]
        pd.testing.assert_frame_equal(book.history().drop(columns="when_utc"), before[1])


@pytest.mark.parametrize("text", ["", "x"])
def test_the_model_itself_can_disagree(text: str) -> None:
    key = ("2026-05-03", "K2", "1")
    model = Model({key: ["38", "", "", "x"]})
    counts = model.log(File({key: ("39.5", "", "", text)}, amend=False, faulty=0))
    assert counts["set_aside"] == 1

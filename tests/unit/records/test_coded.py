"""Columns as distinct values and codes, their marks, and rows found again by them."""

import math
import subprocess
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearstats.records import stretches
from wearstats.records.cells import Cell, Fault
from wearstats.records.coded import Coded, as_array, coded_numbers, hashed, repeated
from wearstats.records.places import Places
from wearstats.records.schema import RUNS
from wearstats.records.seen import NOWHERE, Seen
from wearstats.records.stretches import ColumnTaker
from wearstats.records.values import cell_reader

REMARK, BOOST, DATE = RUNS.column("remark"), RUNS.column("boost"), RUNS.column("date")
COUNT = RUNS.column("runs since restrip")


def test_rows_come_out_of_values_and_codes() -> None:
    coded = Coded(["a", None, "b"], np.array([2, 0, 0, 1]))
    assert coded.listed() == ["b", "a", "a", None]
    assert (coded[0], len(coded), coded.of(np.array([3, 0])).listed()) == ("b", 4, [None, "b"])
    assert Coded.one_each([1.5, 1.5]).listed() == [1.5, 1.5]
    assert repeated(None, 2).is_blank()
    assert not coded.is_blank()
    assert coded_numbers(np.array([2.0, 1.0, 2.0])).listed() == [2.0, 1.0, 2.0]


@given(st.lists(st.one_of(st.none(), st.text(max_size=3))))
def test_texts_have_the_same_mark_where_they_are_the_same(texts: list[str | None]) -> None:
    marks = hashed(as_array(REMARK, texts)).tolist()
    assert len(set(zip(texts, marks, strict=True))) == len(set(texts)) == len(set(marks))


@given(st.lists(st.floats(allow_nan=False)))
def test_numbers_have_the_same_mark_where_they_are_the_same(numbers: list[float]) -> None:
    marks = hashed(as_array(BOOST, numbers)).tolist()
    assert len(set(zip(numbers, marks, strict=True))) == len(set(numbers)) == len(set(marks))


def test_blanks_have_one_mark_and_days_have_their_own() -> None:
    assert len(set(hashed(as_array(BOOST, [math.nan, float("nan"), 0.0, -0.0])).tolist())) == 2
    days = [None, date(2026, 5, 3), date(2026, 5, 4), None, date(2026, 5, 3)]
    assert len(set(hashed(as_array(DATE, days)).tolist())) == 3


def test_marks_are_the_same_in_every_process() -> None:
    code = (
        "from wearstats.records.coded import as_array, hashed\n"
        "from wearstats.records.schema import RUNS\n"
        "print(hashed(as_array(RUNS.column('remark'), ['K2', None])).tolist())"
    )
    done = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        for _ in range(2)
    ]
    assert done[0].stdout == done[1].stdout


def taker(*, text_only: bool) -> ColumnTaker:
    return ColumnTaker(COUNT, cell_reader(COUNT), text_only=text_only)


def test_cells_equal_to_python_and_not_to_us_are_told_apart() -> None:
    cells: list[Cell] = [1, 1.0, True, "1", 1]
    stretch = taker(text_only=False).take(cells)
    (read,) = stretch.fields.values()
    assert read.listed()[:2] == read.listed()[3:] == [1.0, 1.0]
    assert stretch.faulty().tolist() == [False, False, True, False, False]


@pytest.mark.parametrize("most", [3, 100_000])
def test_a_column_reads_alike_however_many_cells_are_remembered(
    monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    monkeypatch.setattr(stretches, "MOST_REMEMBERED", most)
    reading, seen = cell_reader(COUNT), taker(text_only=True)
    for cells in (["30", "x", "30"], ["31", "32", "", "30"], ["x", "33"]):
        stretch = seen.take(cells)
        (read,) = stretch.fields.values()
        for place, cell in enumerate(cells):
            said = reading(cell)
            value = math.nan if isinstance(said, Fault) else said[0]
            assert read.listed()[place] == pytest.approx(value, nan_ok=True)
            assert stretch.faulty()[place] == isinstance(said, Fault)
            assert stretch.texts[stretch.places[place]] == cell
            assert stretch.filled[place] == bool(cell)


@given(st.lists(st.lists(st.integers(0, 20), max_size=12), max_size=12))
def test_a_mark_is_found_where_it_came_first(stretches_of: list[list[int]]) -> None:
    seen, first, number = Seen(), dict[int, int](), 0
    for marks in stretches_of:
        rows = np.arange(number, number + len(marks))
        wanted = [
            NOWHERE if first.setdefault(mark, row) == row else first[mark]
            for mark, row in zip(marks, rows.tolist(), strict=True)
        ]
        assert seen.meet(np.array(marks, dtype=np.uint64), rows).tolist() == wanted
        number += len(marks)


@given(st.lists(st.lists(st.integers(0, 4), max_size=8), max_size=5))
def test_blank_places_are_counted_on_in_the_order_written(chunks: list[list[int]]) -> None:
    places, counts = Places(), dict[int, int]()
    for groups in chunks:
        wanted = []
        for group in groups:
            counts[group] = counts.get(group, 0) + 1
            wanted.append(counts[group])
        filled, unclear = places.fill(
            np.array(groups, dtype=np.uint64),
            np.full(len(groups), np.nan),
            np.ones(len(groups), dtype=bool),
        )
        assert filled.tolist() == wanted
        assert not unclear.any()


def test_logging_a_text_sheet_loads_neither_pandas_nor_pydantic(tmp_path: Path) -> None:
    (tmp_path / "runs.csv").write_text("date,unit\n2026-05-03,K2\n", encoding="utf-8")
    code = (
        "import sys, contextlib\n"
        "from wearstats_cli.main import main\n"
        "with contextlib.suppress(SystemExit):\n"
        "    main(sys.argv[1:])\n"
        "heavy = {'pandas', 'pyarrow', 'openpyxl', 'pydantic', 'scipy', 'matplotlib'}\n"
        "print('LOADED', sorted(heavy & set(sys.modules)))\n"
    )
    words = ["log", str(tmp_path / "new.book"), str(tmp_path / "runs.csv")]
    done = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
    )
    assert "logged" in done.stdout
    assert "LOADED []" in done.stdout

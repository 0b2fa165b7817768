"""Laws of records: nothing is lost, nothing crashes, what is written is read back."""

import csv
import io
import tempfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.errors import RecordError
from wearstats.records.cells import Fault
from wearstats.records.kinds import Settings
from wearstats.records.raw import RawChunk, RawSheet
from wearstats.records.read import read_sheets
from wearstats.records.schema import READINGS, RUNS, SHEETS, Column, Kind
from wearstats.records.season import canonical
from wearstats.records.spellings import UnitSpellings
from wearstats.records.take import take
from wearstats.records.values import cell_reader
from wearstats.records.write import csv_text, write_csv, write_workbook

ALL_COLUMNS = [column for sheet in SHEETS.values() for column in sheet]

typed = st.sampled_from(
    [
        "2026-05-03",
        "3 May 2026",
        "03/04/2026",
        "46145",
        "K1",
        "K 1",
        "k1",
        "1",
        "2",
        "3/4",
        "<2",
        ".004",
        '.004"',
        "0,10 mm",
        "1,200",
        "-3",
        "nan",
        "inf",
        "1e999",
        "60%",
        "sound",
        "OK",
        "",
        " ",
        "#REF!",
        "=1+1",
        "'=x",
        "\u00a0",
        "\u200b",
        "٣",
        "½",
        "TRUE",
        "tip",
        "drive",
    ]
)
hostile = st.one_of(typed, st.text(max_size=12))
header = st.one_of(
    st.sampled_from([name for column in ALL_COLUMNS for name in (column.name, *column.aliases)]),
    st.sampled_from(
        ["Boost (psi)", "boost mm", "Tip [mm]", "aside", "reason it was set aside", ""]
    ),
    st.text(max_size=8),
)
tables = st.lists(st.lists(hostile, max_size=8), min_size=1, max_size=8)
kinds = st.sampled_from([None, *SHEETS])


def check_account(path: Path, kind: str | None) -> None:
    """Every row with anything in it is taken or set aside, with its number and reason."""
    try:
        for raw in read_sheets(path):
            written = [
                row
                for chunk in raw.chunks
                for row in (*chunk.rows, *(number for number, _ in chunk.ragged))
            ]
            parts = list(take(raw, Settings(kind=kind), UnitSpellings()))
            if not parts[0].kind:
                assert len(parts) == 1
                assert parts[0].notes
                continue
            taken = [int(row) for part in parts for row in part.frame["_row"]]
            aside = [row for part in parts for row in part.aside]
            assert sorted([*taken, *(row.row for row in aside)]) == sorted(written)
            assert sum(part.rows_read for part in parts) == len(written)
            assert all(row.findings and row.findings[0].message for row in aside)
            sheet = SHEETS[parts[0].kind]
            frame = pd.concat([part.frame for part in parts])[list(sheet.fields)]
            assert len(canonical(sheet, frame)) == len(taken)
    except RecordError as error:
        assert str(error)  # noqa: PT017 - an error is one of two good outcomes


@settings(deadline=None, max_examples=100)
@given(
    headers=st.lists(header, min_size=1, max_size=8),
    rows=tables,
    kind=kinds,
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    delimiter=st.sampled_from([",", ";", "\t"]),
)
def test_rows_read_are_rows_taken_and_set_aside_in_csv(
    headers: list[str], rows: list[list[str]], kind: str | None, encoding: str, delimiter: str
) -> None:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter).writerows([["date", "unit", *headers], *rows])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.csv"
        path.write_bytes(text.getvalue().encode(encoding, errors="replace"))
        check_account(path, kind)


@settings(deadline=None, max_examples=100)
@given(content=st.binary(max_size=200), name=st.sampled_from(["a.csv", "a.tsv", "a.xlsx"]))
def test_any_bytes_are_read_or_refused(content: bytes, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        check_account(path, None)


cells = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**6), 10**6),
    st.floats(allow_nan=False, allow_infinity=False),
    st.dates(date(1900, 3, 1), date(2199, 1, 1)),
    st.datetimes(datetime(1901, 1, 1), datetime(2199, 1, 1)),  # noqa: DTZ001 - as in sheets
    typed,
)


@settings(deadline=None, max_examples=25)
@given(
    headers=st.lists(header, min_size=1, max_size=6),
    rows=st.lists(st.lists(cells, max_size=8), min_size=1, max_size=6),
    kind=kinds,
)
def test_rows_read_are_rows_taken_and_set_aside_in_a_workbook(
    headers: list[str], rows: list[list[object]], kind: str | None
) -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("sheet")
    plain = [
        "".join(one for one in text if one.isprintable()) for text in ("date", "unit", *headers)
    ]
    for row in (plain, *rows):
        sheet.append(row)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.xlsx"
        book.save(path)
        check_account(path, kind)


@given(cell=st.one_of(cells, st.text(), st.floats()), column=st.sampled_from(ALL_COLUMNS))
def test_any_cell_is_read_or_at_fault_and_kept_values_keep_to_the_limits(
    cell: str | float | bool | date | None, column: Column
) -> None:
    parsed = cell_reader(column)(cell)
    if isinstance(parsed, Fault):
        assert parsed.message
        return
    assert len(parsed) == len(column.fields)
    for value in parsed:
        if isinstance(value, float) and value == value and column.limits is not None:  # noqa: PLR0124 - not NaN
            assert column.limits[0] <= value <= column.limits[1]
    if column.kind is Kind.CHOICE:
        assert parsed[0] is None or parsed[0] in (column.choices or {})


@given(
    low=st.integers(1, 1100),
    step=st.integers(1, 90),
    unit=st.sampled_from([("thou", 10), ("in", 10_000), ("mm", 10_000 / 25.4), ("um", 10 / 25.4)]),
)
def test_a_reading_is_the_same_in_every_unit(low: int, step: int, unit: tuple[str, float]) -> None:
    name, tenths = unit
    text = f"{low / tenths!r}/{(low + step) / tenths!r} {name}"
    parsed = cell_reader(RUNS.column("tip"))(text)
    assert not isinstance(parsed, Fault), parsed
    assert all(
        abs(float(str(kept)) - wanted / 10) < 1e-9
        for kept, wanted in zip(parsed, (low, low + step), strict=True)
    )


texts = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], include_characters="\t\n=+-@'"), max_size=20
)


@settings(deadline=None, max_examples=50)
@given(remarks=st.lists(texts, min_size=1, max_size=5))
def test_text_written_as_csv_is_read_back(remarks: list[str]) -> None:
    frame = pd.DataFrame({"date": "2026-05-03", "unit": "K1", "remark": remarks})
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "runs.csv"
        write_csv(path, frame)
        (raw,) = read_sheets(path)
        read = [row[2] for chunk in raw.chunks for row in chunk.cells]
    assert read == remarks


@settings(deadline=None, max_examples=25)
@given(remarks=st.lists(texts, min_size=1, max_size=5))
def test_text_written_in_a_workbook_is_read_back_as_text(remarks: list[str]) -> None:
    frame = pd.DataFrame({"date": "2026-05-03", "unit": "K1", "remark": remarks})
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "runs.xlsx"
        write_workbook(path, {"runs": frame})
        (raw,) = read_sheets(path)
        read = [row[2] or "" for chunk in raw.chunks for row in chunk.cells]
    # XML knows one sort of line end.
    assert read == [text.replace("\r\n", "\n").replace("\r", "\n") for text in remarks]


@given(text=st.text())
def test_no_csv_cell_begins_a_formula_unless_it_is_a_number(text: str) -> None:
    cell = csv_text(text)
    if cell[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        float(cell)


@settings(deadline=None, max_examples=40)
@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from(["K1", "K2"]), st.sampled_from(["3", "4", "5"]), st.integers(1, 3)
        ),
        min_size=1,
        max_size=12,
    ),
    size=st.integers(1, 4),
)
def test_chunks_do_not_matter(rows: list[tuple[str, str, int]], size: int) -> None:
    cells_of = [("2026-05-03", unit, "" if run == 3 else str(run), tip) for unit, tip, run in rows]

    def sheet(step: int) -> RawSheet:
        def chunks() -> list[RawChunk]:
            return [
                RawChunk(list(range(at + 2, at + 2 + len(part))), list(part))
                for at in range(0, len(cells_of), step)
                if (part := cells_of[at : at + step])
            ]

        return RawSheet("f", "runs", ("date", "unit", "run", "tip"), 1, lambda: iter(chunks()))

    def outcome(step: int) -> tuple[list[list[object]], list[object]]:
        parts = list(take(sheet(step), Settings(), UnitSpellings()))
        frames = [part.frame[["_row", "unit", "run"]] for part in parts]
        asides = [row for part in parts for row in part.aside]
        return pd.concat(frames).to_numpy().tolist(), list(asides)

    assert outcome(size) == outcome(len(rows))


def test_the_counted_columns_are_counts() -> None:
    assert RUNS.column(str(RUNS.counted)).kind is Kind.COUNT
    assert READINGS.column(str(READINGS.counted)).kind is Kind.COUNT

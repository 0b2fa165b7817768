"""Files made to do harm: bombs, promises of gigabytes, odd encodings. Words, in no time."""

import io
import struct
import time
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from wearstats.book import Book, ImportResult
from wearstats.errors import RecordError
from wearstats.records.kinds import Settings

MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
KINDS = "application/vnd.openxmlformats-officedocument.spreadsheetml"
MOST_SECONDS = 60.0
"""A file that harms takes minutes or never ends; these take a second or two on a busy machine."""


def cells(*texts: str) -> str:
    return "".join(f'<c t="inlineStr"><is><t>{text}</t></is></c>' for text in texts)


def rows(*others: str) -> str:
    head = f'<row r="1">{cells("date", "unit")}</row><row r="2">{cells("2026-05-03", "K1")}</row>'
    return f"<worksheet {MAIN}><sheetData>{head}{''.join(others)}</sheetData></worksheet>"


def workbook(sheet: str, strings: str = f"<sst {MAIN}/>", **more: Iterable[bytes]) -> bytes:
    """Return a workbook of one sheet, as small as the format allows."""
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types">'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{KINDS}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/a.xml" ContentType="{KINDS}.worksheet+xml"/>'
        f'<Override PartName="/xl/strings.xml" ContentType="{KINDS}.sharedStrings+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="a" '
        f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {MAIN} xmlns:r="{OFFICE}"><sheets>'
        '<sheet name="runs" sheetId="1" r:id="a"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="a" Type="{OFFICE}/worksheet" Target="worksheets/a.xml"/>'
        f'<Relationship Id="b" Type="{OFFICE}/sharedStrings" Target="strings.xml"/>'
        "</Relationships>",
        "xl/worksheets/a.xml": sheet,
        "xl/strings.xml": strings,
    }
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
        for name, blocks in more.items():
            with archive.open(f"xl/{name}.bin", "w") as file:
                for block in blocks:
                    file.write(block)
    return stream.getvalue()


def with_entity(document: str, text: str) -> str:
    entity = f'<!DOCTYPE a [<!ENTITY a "{"x" * 100_000}">]>'
    return entity + document.replace("K1", "K1" + text)


def promising(content: bytes, size: int) -> bytes:
    """Return an archive whose directory states another size for every part."""
    changed, at = bytearray(content), 0
    while (at := changed.find(b"PK\x01\x02", at + 1)) > 0:
        # Uncompressed size: 24 bytes into an entry (APPNOTE.TXT of the ZIP format, 4.3.12).
        changed[at + 24 : at + 28] = struct.pack("<I", size)
    return bytes(changed)


def parquet(table: pa.Table) -> bytes:
    stream = io.BytesIO()
    pq.write_table(table, stream, compression="zstd")
    return stream.getvalue()


def logged(folder: Path, name: str, content: bytes) -> ImportResult:
    path = folder / name
    path.write_bytes(content)
    start = time.monotonic()
    try:
        with Book.open_or_create(folder / "season.book") as book:
            result = book.log(path, settings=Settings(kind="runs"))
    finally:
        assert time.monotonic() - start < MOST_SECONDS
    assert result.rows_read == result.logged + result.already_there + result.set_aside
    return result


def test_the_smallest_workbook_is_read(tmp_path: Path) -> None:
    assert logged(tmp_path, "a.xlsx", workbook(rows())).logged == 1


BOMBS: dict[str, Callable[[], bytes]] = {
    "ratio": lambda: workbook(rows(), bomb=(bytes(1 << 20) for _ in range(20))),
    "shared strings": lambda: workbook(
        rows(), f"<sst {MAIN}>{'<si><t>x</t></si>' * 700_000}</sst>"
    ),
    "one cell": lambda: workbook(rows(f'<row r="3">{cells("x" * (12 << 20))}</row>')),
    "entities in a sheet": lambda: workbook(with_entity(rows(), "&a;" * 50_000)),
    "entities in strings": lambda: workbook(
        rows(), with_entity(f"<sst {MAIN}><si><t>K1</t></si></sst>", "&a;" * 50_000)
    ),
    "ten gigabytes promised": lambda: promising(workbook(rows()), 0xFFFFFFF0),
    "a hundred bytes promised": lambda: promising(workbook(rows(*[rows()] * 50)), 100),
    "a row far away": lambda: workbook(rows(f'<row r="999999999999">{cells("x", "K1")}</row>')),
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_workbook_that_is_a_bomb_is_refused(tmp_path: Path, bomb: str) -> None:
    with pytest.raises(RecordError) as caught:
        logged(tmp_path, "runs.xlsx", BOMBS[bomb]())
    assert str(tmp_path) not in str(caught.value)


def test_a_cell_far_to_the_right_sets_its_row_aside(tmp_path: Path) -> None:
    far = '<row r="3"><c r="XFD3" t="inlineStr"><is><t>x</t></is></c></row>'
    result = logged(tmp_path, "a.xlsx", workbook(rows(far)))
    assert (result.logged, result.set_aside) == (1, 1)


TEXT = "date,unit,run,remark\n2026-05-03,K1,1,größer\n"


@pytest.mark.parametrize(
    "content",
    [
        TEXT.encode("utf-8"), TEXT.encode("utf-8-sig"), TEXT.encode("utf-16"),
        b"\xfe\xff" + TEXT.encode("utf-16-be"), TEXT.encode("cp1252"),
        b"\xef\xbb\xbf" + TEXT.encode("cp1252"), TEXT.replace("\n", "\r\n").encode(),
        TEXT.replace("\n", "\r").encode(),
    ],
    ids=["utf-8", "its mark", "utf-16", "big end first", "windows", "marked", "crlf", "cr"],
)  # fmt: skip
def test_a_text_is_read_however_a_program_saved_it(tmp_path: Path, content: bytes) -> None:
    assert logged(tmp_path, "a.csv", content).logged == 1
    with Book.open(tmp_path / "season.book") as book:
        assert book.season().runs["remark"].tolist() == ["größer"]


@pytest.mark.parametrize(
    "content",
    [TEXT.encode("utf-16-le"), TEXT.encode("utf-32"), TEXT.replace("K1", "K\0").encode()],
    ids=["utf-16 without its mark", "utf-32", "nul"],
)
def test_a_text_that_is_none_is_refused_with_what_to_do(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(RecordError, match="saved as UTF-8"):
        logged(tmp_path, "a.csv", content)


def test_lines_may_end_in_every_way_at_once(tmp_path: Path) -> None:
    text = b"date,unit\r\n2026-05-03,K1\r2026-05-04,K1\n2026-05-05,K1\r\n"
    assert logged(tmp_path, "a.csv", text).logged == 3


def test_a_million_columns_are_refused(tmp_path: Path) -> None:
    head = b"date,unit" + b",c" * 1_000_000
    with pytest.raises(RecordError, match="it has 1000002 columns; at most 512 are read"):
        logged(tmp_path, "a.csv", head + b"\n2026-05-03,K1" + b",1" * 1_000_000 + b"\n")


def test_a_cell_of_ten_megabytes_is_no_record(tmp_path: Path) -> None:
    text = b"date,unit,remark\n2026-05-03,K1," + b"x" * 10_000_000 + b"\n2026-05-04,K1,\n"
    with pytest.raises(RecordError, match="cannot be parted into cells"):
        logged(tmp_path, "a.csv", text)


@pytest.mark.parametrize("lines", [60_000, 500_000], ids=["to the end", "beyond any cell"])
def test_a_quote_that_is_never_closed_is_refused(tmp_path: Path, lines: int) -> None:
    with pytest.raises(RecordError, match="a quote may be opened and not closed"):
        logged(tmp_path, "a.csv", b'date,unit,remark\n2026-05-03,K1,"' + b"x\n" * lines)


def test_a_header_without_end_is_no_header(tmp_path: Path) -> None:
    head = b"date,unit," + b"(x " * 40_000 + b",remark"
    assert logged(tmp_path, "a.csv", head + b"\n2026-05-03,K1,1,\n").logged == 1


def test_a_parquet_file_of_thousands_of_columns_is_refused(tmp_path: Path) -> None:
    table = pa.table({f"c{place}": [1] for place in range(2_000)})
    with pytest.raises(RecordError, match="it has 2000 columns; at most 512 are read"):
        logged(tmp_path, "a.parquet", parquet(table))


def test_a_parquet_file_that_unfolds_to_gigabytes_is_refused(tmp_path: Path) -> None:
    # One text of a megabyte, written once and pointed to by 20,000 rows: 20 GB in full.
    remark = pa.DictionaryArray.from_arrays(pa.array([0] * 20_000), pa.array(["x" * 1_000_000]))
    table = pa.table({"date": ["2026-05-03"] * 20_000, "unit": ["K1"] * 20_000, "remark": remark})
    with pytest.raises(RecordError, match="a text of 1000000 bytes; at most 131072 are read"):
        logged(tmp_path, "a.parquet", parquet(table))

"""A disk that is full, a folder that may not be written: words, and never half a file."""

import shutil
import subprocess
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from wearstats.book import Book
from wearstats.errors import BookError, WearstatsError
from wearstats_cli.main import main
from wearstats_reports.entry import write_entry_workbook
from wearstats_synthetic import simulate, write_sheets

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
HEAD = "date,unit,run,boost (psi),strips\n"


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """Yield a folder on a disk of 400 kB, where this account may mount one."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = shutil.which("mount")
    words = [str(mount), "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(folder)]
    if mount is None or subprocess.run(words, capture_output=True, check=False).returncode:
        pytest.skip("a small disk cannot be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)  # noqa: S607 - as the system has it


def fill(folder: Path, *, leave: int = 0) -> Path:
    """Fill the disk of a folder but for some bytes."""
    path = folder / "filler"
    with path.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"x" * 4096)
        except OSError:
            pass
        file.truncate(max(file.tell() - leave, 0))
    return path


def many_rows(folder: Path, rows: int = 5000) -> Path:
    path = folder / "many.csv"
    lines = "".join(f"2026-05-03,K{unit},1,38,sound\n" for unit in range(rows))
    path.write_text(HEAD + lines, encoding="utf-8")
    return path


def test_a_full_disk_leaves_the_book_as_it_was_and_room_lets_it_go_on(
    small: Path, tmp_path: Path
) -> None:
    file = many_rows(tmp_path)
    path = small / "season.book"
    with Book.create(path, clock=lambda: NOON) as book:
        before = path.read_bytes()
        with pytest.raises(BookError, match="no room left on the disk") as caught:
            book.log(file)
        assert caught.value.hint
        assert book.season().runs.empty
        assert book.check() == ()
    assert path.read_bytes() == before
    moved = shutil.copy(path, tmp_path / "season.book")
    with Book.open(moved) as book:
        assert book.log(file).logged == 5000


def test_a_book_that_does_not_fit_is_not_made(small: Path) -> None:
    fill(small, leave=8192)
    with pytest.raises(BookError, match=r"no room left|cannot be made"):
        Book.create(small / "season.book")
    assert [path.name for path in small.iterdir()] == ["filler"]


def workbook_into(folder: Path) -> None:
    write_entry_workbook(folder / "entry.xlsx")


def asides_into(folder: Path) -> None:
    with Book.create(folder.parent / "aside.book") as book:
        file = folder.parent / "odd.csv"
        file.write_text(HEAD + "".join(f"soon,K{n},1,{n},\n" for n in range(500)))
        book.log(file)
        book.write_aside(folder / "mend.csv")


def sheets_into(folder: Path) -> None:
    write_sheets(simulate(1), folder / "sheets")


WRITERS = [workbook_into, asides_into, sheets_into]


@pytest.mark.parametrize("write", WRITERS)
def test_no_writer_leaves_half_a_file_on_a_full_disk(
    small: Path, write: Callable[[Path], None]
) -> None:
    fill(small, leave=4096)
    with pytest.raises((WearstatsError, OSError)) as caught:
        write(small)
    assert isinstance(caught.value, WearstatsError), repr(caught.value)
    assert files_in(small) == ["filler"]


def files_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


@pytest.mark.parametrize(
    "command", ["season", "aside", "sheet", "log", "demo"], ids=lambda name: f"wearstats {name}"
)
def test_a_command_on_a_full_disk_says_so(
    small: Path, tmp_path: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with Book.create(tmp_path / "season.book") as book:
        book.log(many_rows(tmp_path, 5))
        odd = tmp_path / "odd.csv"
        odd.write_text(HEAD + "soon,K1,1,38,\n")
        book.log(odd)
    fill(small, leave=4096)
    calls: dict[str, list[Path | str]] = {
        "season": [tmp_path / "season.book", "--out", small / "report"],
        "aside": [tmp_path / "season.book", "--out", small / "mend.xlsx"],
        "sheet": [small / "entry.xlsx"],
        "log": [small / "new.book", odd],
        "demo": [small / "demo"],
    }
    with pytest.raises(SystemExit) as ended:
        main([command, *map(str, calls[command])])
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert said.startswith("wearstats: ")
    assert "room" in said or "No space left" in said
    assert files_in(small) == ["filler"]


@pytest.mark.parametrize("command", ["season", "aside", "sheet", "log", "demo"])
def test_a_folder_that_is_a_file_is_a_matter_of_words(
    tmp_path: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with Book.create(tmp_path / "season.book") as book:
        odd = tmp_path / "odd.csv"
        odd.write_text(HEAD + "soon,K1,1,38,\n2026-05-03,K1,1,38,\n")
        book.log(odd)
    calls: dict[str, list[Path | str]] = {
        "season": [tmp_path / "season.book", "--out", odd / "report"],
        "aside": [tmp_path / "season.book", "--out", odd / "mend.xlsx"],
        "sheet": [odd / "entry.xlsx"],
        "log": [odd / "new.book", odd],
        "demo": [odd / "demo"],
    }
    before = odd.read_bytes()
    with pytest.raises(SystemExit) as ended:
        main([command, *map(str, calls[command])])
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith("wearstats: ")
    assert odd.read_bytes() == before
    assert files_in(tmp_path) == ["odd.csv", "season.book"]

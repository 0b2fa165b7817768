"""What the terminal promises: width, colour, examples, what to do next, signs of work."""

import importlib
import io
import os
import re
import shlex
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import click
import pytest
from rich.console import Console

from wearstats_cli import show
from wearstats_cli.main import group, main
from wearstats_synthetic import simulate, write_sheets

CONTEXT = group.make_context("wearstats", [], resilient_parsing=True)
COMMANDS = group.list_commands(CONTEXT)
COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3\d|4\d|9\d|10\d)[;m]")


def call(words: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        main(words)
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("terminal")
    written = write_sheets(simulate(7), folder)
    path = folder / "shop.book"
    assert call(["log", str(path), *map(str, written.files), str(written.costs_path)]) == 3
    return path


@pytest.mark.parametrize(
    "words",
    [
        "aside {book}",
        "lives {book}",
        "life {book} --uncalibrated --with strip_lot",
        "wear {book} --limit 8",
        "leak {book}",
        "cut {book} --unit K1 --target 4 --limit 9 --stock 40",
        "trend {book}",
        "plan {book} --meet-runs 3 --stock 2",
        "lookback {book}",
    ],
)
def test_a_line_has_eighty_letters_at_most(
    words: str, book: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert call(shlex.split(words.format(book=book))) in {0, 1, 3}
    said = capsys.readouterr()
    # The place of this test's book is as long as it is.
    lines = [line for line in said.out.splitlines() if str(book.parent) not in line]
    assert max(map(len, lines)) <= 80
    # Neither a terminal: no colour, and no sign of work.
    assert "\x1b" not in said.out
    assert said.err == ""


@pytest.mark.parametrize("name", COMMANDS)
def test_help_fits_and_ends_with_an_example_that_can_be_typed(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert call([name, "--help"]) == 0
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= 80
    command = group.get_command(CONTEXT, name)
    assert command is not None
    assert command.epilog is not None
    last = " ".join(said.split("\n\n")[-1].split())
    assert last == " ".join(command.epilog.split())
    example = command.epilog.partition("Example: ")[2].partition(". ")[0].partition(", ")[0]
    words = shlex.split(example)
    assert words[:2] == ["wearstats", name]
    known = {option for each in command.params for option in each.opts}
    assert {word for word in words if word.startswith("--")} <= known


def on_a_terminal(words: list[str], **environment: str) -> str:
    """Return what a command prints on a terminal, both streams."""
    pty = pytest.importorskip("pty", reason="no pseudo-terminals here")
    ours, theirs = pty.openpty()
    kept = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    done = subprocess.Popen(
        [sys.executable, "-m", "wearstats_cli", *words],
        stdout=theirs,
        stderr=theirs,
        env={**kept, "TERM": "xterm-256color", "COLUMNS": "80", **environment},
    )
    os.close(theirs)
    said = b""
    # A terminal whose other side is gone says so by an error, instead of an end.
    with suppress(OSError):
        while piece := os.read(ours, 65536):
            said += piece
    os.close(ours)
    assert done.wait() == 0
    return said.decode()


def test_colour_carries_nothing_and_can_be_turned_off(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert call(["lives", str(book)]) == 0
    in_a_file = capsys.readouterr().out.split()
    marks = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
    for settings in ({}, {"NO_COLOR": "1"}):
        said = on_a_terminal(["lives", str(book)], **settings)
        assert "\x1b[1m" in said
        assert marks.sub("", said).split() == in_a_file
    assert not COLOUR.search(said)


@pytest.mark.parametrize("command", ["leak", "lookback"])
def test_a_file_in_an_older_set_of_letters_is_written_whole(command: str, book: Path) -> None:
    # As on Windows, where a file or a pipe is written in cp1252 unless told otherwise.
    environment = {**os.environ, "PYTHONUTF8": "0", "PYTHONIOENCODING": "cp1252", "COLUMNS": "80"}
    done = subprocess.run(
        [sys.executable, "-m", "wearstats_cli", command, str(book)],
        env=environment,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    said = done.stdout.decode("cp1252")
    assert re.search(r"[( ]-\d", said)
    assert "?" not in said


def test_the_shells_complete_commands_and_options() -> None:
    # The page's own lines.
    page = (Path(__file__).resolve().parents[2] / "docs/terminal.md").read_text(encoding="utf-8")
    shells = re.findall(r"^_WEARSTATS_COMPLETE=(\w+)_source wearstats", page, re.MULTILINE)
    assert shells == ["bash", "zsh", "fish"]
    command = "import sys; from wearstats_cli.main import main; sys.argv = ['wearstats']; main()"
    for shell in shells:
        asked = {
            "COMP_WORDS": "wearstats lo",
            "COMP_CWORD": "lo" if shell == "fish" else "1",
            "_WEARSTATS_COMPLETE": f"{shell}_complete",
        }
        done = subprocess.run(
            [sys.executable, "-c", command],
            env={**os.environ, **asked},
            capture_output=True,
            text=True,
            check=False,
        )
        assert re.findall(r"\blo(?:g|okback)\b", done.stdout) == ["log", "lookback"], shell


@pytest.mark.parametrize(
    ("words", "next_step"),
    [
        (["plan", "nosuch.book"], "Check the name"),
        (["plam", "shop.book"], "Did you mean plan?"),
        (["plan"], "Try 'wearstats plan --help'"),
        (["life"], "name a BOOK"),
        (["demo", "."], "Name a new folder."),
        (["lives", "--lives", "nosuch.csv"], "Try 'wearstats lives --help'"),
        (["log", "new.book", "nosuch.csv"], "expected a .csv"),
    ],
)
def test_an_error_says_what_to_do_next(
    words: list[str],
    next_step: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "something").touch()
    assert call(words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert next_step in said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize("name", ["leak", "wear", "trend"])
def test_records_too_few_say_what_to_do_next(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "runs.csv"
    sheet.write_text("date,unit,runs since restrip,strips\n2026-05-03,K1,1,sound\n")
    book = str(tmp_path / "shop.book")
    assert call(["log", book, str(sheet)]) == 0
    capsys.readouterr()
    assert call([name, book]) == 1
    assert "wearstats lives" in capsys.readouterr().err


class Typed(io.StringIO):
    """A terminal that keeps what is written on it."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Typed:
    sheet = Typed()
    terminal = Console(file=sheet, force_terminal=True, width=80)
    monkeypatch.setattr(show, "_terminal", lambda: terminal)
    return sheet


def until_said(words: str, sheet: Typed) -> bool:
    for _ in range(1000):
        if words in sheet.getvalue():
            return True
        time.sleep(0.01)
    return False


def test_long_work_shows_what_it_does_and_for_how_long(
    typed: Typed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(show, "_PATIENCE_SECONDS", 0.0)
    with show.working("Fitting") as say:
        assert until_said("Fitting", typed)
        assert until_said("0:00:0", typed)
        say("Drawing [K1]")
        assert until_said("Drawing [K1]", typed)
    # The line is taken back.
    assert typed.getvalue().endswith("\x1b[1A\x1b[2K")


def test_short_work_shows_nothing(typed: Typed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(show, "_PATIENCE_SECONDS", 600.0)
    with show.working("Fitting") as say:
        say("Drawing")
    assert typed.getvalue() == ""


def test_a_file_gets_no_sign_of_work(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(show, "_PATIENCE_SECONDS", 0.0)
    with show.working("Fitting") as say:
        say("Drawing")
        time.sleep(0.05)
    assert capsys.readouterr() == ("", "")


def test_whoever_takes_long_shows_it() -> None:
    # Measured on the demo season: these take longer than a second.
    for name in ("log", "life", "wear", "leak", "plan", "lookback", "season", "demo"):
        module = importlib.import_module(f"wearstats_cli.commands.{name}")
        assert isinstance(module.command, click.Command)
        assert "show.working(" in Path(str(module.__file__)).read_text(encoding="utf-8"), name

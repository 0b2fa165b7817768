"""Who follows the page, command by command, gets a plan."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from wearstats.cut import CAUTION
from wearstats.plans import ADVICE_MEANS, CAUTIONS
from wearstats_cli.main import group, main

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = (DOCS / "first-plan.md").read_text(encoding="utf-8")
SPOILED = "2026-05-17,K-1,4,33.1,4/5,sound,\n"


def blocks(page: str, kind: str) -> list[str]:
    return re.findall(rf"```{kind}\n(.*?)```", page, flags=re.DOTALL)


def commands(page: str) -> Iterator[list[str]]:
    for block in blocks(page, "console"):
        for line in block.splitlines():
            words = shlex.split(line, comments=True)
            if words[:1] == ["wearstats"]:
                yield words[1:]


def call(words: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        main(words)
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    runs, restrips = blocks(PAGE, "csv")
    (costs,) = blocks(PAGE, "toml")
    (tmp_path / "runs.csv").write_text(runs, encoding="utf-8")
    (tmp_path / "restrips.csv").write_text(restrips, encoding="utf-8")
    (tmp_path / "costs.toml").write_text(costs, encoding="utf-8")
    return tmp_path


@pytest.mark.usefixtures("folder")
def test_the_sheets_of_the_page_are_taken_whole(capsys: pytest.CaptureFixture[str]) -> None:
    assert call(["log", "shop.book", "runs.csv", "restrips.csv", "costs.toml"]) == 0
    assert "set aside with" not in capsys.readouterr().out


def test_every_command_of_the_page_in_its_order(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # One row in doubt, so that there is something to mend.
    with (folder / "runs.csv").open("a", encoding="utf-8") as sheet:
        sheet.write(SPOILED)
    asked = list(commands(PAGE))
    names = ["sheet", "log", "aside", "log", "lives", "life", "plan", "plan", "season"]
    assert [words[0] for words in asked] == names
    codes = [call(words) for words in asked]
    assert codes == [0, 3, 3, 3, 0, 0, 0, 0, 0]
    said = capsys.readouterr().out
    for column in ("lasts 4 runs", "due", "Why", "The meet ahead"):
        assert column in said
    for file in ("season.xlsx", "mend.xlsx", "report/index.html", "report/season.json"):
        assert (folder / file).stat().st_size


def test_two_spellings_are_joined_as_the_page_says(folder: Path) -> None:
    with (folder / "runs.csv").open("a", encoding="utf-8") as sheet:
        sheet.write(SPOILED)
    (joined,) = re.findall(r"`(--join [^`]+)`", PAGE)
    assert call(["log", "shop.book", "runs.csv", *shlex.split(joined)]) == 0


def test_the_words_of_an_advice_and_the_cautions_are_those_of_the_code() -> None:
    cautions = (DOCS / "cautions.md").read_text(encoding="utf-8")
    for caution in (*CAUTIONS, CAUTION):
        assert f"- {caution}\n" in cautions
    for page in (PAGE, cautions):
        rows = dict(re.findall(r"^\| (run|look first|restrip) \| (.*) \|$", page, re.MULTILINE))
        assert rows == ADVICE_MEANS


def test_every_page_is_in_the_index() -> None:
    index = (DOCS / "README.md").read_text(encoding="utf-8")
    linked = set(re.findall(r"\]\(([^)#:]+)\)", index))
    pages = {str(page.relative_to(DOCS)) for page in DOCS.rglob("*.md")} - {"README.md"}
    assert linked == pages


def spoken() -> Iterator[tuple[str, list[str]]]:
    for page in DOCS.rglob("*.md"):
        for words in commands(page.read_text(encoding="utf-8")):
            yield page.name, words


@pytest.mark.parametrize(("page", "words"), list(spoken()))
def test_every_command_and_option_of_the_pages_exists(page: str, words: list[str]) -> None:
    context = click.Context(group)
    if words == ["--version"]:
        return
    command = group.get_command(context, words[0])
    assert command is not None, page
    known = {option for each in command.params for option in each.opts}
    assert {word.partition("=")[0] for word in words if word.startswith("--")} <= known, page

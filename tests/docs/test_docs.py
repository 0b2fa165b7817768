"""What the documents promise is what the program does."""

import json
import re
import shlex
from pathlib import Path

import pytest

from wearstats.records.dictionary import data_dictionary
from wearstats_cli.main import group, main
from wearstats_synthetic import simulate, write_sheets

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
COMMANDS = group.list_commands(group.make_context("wearstats", [], resilient_parsing=True))


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("docs")
    write_sheets(simulate(7), folder, spoiled=False)
    return folder


@pytest.fixture(scope="module")
def book(sheets: Path) -> Path:
    path = sheets / "shop.book"
    names = ("runs_dock.csv", "runs_trailer.xlsx", "restrips.csv", "units.csv", "costs.toml")
    with pytest.raises(SystemExit):
        main(["log", str(path), *(str(sheets / name) for name in names)])
    return path


def documented(command: str) -> set[str]:
    text = (DOCS / "json.md").read_text(encoding="utf-8")
    section = text.split(f"\n## {command}\n", 1)[1].split("\n## ", 1)[0]
    cells = re.findall(r"^\| (`[^|]*) \|", section, flags=re.MULTILINE)
    return {name for cell in cells for name in re.findall(r"`([^`]+)`", cell)}


@pytest.mark.parametrize(
    "call",
    [
        "sheet {sheets}/entry.xlsx --book {book}",
        "log {book} {sheets}/readings.csv",
        "aside {book}",
        "lives {book}",
        "life {book}",
        "wear {book}",
        "leak {book}",
        "cut {book} --unit K1 --target 4",
        "trend {book}",
        "plan {book}",
        "lookback {book}",
        "season {book} --out {sheets}/report",
    ],
)
def test_json_has_the_documented_keys(
    call: str, book: Path, sheets: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = shlex.split(call.format(book=book, sheets=sheets))
    with pytest.raises(SystemExit) as left:
        main([*words, "--json"])
    assert left.value.code == 0
    answer = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert set(answer) == documented(words[0])


def test_every_command_is_in_the_readme_or_the_json_page() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    pages = readme + (DOCS / "json.md").read_text(encoding="utf-8")
    missing = [name for name in COMMANDS if f"wearstats {name}" not in pages and name != "demo"]
    assert not missing
    assert "make demo" in readme


def test_every_option_in_the_readme_exists() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    context = group.make_context("wearstats", [], resilient_parsing=True)
    blocks = "\n".join(re.findall(r"```console\n(.*?)```", readme, flags=re.DOTALL))
    lines = re.findall(r"^wearstats (.+?)(?:\s+#.*)?$", blocks, flags=re.MULTILINE)
    assert len(lines) >= 6
    for line in lines:
        name, *words = shlex.split(line)
        command = group.get_command(context, name)
        assert command is not None, name
        known = {option for parameter in command.params for option in parameter.opts}
        assert {word for word in words if word.startswith("--")} <= known, line


def test_the_data_dictionary_is_current() -> None:
    # `make docs` writes it anew.
    assert (DOCS / "data-dictionary.md").read_text(encoding="utf-8") == data_dictionary()


def test_links_between_the_documents_lead_somewhere() -> None:
    for page in (*ROOT.glob("*.md"), *DOCS.rglob("*.md")):
        for link in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / link).exists(), f"{page.name}: {link}"


def test_the_readme_opens_with_one_paragraph_that_states_the_job() -> None:
    title, paragraph, *_ = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")
    assert title == "# wearstats"
    assert len(paragraph.splitlines()) == 1

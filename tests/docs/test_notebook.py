"""The notebook's page is run line by line, and prints what it says it prints."""

from pathlib import Path

import pytest
from sybil import Sybil
from sybil.parsers.markdown import PythonCodeBlockParser

PAGE = Path(__file__).resolve().parents[2] / "docs/notebook.md"


def test_every_line_prints_what_the_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    page = Sybil([PythonCodeBlockParser()]).parse(PAGE)
    lines = list(page.examples())
    assert len(lines) == PAGE.read_text(encoding="utf-8").count("\n>>> ")
    for line in lines:
        line.evaluate()
    assert (tmp_path / "try/fleet.png").stat().st_size


def test_another_number_than_printed_is_noticed(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("```python\n>>> 1 + 1\n3\n```\n", encoding="utf-8")
    (line,) = Sybil([PythonCodeBlockParser()]).parse(page).examples()
    with pytest.raises(AssertionError):
        line.evaluate()

"""What the code must not do with text it was given: run it, unpack it, or follow it anywhere."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from wearstats.book import Book
from wearstats_cli.main import main

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("wearstats", "cli", "reports", "synthetic_data")
MODULES = [path for folder in FOLDERS for path in sorted((ROOT / folder).rglob("*.py"))]

# Unpacks or runs what it is given; a report or a book is never kept in such a form.
FORBIDDEN_MODULES = {"pickle", "cPickle", "dill", "marshal", "shelve", "yaml", "code", "codeop"}
FORBIDDEN_CALLS = {
    "eval", "exec", "compile", "__import__",
    "os.system", "os.popen", "subprocess.run", "subprocess.Popen", "subprocess.call",
    "subprocess.check_call", "subprocess.check_output",
    "pd.read_pickle", "pandas.read_pickle", "np.load", "numpy.load", "joblib.load", "yaml.load",
    "DataFrame.eval", "DataFrame.query",
}  # fmt: skip
# Each with its reason; nothing of these comes from a file.
ALLOWED = {
    # Packs a report once for its own child processes, in memory.
    "reports/wearstats_reports/workers.py": {"pickle"},
    # Starts a browser that prints a page: words in a list, no shell.
    "reports/wearstats_reports/printing.py": {"subprocess.run"},
}
FORBIDDEN_METHODS = {"to_pickle", "read_pickle"}
FORBIDDEN_WORDS = {"shell", "allow_pickle"}


def faults(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names if root(one.name) in FORBIDDEN_MODULES)
        elif isinstance(node, ast.ImportFrom) and root(node.module or "") in FORBIDDEN_MODULES:
            yield str(node.module)
        elif isinstance(node, ast.Call):
            name = ast.unparse(node.func)
            if name in FORBIDDEN_CALLS or name.rpartition(".")[2] in FORBIDDEN_METHODS:
                yield name
            yield from (
                f"{name}({one.arg}=...)" for one in node.keywords if one.arg in FORBIDDEN_WORDS
            )


def root(module: str) -> str:
    return module.partition(".")[0]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_nothing_given_is_run_or_unpacked(path: Path) -> None:
    allowed = ALLOWED.get(path.relative_to(ROOT).as_posix(), set())
    assert not set(faults(path.read_text(encoding="utf-8"))) - allowed


@pytest.mark.parametrize(
    "source",
    [
        "import pickle", "from pickle import loads", "eval(text)", "exec(text)",
        "yaml.load(text)", "np.load(path, allow_pickle=True)", "pd.read_pickle(path)",
        "subprocess.run(words, shell=True)", "frame.to_pickle(path)", "os.system(text)",
    ],
)  # fmt: skip
def test_the_search_finds_what_it_looks_for(source: str) -> None:
    assert list(faults(source))


@pytest.mark.parametrize("unit", ["../../up", "/etc/up", "..\\up", "CON", "a/b", "\u202eup"])
def test_no_name_in_a_sheet_becomes_part_of_a_path(
    tmp_path: Path, unit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    sheet = tmp_path / "runs.csv"
    sheet.write_text(f"date,unit,run,boost (psi)\n2026-05-03,{unit},1,38\nsoon,{unit},1,38\n")
    with Book.create(tmp_path / "season.book") as book:
        book.log(sheet)
        book.write_aside(inside / "mend.xlsx")
    with pytest.raises(SystemExit):
        main(["sheet", str(inside / "entry.xlsx"), "--book", str(tmp_path / "season.book")])
    capsys.readouterr()
    written = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*")}
    assert written == {
        "inside", "inside/mend.xlsx", "inside/entry.xlsx", "runs.csv", "season.book",
    }  # fmt: skip

"""The house keeps its own rules: names, sizes, imports, what is committed."""

import importlib
import pkgutil
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from types import ModuleType

import pytest

from wearstats.book import Book
from wearstats.records import Costs

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = {
    "wearstats": ROOT / "wearstats",
    "wearstats_cli": ROOT / "cli/wearstats_cli",
    "wearstats_reports": ROOT / "reports/wearstats_reports",
    "wearstats_synthetic": ROOT / "synthetic_data/wearstats_synthetic",
}
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml",
    "wearstats", "cli", "reports", "synthetic_data", "tests", "requirements", "benchmarks", "docs",
}  # fmt: skip
LONGEST_MODULE = 400


def committed() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-z"],  # noqa: S607 - git as the person has it
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout.decode()
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).exists()]


def in_a_checkout() -> bool:
    return (ROOT / ".git").exists()


needs_checkout = pytest.mark.skipif(not in_a_checkout(), reason="not a git checkout")


def test_the_wheel_has_four_packages_and_no_stray_names(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    top = {name.split("/")[0] for name in names if ".dist-info" not in name}
    assert top == set(PACKAGES)
    for package in PACKAGES:
        assert f"{package}/py.typed" in names
    assert any(name.startswith("wearstats_reports/templates/") for name in names)


@pytest.mark.parametrize("folder", ["cli", "reports", "synthetic_data", "tests"])
def test_top_folders_are_no_packages(folder: str) -> None:
    assert not (ROOT / folder / "__init__.py").exists()


@needs_checkout
def test_only_the_agreed_names_stand_at_the_top() -> None:
    top = {path.relative_to(ROOT).parts[0] for path in committed()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.parametrize("package", sorted(PACKAGES))
def test_modules_are_short(package: str) -> None:
    too_long = {
        str(path.relative_to(ROOT)): lines
        for path in PACKAGES[package].rglob("*.py")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST_MODULE
    }
    assert not too_long


@needs_checkout
def test_nothing_committed_names_a_machine_or_a_registry() -> None:
    # Split so that this file does not find itself.
    machine = re.compile("|".join([r"(?<![A-Za-z.])/" + "root/", "/" + r"work/(main|shared)"]))
    registry = re.compile(
        "|".join(
            ["pypi" + r"\.org", "pythonhosted" + r"\.org", "npmjs" + r"\.", "extra-" + "index"]
        )
    )
    faults = []
    for path in committed():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        if machine.search(text) or registry.search(text):
            faults.append(str(path.relative_to(ROOT)))
    assert not faults


def test_help_loads_neither_pandas_nor_matplotlib() -> None:
    code = (
        "import sys, contextlib\n"
        "from wearstats_cli.main import main\n"
        "with contextlib.suppress(SystemExit):\n"
        "    main(['--help'])\n"
        "heavy = {'numpy', 'pandas', 'matplotlib', 'scipy', 'statsmodels', 'lifelines',"
        " 'seaborn', 'sqlalchemy', 'pydantic', 'rich'}\n"
        "print('LOADED', sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "season" in done.stdout
    assert "LOADED []" in done.stdout


def test_lives_of_a_book_load_neither_pydantic_nor_readers_of_sheets(tmp_path: Path) -> None:
    (tmp_path / "runs.csv").write_text("date,unit\n2026-05-03,K2\n", encoding="utf-8")
    with Book.create(tmp_path / "season.book") as book:
        book.log(tmp_path / "runs.csv")
        book.set_costs(Costs(planned=900, burn_through=14_000))
    code = (
        "import sys\n"
        "from wearstats_cli.reading import lives_from\n"
        "assert len(lives_from(sys.argv[1], None).lives.frame) == 1\n"
        "unused = {'pydantic', 'wearstats.records.sorting', 'wearstats.book.importing'}\n"
        "print('LOADED', sorted(unused & set(sys.modules)))\n"
    )
    words = [sys.executable, "-c", code, str(tmp_path / "season.book")]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "LOADED []"


@pytest.mark.parametrize(
    "names",
    ["wearstats_cli.show", "wearstats_cli.tables", "wearstats_reports.fits", "wearstats.book"],
)
def test_who_draws_nothing_loads_no_drawing(names: str) -> None:
    code = f"import sys, {names}\nprint(sorted({{'matplotlib', 'seaborn'}} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("package", ["wearstats", "wearstats.records", "wearstats_reports"])
def test_every_offered_name_is_there(package: str) -> None:
    module = importlib.import_module(package)
    assert all(hasattr(module, name) for name in module.__all__)
    assert not hasattr(module, "nonsense")


@pytest.mark.parametrize(
    "package",
    ["wearstats", *(f"wearstats.{room}" for room in ("book", "life", "lives", "records"))],
)
def test_no_module_hides_an_offered_name(package: str) -> None:
    # A module that is loaded stands in its package under its own name, before any name on demand.
    home = importlib.import_module(package)
    for module in pkgutil.iter_modules(home.__path__):
        importlib.import_module(f"{package}.{module.name}")
    assert not [name for name in home.__all__ if isinstance(getattr(home, name), ModuleType)]


def test_the_root_of_the_library_loads_nothing_heavy() -> None:
    code = "import sys, wearstats\nprint(sorted({'numpy', 'pandas'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

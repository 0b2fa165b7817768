"""The import contract holds, and it fires when a layer reaches up."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LINT = Path(sys.executable).with_name("lint-imports")


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    paths = [folder, *(folder / name for name in ("cli", "reports", "synthetic_data"))]
    return subprocess.run(
        [str(LINT), "--no-cache"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, paths))},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    for name in ("wearstats", "cli", "reports", "synthetic_data"):
        shutil.copytree(ROOT / name, tmp_path / name)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contract_holds() -> None:
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("wearstats/records/findings.py", "import wearstats.life"),
        ("wearstats/units.py", "import wearstats.records"),
        ("wearstats/plots/__init__.py", "import wearstats.life"),
        ("wearstats/life/__init__.py", "import matplotlib"),
        ("synthetic_data/wearstats_synthetic/truth.py", "import wearstats.life"),
        ("reports/wearstats_reports/__init__.py", "import wearstats_synthetic"),
    ],
)
def test_a_layer_that_reaches_up_is_refused(copy: Path, module: str, line: str) -> None:
    path = copy / module
    path.write_text(path.read_text(encoding="utf-8") + f"\n{line}\n", encoding="utf-8")
    assert lint(copy).returncode != 0


def test_a_room_nobody_announced_is_refused(copy: Path) -> None:
    room = copy / "wearstats/attic"
    room.mkdir()
    (room / "__init__.py").write_text('"""A room."""\n', encoding="utf-8")
    assert lint(copy).returncode != 0

"""`wearstats leak` as a person meets it."""

import json
from pathlib import Path
from typing import Any

import pytest

from told import Tell
from wearstats_cli.main import main
from wearstats_synthetic import simulate, write_sheets

TEST = """[[test]]
unit = "K1"
slip_rpm = 250.0
pressure_psi = 5.0
tip_thou = 4.0
mesh_thou = 4.0
front_thou = 6.0
rear_thou = 6.0
"""


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("leak")
    write_sheets(simulate(7), folder, spoiled=False)
    path = folder / "shop.book"
    names = ("runs_dock.csv", "runs_trailer.xlsx", "restrips.csv", "units.csv")
    with pytest.raises(SystemExit):
        main(["log", str(path), *(str(folder / name) for name in names)])
    return path


def test_every_unit_has_both_losses_by_path_with_intervals(tell: Tell, book: Path) -> None:
    code, out, _ = tell("leak", book, "--json")
    assert code == 0
    answer: dict[str, Any] = json.loads(out)
    assert answer["restrips"] > 3
    assert list(answer["lost"][0]) == [
        "unit",
        "runs_on_strips",
        "since_restrip",
        "in_all",
        "worth_of_one_more",
    ]
    for each in answer["lost"]:
        for name in ("since_restrip", "in_all"):
            lost = each[name]
            assert lost["low"] < lost["estimate"] < lost["high"]
            assert lost["level"] == 0.9
            parts = [lost["by_path"][path] for path in ("tip", "mesh", "end")]
            # Medians of parts add up to the whole but for their skew.
            assert sum(part["estimate"] for part in parts) == pytest.approx(
                lost["estimate"], abs=0.1 + 0.1 * abs(lost["estimate"])
            )
        assert each["worth_of_one_more"]["tip"]["estimate"] > 0.0
    assert "absolute running clearance" in answer["total_rests_on"]
    assert any("cannot be told apart" in said for said in answer["not_told_apart"])


def test_it_fits_a_terminal_and_says_what_the_total_rests_on(tell: Tell, book: Path) -> None:
    code, out, _ = tell("leak", book)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    words = " ".join(out.split())
    assert words.index("lost since the restrip") < words.index("lost in all")
    assert "rests on the absolute running clearance" in words
    assert "What could not be told apart" in words


def test_metric_is_the_same_loss(tell: Tell, book: Path) -> None:
    _, inch, _ = tell("leak", book, "--json")
    _, metric, _ = tell("leak", book, "--json", "--in", "metric")
    psi, kpa = (json.loads(out)["lost"][0]["in_all"]["estimate"] for out in (inch, metric))
    assert kpa / psi == pytest.approx(6.894757, rel=1e-6)


def test_a_slip_test_counts_and_a_wrong_one_is_refused(
    tell: Tell, book: Path, tmp_path: Path
) -> None:
    path = tmp_path / "slip.toml"
    path.write_text(TEST, encoding="utf-8")
    code, out, _ = tell("leak", book, "--json", "--slip-tests", path)
    assert code == 0
    assert json.loads(out)["multiplier"]["prior_middle"] != 1.0
    path.write_text(TEST.replace("5.0", '"five"'), encoding="utf-8")
    code, _, said = tell("leak", book, "--slip-tests", path)
    assert code != 0
    assert "pressure_psi" in said


def test_the_figure_is_drawn(tell: Tell, book: Path, tmp_path: Path) -> None:
    path = tmp_path / "loss.svg"
    code, _, _ = tell("leak", book, "--json", "--figure", path)
    assert code == 0
    assert "<svg" in path.read_text(encoding="utf-8")

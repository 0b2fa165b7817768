"""`wearstats life`: what went with failing, and whether the law holds."""

import json
from pathlib import Path

import numpy as np
import pytest

from wearstats_cli.main import main


def called(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(words))
    said = capsys.readouterr()
    code = left.value.code
    assert isinstance(code, int)
    return code, said.out, said.err


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Forty lives looked at after every run; lot B burns three times as fast."""
    rng = np.random.default_rng(11)
    rows = ["unit,lower,upper,lot,height"]
    for number in range(40):
        lot = "AB"[number % 2]
        life = 12 * rng.weibull(2.5) * (1.0 if lot == "A" else 3.0 ** (-1 / 2.5))
        upper = f"{np.ceil(life):g}" if life < 14 else ""
        lower = f"{np.floor(min(life, 14)):g}"
        rows.append(f"K{number % 5},{lower},{upper},{lot},{rng.normal(100, 2):.1f}")
    path = tmp_path / "lives.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


def test_the_worse_lot_is_seen_with_its_interval(
    table: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = called(capsys, "life", "--lives", str(table), "--with", "lot,height", "--json")
    assert code == 0
    body = json.loads(out)
    ratio = body["factors"]["lot B against A"]["hazard_ratio"]
    assert 1 < ratio["low"] < ratio["estimate"] < ratio["high"]
    assert ratio["low"] < 3 < ratio["high"]
    height = body["factors"]["height"]["per_sd"]
    assert height["low"] < 1 < height["high"]
    (regression,) = body["regressions"]
    assert regression["columns"] == ["lot", "height"]
    assert regression["lives"] == 40
    assert regression["cox"]["factors"].keys() == body["factors"].keys()


def test_it_is_said_in_words_with_a_second_opinion(
    table: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = called(
        capsys, "life", "--lives", str(table), "--with", "lot", "--frailty", "gamma"
    )
    assert code == 0
    said = " ".join(out.split())
    assert "What went with strips burned through" in said
    assert "Strips burned through sooner with lot B, not A." in said
    assert "Second opinion, Cox's regression without a law: lot B, not A" in said
    assert "Unit effects (gamma): variance" in said
    assert "need not be its cause" in said


def test_what_cannot_be_told_is_said_and_the_life_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "few.csv"
    path.write_text("unit,lower,upper,lot\nK1,3,4,A\nK2,5,6,B\nK3,6,,A\nK4,7,,B\n", "utf-8")
    code, out, _ = called(capsys, "life", "--lives", str(path), "--with", "lot", "--json")
    assert code == 0
    body = json.loads(out)
    assert body["factors"] == {}
    assert "failures" in body["regressions"][0]["why_not"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--with", "colour"), "no column 'colour'"),
        (("--with", ","), "name at least one column"),
        (("--with", "lot,lot"), "names a column twice"),
    ],
)
def test_wrong_usage_is_refused(
    words: tuple[str, ...], said: str, table: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = called(capsys, "life", "--lives", str(table), *words)
    assert code == 2
    assert said in err
    assert out == ""


def test_the_checks_say_whether_the_law_holds(
    table: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = called(capsys, "life", "--lives", str(table), "--sensitivity", "--json")
    assert code == 0
    checks = json.loads(out)["checks"]
    assert 0 < checks["goodness_of_fit"]["p_value"] <= 1
    assert [row["baseline"] for row in checks["laws"]["compared"]]
    assert [each["most"][:1] for each in checks["influence"]] == ["K", "K"]
    assert [each["width"] for each in checks["prior_sensitivity"]["under"]] == [0.5, 1.0, 2.0]


def test_failures_told_apart_without_exception_get_an_answer_that_rests_on_the_prior(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [f"K{n},{n % 5 + 2},{n % 5 + 3},B" for n in range(8)] + [f"L{n},9,,A" for n in range(8)]
    path = tmp_path / "apart.csv"
    path.write_text("\n".join(["unit,lower,upper,lot", *rows]), encoding="utf-8")
    code, out, _ = called(capsys, "life", "--lives", str(path), "--with", "lot")
    assert code == 0
    said = " ".join(out.split())
    assert "Lot rests on a prior: the failures are told apart" in said
    _, out, _ = called(capsys, "life", "--lives", str(path), "--with", "lot", "--json")
    (name,) = json.loads(out)["factors"]
    ratio = json.loads(out)["factors"][name]["per_sd"]
    assert 0 < ratio["low"] < ratio["estimate"] < ratio["high"]

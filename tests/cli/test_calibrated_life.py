"""`wearstats life`: intervals are calibrated unless `--uncalibrated`, by a seed."""

import json
from pathlib import Path
from typing import Any

import pytest

from wearstats_cli.main import main

TABLE = """unit,entry,lower,upper,mode
K1,0,2,4,burned
K2,0,3,6,burned
K3,0,5,8,burned
K4,0,6,9,burned
K5,0,8,10,burned
K6,0,9,13,burned
K7,0,4,,
K8,0,8,,
K9,0,12,,
"""


def printed(capsys: pytest.CaptureFixture[str], file: Path, *options: str) -> str:
    file.write_text(TABLE, encoding="utf-8")
    with pytest.raises(SystemExit) as left:
        main(["life", "--lives", str(file), *options])
    out = capsys.readouterr()
    assert left.value.code == 0, out.err
    return out.out


def as_json(capsys: pytest.CaptureFixture[str], file: Path, *options: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(printed(capsys, file, "--json", *options))
    return answer


def test_calibrated_by_default_and_by_seed(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "lives.csv"
    ours, again = as_json(capsys, file), as_json(capsys, file, "--seed", "0")
    other = as_json(capsys, file, "--seed", "7")
    plain = as_json(capsys, file, "--uncalibrated")
    assert ours == again
    assert ours["calibration"] != other["calibration"]
    assert plain["calibration"] is None
    assert ours["calibration"]["critical_value"] > 2.7055
    wide, narrow = (each["life_at"][0]["runs"] for each in (ours, plain))
    assert wide["estimate"] == narrow["estimate"]
    assert wide["low"] < narrow["low"]
    assert wide["high"] > narrow["high"]


def test_says_so(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "lives.csv"
    said = " ".join(printed(capsys, file).split())
    assert "Intervals calibrated by 999 simulated sets of these lives." in said
    note = as_json(capsys, file)["calibration_note"]
    assert note.startswith("90 % intervals are calibrated by 999 simulated sets of these lives")
    assert note.endswith("where chi-square says 2.71")
    said = " ".join(printed(capsys, file, "--uncalibrated").split())
    assert "90 % intervals take the critical value of chi-square." in said

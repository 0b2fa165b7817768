"""A table of lives read as it stands: nothing dropped, every row that makes no life named."""

import math
from pathlib import Path

import pandas as pd
import pytest

from wearstats.errors import RecordError
from wearstats.lives import StripLives, read_lives


def table(folder: Path, text: str) -> StripLives:
    path = folder / "lives.csv"
    path.write_text(text, encoding="utf-8")
    return read_lives(path)


def test_intervals(tmp_path: Path) -> None:
    lives = table(tmp_path, "unit,entry,lower,upper\nK1,,2,3\nK1,2,4,\nK2,0,5,5\nK3,,0,7\n")
    observed = lives.observations()
    assert observed.entry.tolist() == [0, 2, 0, 0]
    assert observed.lower.tolist() == [2, 4, 5, 0]
    assert observed.upper.tolist() == [3, math.inf, 5, 7]
    assert observed.labels == ("K1 build 1", "K1 build 2", "K2 build 1", "K3 build 1")
    assert observed.failures == 3
    assert lives.left_out == ()
    assert len(lives.runs) == 0


@pytest.mark.parametrize("header", ["time", "exit", "Exit"])
def test_time_and_event(tmp_path: Path, header: str) -> None:
    observed = table(tmp_path, f"{header},event,weight\n54,1,2\n100,0,\n").observations()
    assert observed.lower.tolist() == [54, 100]
    assert observed.upper.tolist() == [54, math.inf]
    assert observed.weight.tolist() == [2, 1]
    assert (observed.count, observed.failures) == (3, 2)
    assert observed.labels == ("row 2 build 1", "row 3 build 1")


def test_other_columns_are_kept_as_they_are(tmp_path: Path) -> None:
    lives = table(tmp_path, "lower,upper,male,Strip lot,age\n1,2,0,A,40\n2,3,1,,41\n")
    assert lives.frame["male"].tolist() == [0.0, 1.0]
    assert lives.frame["Strip lot"].tolist() == ["A", None]
    # the frame's own `age` is that of the strips
    assert lives.frame["age"].tolist() == [2, 3]
    assert lives.frame["age (file)"].tolist() == [40, 41]


def test_modes(tmp_path: Path) -> None:
    lives = table(tmp_path, "lower,upper,mode\n1,2,burnt\n1,2,pulled\n1,,\n1,,planned\n3,4,wear\n")
    assert lives.frame["mode"].tolist() == ["burned", "pulled", "", "", "wear"]
    assert lives.observations("wear").failures == 1
    assert lives.observations("burned").upper.tolist() == [2, *[math.inf] * 4]


ASIDE = [
    ("entry,lower,upper", "5,6,5", "lower-above-upper"),
    ("entry,lower,upper", "5,5,5", "ends-before-it-begins"),
    ("entry,lower,upper", "5,,4", "blank-lower"),
    ("entry,lower,upper", "5,3,6", "lower-before-entry"),
    ("entry,lower,upper", "5,3,4", "ends-before-it-begins"),
    ("entry,lower,upper", "-1,3,4", "negative"),
    ("entry,lower,upper", "0,-3,4", "negative"),
    ("entry,lower,upper", "0,0,0", "ends-before-it-begins"),
    ("entry,lower,upper", "0,three,4", "not-a-number"),
    ("entry,lower,upper", "0,3,4 runs", "not-a-number"),
    ("entry,lower,upper", '0,"1,042","2,000"', "not-a-number"),  # could mean two
    ("entry,lower,upper", "0,3,?", "not-a-number"),
    ("entry,lower,upper", "0,inf,", "not-a-number"),
    ("entry,lower,upper", "0,3", "ragged-row"),
    ("lower,upper,weight", "1,2,0", "weight-not-positive"),
    ("lower,upper,weight", "1,2,-1", "negative"),
    ("lower,upper,mode", "1,2,", "mode-missing"),
    ("lower,upper,mode", "1,,burned", "mode-without-failure"),
    ("unit,build,lower,upper", "K1,x,1,2", "not-a-number"),
    ("entry,time,event", "5,5,0", "ends-before-it-begins"),
    ("entry,time,event", "5,4,1", "ends-before-it-begins"),
    ("entry,time,event", "0,,1", "blank-time"),
    ("entry,time,event", "0,4,", "event-not-0-or-1"),
    ("entry,time,event", "0,4,2", "event-not-0-or-1"),
    ("entry,time,event", "0,4,yes", "event-not-0-or-1"),
    ("entry,time,event", "0,4,TRUE", "event-not-0-or-1"),
]
GOOD = {
    "entry,lower,upper": "0,1,2",
    "lower,upper,weight": "1,2,1",
    "lower,upper,mode": "1,2,burned",
    "unit,build,lower,upper": "K9,1,1,2",
    "entry,time,event": "0,1,1",
}


@pytest.mark.parametrize(("headers", "row", "code"), ASIDE)
def test_a_row_that_makes_no_life_is_left_out_by_name(
    tmp_path: Path, headers: str, row: str, code: str
) -> None:
    lives = table(tmp_path, f"{headers}\n{GOOD[headers]}\n{row}\n")
    assert [left.code for left in lives.left_out] == [code]
    assert lives.left_out[0].message.startswith("row 3: ")
    assert lives.frame["left_out"].tolist() == [False, True]
    assert len(lives.usable) == 1
    assert lives.observations().count == 1


@pytest.mark.parametrize(("headers", "row", "code"), ASIDE)
def test_not_one_usable_row_is_an_error_that_names_them(
    tmp_path: Path, headers: str, row: str, code: str
) -> None:
    with pytest.raises(RecordError, match=r"lives\.csv: not one row makes a life") as caught:
        table(tmp_path, f"{headers}\n{row}\n")
    assert [(finding.code, finding.row) for finding in caught.value.findings] == [(code, 2)]


def test_a_build_entered_twice_leaves_out_both(tmp_path: Path) -> None:
    lives = table(tmp_path, "unit,build,lower,upper\nK1,1,1,2\nK1,2,1,2\nK1,1,3,4\n")
    assert [left.code for left in lives.left_out] == ["build-twice", "build-twice"]
    assert "stands in row 4 as well" in lives.left_out[0].message
    assert lives.usable["build"].tolist() == [2]


@pytest.mark.parametrize(
    "headers",
    [
        "unit,lower",
        "unit,upper",
        "time,weight",
        "event,weight",
        "lower,upper,event",
        "lower,upper,time,event",
        "time,exit,event",
        "lower,Lower,upper",
    ],
)
def test_headers_that_make_no_lives(tmp_path: Path, headers: str) -> None:
    with pytest.raises(RecordError, match=r"lives\.csv") as caught:
        table(tmp_path, f"{headers}\n" + ",".join("1" for _ in headers.split(",")) + "\n")
    assert caught.value.findings[0].code == "columns-missing"
    assert caught.value.findings[0].expected is not None


def test_a_workbook_and_parquet_read_the_same(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {"unit": ["a", "b", "c"], "lower": [1.0, 2, 3], "upper": [2.0, math.nan, 3], "x": [1, 2, 3]}
    )
    frame.to_csv(tmp_path / "l.csv", index=False)
    frame.to_excel(tmp_path / "l.xlsx", index=False)
    frame.to_parquet(tmp_path / "l.parquet", index=False)
    read = [read_lives(tmp_path / f"l.{end}").frame for end in ("csv", "xlsx", "parquet")]
    pd.testing.assert_frame_equal(read[0], read[1])
    pd.testing.assert_frame_equal(read[0], read[2])
    assert read[0]["upper"].tolist() == [2, math.inf, 3]


def test_our_own_lives_go_through_the_same_door(tmp_path: Path) -> None:
    text = "unit,build,entry,lower,upper,mode,ending,strip_lot,weight\n"
    lives = table(tmp_path, text + "K1,1,0,2,3,burned,burned,A,1\nK1,2,1,1,,,in use,,1\n")
    assert lives.left_out == ()
    assert lives.frame["strip_lot"].tolist() == ["A", None]
    assert lives.observations().informative.tolist() == [True, False]
    assert lives.notes == ("1 of 2 lives tell nothing: neither failed nor seen after entry",)


# Shapes of published tables, a few rows each (from memory of their layout; invented numbers).


def test_current_status_with_weights(tmp_path: Path) -> None:
    observed = table(tmp_path, "lower,upper,weight\n4,,39\n0,10,4\n10,,49\n").observations()
    assert observed.count == 92
    assert observed.failures == 4


def test_late_entry_with_a_row_that_ends_as_it_enters(tmp_path: Path) -> None:
    text = "id,entry,exit,event,male\n1,1042,1172,1,0\n2,921,921,1,0\n3,885,1003,0,1\n"
    lives = table(tmp_path, text)
    assert [left.unit for left in lives.left_out] == ["row 3"]
    assert lives.usable["id"].tolist() == [1, 3]
    assert lives.observations().entry.tolist() == [1042, 885]

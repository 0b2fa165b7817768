import subprocess
import sys

import pytest

from wearstats import records
from wearstats.records.findings import Finding, Severity
from wearstats.records.schema import READINGS, RUNS, SHEETS


def test_every_public_name_of_the_room_is_there() -> None:
    for name in records.__all__:
        assert getattr(records, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        getattr(records, "nothing")  # noqa: B009 - the name is not there for mypy either


def test_who_needs_the_schema_does_not_wait_for_pandas() -> None:
    code = "import sys, wearstats.records.schema; sys.exit('pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_finding_says_its_place_first() -> None:
    finding = Finding("x", "wrong", Severity.NOTE, "a.csv", "runs", 3, "tip")
    assert str(finding) == "a.csv, sheet runs, row 3, column 'tip': wrong"
    assert str(Finding("x", "wrong")) == "wrong"


def test_key_fields_and_counted_columns() -> None:
    assert RUNS.key_fields == ("date", "unit", "run")
    assert READINGS.counted == "repeat"
    for sheet in SHEETS.values():
        assert len(sheet.fields) == len(set(sheet.fields))
        assert all(column.key for column in sheet.required if column.name in {"date", "unit"})


def test_an_unknown_column_is_named() -> None:
    with pytest.raises(KeyError, match="the runs sheet has no column 'tipp'"):
        RUNS.column("tipp")

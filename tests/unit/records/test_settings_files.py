from pathlib import Path

import pytest

from wearstats.errors import RecordError
from wearstats.records.columnmap import read_column_map
from wearstats.records.costs import Costs, read_costs


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_costs_are_read(tmp_path: Path) -> None:
    costs = read_costs(
        written(
            tmp_path,
            'planned_restrip = 400\nburn_through = 3000\nlost_psi_per_run = 5\ncurrency = "$"\n',
        )
    )
    assert costs == Costs(planned=400, burn_through=3000, lost_psi_per_run=5, currency="$")


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("planned_restrip = 0\nburn_through = 1", "planned_restrip", "0"),
        ("planned_restrip = 1\nburn_through = -1", "burn_through", "-1"),
        ("planned_restrip = 1\nburn_through = inf", "burn_through", "inf"),
        ("planned_restrip = 1\nburn_through = nan", "burn_through", "nan"),
        ('planned_restrip = "a lot"\nburn_through = 1', "planned_restrip", "a lot"),
        ("planned_restrip = 1", "burn_through", None),
        ("planned_restrip = 1\nburn_through = 1\nplaned = 2", "planed", "2"),
    ],
)
def test_a_wrong_cost_names_file_key_and_value(
    tmp_path: Path, text: str, key: str, value: str | None
) -> None:
    with pytest.raises(RecordError, match=key) as caught:
        read_costs(written(tmp_path, text))
    (finding,) = caught.value.findings
    assert (finding.file, finding.column, finding.value) == ("settings.toml", key, value)
    assert finding.expected


@pytest.mark.parametrize("content", [b"= nothing", b"\xff\xfe\x00", b"a = 1\na = 2"])
def test_what_is_not_toml_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "costs.toml"
    path.write_bytes(content)
    with pytest.raises(RecordError, match=r"costs\.toml is not TOML"):
        read_costs(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=r"none\.toml cannot be read"):
        read_column_map(tmp_path / "none.toml")
    with pytest.raises(RecordError, match="cannot be read"):
        read_column_map(tmp_path)


def test_a_column_map_is_read(tmp_path: Path) -> None:
    column_map = read_column_map(
        written(
            tmp_path,
            'sheet = "runs"\ndates = "day first"\nignore = ["Driver"]\n'
            '[columns]\n"Blower #" = "Unit"\n"Gap" = { column = "tip", unit = "inches" }\n'
            '[units_joined]\n"K 2" = "K2"\n',
        )
    )
    assert column_map.sheet == "runs"
    assert column_map.dates == "day first"
    gap = column_map.find("gap")
    assert gap is not None
    assert (gap.column, gap.unit) == ("tip", "in")
    blower = column_map.find("Blower #")
    assert blower is not None
    assert blower.column == "unit"
    assert column_map.ignores("DRIVER")
    assert column_map.units_joined == {"K 2": "K2"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[columns]\nA = "tipp"', "tipp"),
        ('[columns]\nA = { column = "boost", unit = "mm" }', "psi, kPa, bar"),
        ('[columns]\nA = { column = "remark", unit = "mm" }', "not a unit of remark"),
        ('sheet = "rnus"', "sheet"),
        ('dates = "whenever"', "dates"),
        ('colums = "x"', "colums"),
        ('sheet = "units"\n[columns]\nA = "boost"', "no column"),
    ],
)
def test_a_wrong_map_says_what_is_wrong(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(RecordError, match=said) as caught:
        read_column_map(written(tmp_path, text))
    assert caught.value.findings[0].file == "settings.toml"

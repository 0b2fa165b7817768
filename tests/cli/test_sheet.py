"""`wearstats sheet`: filled in as a person would, logged as it is."""

import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from told import Said, Tell
from wearstats.book import Book
from wearstats.records.headers import understood
from wearstats.records.pages import GUIDE_PAGE, LISTS_PAGE
from wearstats.records.read import read_sheets
from wearstats.records.schema import SHEETS
from wearstats.records.season import Season
from wearstats_reports.entry import write_entry_workbook
from wearstats_reports.entry.example import example
from wearstats_reports.entry.filled import known_units
from wearstats_reports.entry.headers import first_unit


@pytest.fixture
def entry(tmp_path: Path, tell: Tell) -> Path:
    path = tmp_path / "entry.xlsx"
    assert tell("sheet", path).code == 0
    return path


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return tmp_path / "shop.book"


def fill(path: Path, rows: dict[str, list[dict[str, Any]]], switched: dict[str, str]) -> None:
    """Type rows under the columns of a sheet, after switching headers."""
    book = openpyxl.load_workbook(path)
    for name, typed in rows.items():
        page: Any = book[name]
        places = {}
        for cell in page[1]:
            heading = understood(str(cell.value), name)
            assert heading is not None
            assert heading.column is not None
            places[heading.column.name] = cell.column
            cell.value = switched.get(f"{name} {heading.column.name}", cell.value)
        for number, row in enumerate(typed, start=2):
            for column, value in row.items():
                cell = page.cell(number, places[column])
                cell.value = value
                if isinstance(value, str):
                    cell.data_type = "s"  # as a cell formatted as text takes it
    book.save(path)


def season(book: Path) -> Season:
    with Book.open(str(book)) as opened:
        return opened.season()


def plain(frame: pd.DataFrame, row: int = 0) -> dict[str, Any]:
    return {
        str(name): value.date() if isinstance(value, pd.Timestamp) else value
        for name, value in frame.iloc[row].dropna().items()
    }


def counts(said: Said) -> tuple[int, int, int, int]:
    (file,) = said.json["files"]
    names = ("rows_read", "logged", "already_there", "set_aside")
    read, logged, there, aside = (file[name] for name in names)
    assert read == logged + there + aside
    return read, logged, there, aside


ROWS: dict[str, list[dict[str, Any]]] = {
    "units": [
        {
            "unit": "K1", "displacement": 8.2, "rotor length": 48.26, "rotor diameter": 147.32,
            "lobes": 3, "engine displacement": 8200, "metal": "0.95/1.00",
            "service limit runs": 18, "taken in": date(2026, 3, 1), "remark": "=not a formula",
        },
        {"unit": "K2"},
    ],
    "runs": [
        {
            "date": date(2026, 5, 2), "unit": "K1", "run": 1, "meet": "Lake Quillowen",
            "engine": "boat A", "load": 0.5, "boost": 217, "overdrive": 0.4, "engine speed": 8200,
            "air temperature": 25, "barometer": 1004, "humidity": 52, "runs since restrip": 1,
            "tip": "0.08/0.10", "mesh": "<0.12", "end": "150 um", "strip height": 889,
            "strips": "sound", "remark": "3/4",
        },
        {"date": date(2026, 5, 2), "unit": "K2", "boost": "30 psi", "tip": ">0.2"},
        # Dropped a digit: 0.001 mm is no clearance anybody reads.
        {"date": date(2026, 5, 3), "unit": "K2", "tip": 0.001},
    ],
    "restrips": [
        {
            "date": date(2026, 4, 18), "unit": "K1", "after run": 0, "reason": "planned",
            "found": "hot", "strip material": "urethane", "strip lot": "2024-05",
            "strip height": 0.9, "metal": "0.038/0.039", "tip": "3", "mesh": "4", "end": "6",
            "case work": 0.5, "trial fits": 3, "hours": 330, "cost": 350,
            "runs already on the strips": 0, "remark": "tight",
        }
    ],
    "readings": [
        {
            "date": date(2026, 5, 2), "unit": "K1", "rotor": "drive", "lobe": 1,
            "station": "Front", "clock": 12, "what": "tip", "repeat": 1, "go": 0.003,
            "no-go": 100, "gauge": "blades", "remark": "cold",
        },
        {"date": date(2026, 5, 2), "unit": "K1", "what": "strip height", "value": "-0.1"},
    ],
}  # fmt: skip
SWITCHED = {
    "units displacement": "displacement [L]",
    "units rotor length": "rotor length [cm]",
    "units rotor diameter": "rotor diameter [mm]",
    "units engine displacement": "engine displacement [cm³]",
    "units metal": "metal [mm]",
    "runs boost": "boost [kPa]",
    "runs overdrive": "overdrive [share]",
    "runs air temperature": "air temperature [°C]",
    "runs barometer": "barometer [hPa]",
    "runs tip": "tip [mm]",
    "runs mesh": "mesh [mm]",
    "runs strip height": "strip height [µm]",
    "restrips strip height": "strip height [mm]",
    "restrips metal": "metal [in]",
    "restrips hours": "hours [min]",
    "readings go": "go [in]",
    "readings no-go": "no-go [µm]",
    "readings value": "value [mm]",
}
# NIST SP 811, appendix B.8: 1 in = 25.4 mm, 1 psi = 6.894757 kPa, 1 inHg (0 °C) = 3.38638 kPa.
THOU_MM, PSI_KPA, INHG_HPA = 0.0254, 6.894757, 33.8638
IN3_CM3 = 2.54**3


def test_a_person_fills_in_every_sheet_and_every_value_arrives_in_shop_units(
    entry: Path, shop: Path, tell: Tell
) -> None:
    fill(entry, ROWS, SWITCHED)
    said = tell("log", shop, entry, "--json")
    assert said.code == 3
    assert counts(said) == (8, 7, 0, 1)
    (file,) = said.json["files"]
    (asked,) = file["findings"]
    assert (asked["sheet"], asked["row"], asked["column"]) == ("runs", 4, "tip [mm]")
    held = season(shop)

    def near(expected: float) -> Any:
        return pytest.approx(expected, rel=1e-5)

    day = date(2026, 5, 2)
    assert plain(held.units) == {
        "unit": "K1", "displacement_in3": near(8200 / IN3_CM3), "rotor_length_in": near(19),
        "rotor_diameter_in": near(5.8), "lobes": 3, "engine_displacement_in3": near(8200 / IN3_CM3),
        "metal_low_thou": near(0.95 / THOU_MM), "metal_high_thou": near(1.0 / THOU_MM),
        "service_limit_runs": 18, "taken_in": date(2026, 3, 1), "remark": "=not a formula",
    }  # fmt: skip
    assert plain(held.runs) == {
        "date": day, "unit": "K1", "run": 1, "meet": "Lake Quillowen", "engine": "boat A",
        "load": 0.5, "boost_psi": near(217 / PSI_KPA), "overdrive_pct": near(40),
        "engine_speed_rpm": 8200, "air_temperature_f": near(77),
        "barometer_inhg": near(1004 / INHG_HPA), "humidity_pct": 52, "runs_since_restrip": 1,
        "tip_low_thou": near(0.08 / THOU_MM), "tip_high_thou": near(0.1 / THOU_MM),
        "mesh_high_thou": near(0.12 / THOU_MM), "end_low_thou": near(0.15 / THOU_MM),
        "end_high_thou": near(0.15 / THOU_MM), "strip_height_thou": near(35),
        "strips": "sound", "remark": "3/4",
    }  # fmt: skip
    assert plain(held.runs, 1) == {
        "date": day, "unit": "K2", "run": 1, "boost_psi": near(30),
        "tip_low_thou": near(0.2 / THOU_MM),
    }  # fmt: skip
    assert plain(held.restrips) == {
        "date": date(2026, 4, 18), "unit": "K1", "after_run": 0, "reason": "planned",
        "found": "hot", "strip_material": "urethane", "strip_lot": "2024-05",
        "strip_height_thou": near(0.9 / THOU_MM), "metal_low_thou": near(38),
        "metal_high_thou": near(39), "tip_low_thou": 3, "tip_high_thou": 3, "mesh_low_thou": 4,
        "mesh_high_thou": 4, "end_low_thou": 6, "end_high_thou": 6, "case_work_thou": 0.5,
        "trial_fits": 3, "hours_h": near(5.5), "cost": 350, "runs_already_on_the_strips": 0,
        "remark": "tight",
    }  # fmt: skip
    readings = [plain(held.readings, row) for row in range(2)]
    assert {
        "date": day, "unit": "K1", "rotor": "drive", "lobe": 1, "station": "front", "clock": 12,
        "what": "tip", "repeat": 1, "go_thou": near(3), "no_go_thou": near(0.1 / THOU_MM),
        "gauge": "blades", "remark": "cold",
    } in readings  # fmt: skip
    assert {
        "date": day, "unit": "K1", "what": "strip height", "repeat": 1,
        "value_low_thou": near(-0.1 / THOU_MM), "value_high_thou": near(-0.1 / THOU_MM),
    } in readings  # fmt: skip
    assert counts(tell("log", shop, entry, "--json")) == (8, 0, 7, 1)


def test_percent_typed_with_its_sign_is_percent(entry: Path, shop: Path, tell: Tell) -> None:
    fill(entry, {"runs": [{"date": date(2026, 5, 2), "unit": "K1"}]}, {})
    book = openpyxl.load_workbook(entry)
    page: Any = book["runs"]
    for cell in page[1]:
        if cell.value in {"load", "overdrive [%]", "humidity [%]"}:
            # What a spreadsheet makes of a typed 38%.
            below = page.cell(2, cell.column)
            below.value, below.number_format = 0.38, "0%"
    book.save(entry)
    assert tell("log", shop, entry).code == 0
    held = plain(season(shop).runs)
    assert (held["load"], held["overdrive_pct"], held["humidity_pct"]) == (0.38, 38, 38)


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_example_passes_the_rules(
    tmp_path: Path, shop: Path, tell: Tell, *, system: str
) -> None:
    path = tmp_path / "entry.xlsx"
    tell("sheet", path, "--in", system)
    rows = {
        name: [
            {column.name: example(sheet, column, first_unit(column, system)) for column in sheet}
        ]
        for name, sheet in SHEETS.items()
    }
    fill(path, rows, {})
    said = tell("log", shop, path, "--json")
    assert said.code == 0, said.out
    assert counts(said) == (4, 4, 0, 0)
    assert tell("lives", shop).code == 0


def test_the_guide_is_not_read_and_empty_sheets_are_no_news(
    entry: Path, shop: Path, tell: Tell
) -> None:
    fill(entry, {"runs": [{"date": date(2026, 5, 2), "unit": "K1"}]}, {})
    said = tell("log", shop, entry, "--json")
    assert said.code == 0
    (file,) = said.json["files"]
    assert [one["sheet"] for one in file["sheets"]] == ["runs"]
    assert file["findings"] == []


def test_an_empty_workbook_says_so(entry: Path, shop: Path, tell: Tell) -> None:
    said = tell("log", shop, entry)
    assert said.code == 2
    assert "no sheet has a row below its headers" in said.err


@pytest.mark.parametrize("name", [GUIDE_PAGE, LISTS_PAGE])
def test_records_under_the_name_of_our_page_are_read_all_the_same(
    tmp_path: Path, *, name: str
) -> None:
    book = openpyxl.Workbook()
    page: Any = book.active
    page.title = name
    page.append(["date", "unit", "tip"])
    page.append([date(2026, 5, 2), "K1", "4"])
    book.save(tmp_path / "runs.xlsx")
    (raw,) = read_sheets(tmp_path / "runs.xlsx")
    assert raw.name == name


def test_a_file_that_is_there_is_left_as_it_is(entry: Path, tell: Tell) -> None:
    fill(entry, {"runs": [{"date": date(2026, 5, 2), "unit": "K1"}]}, {})
    before = entry.read_bytes()
    said = tell("sheet", entry)
    assert said.code == 2
    assert "there already" in said.err
    assert "--overwrite" in said.err
    assert entry.read_bytes() == before
    assert tell("sheet", entry, "--overwrite").code == 0
    assert entry.read_bytes() != before
    assert [path.name for path in entry.parent.iterdir()] == [entry.name]


@pytest.mark.parametrize("name", ["entry.xls", "entry", "none/entry.xlsx", ".xlsx"])
def test_a_file_that_cannot_be_written_says_why(tmp_path: Path, tell: Tell, *, name: str) -> None:
    said = tell("sheet", tmp_path / name)
    assert said.code == 2
    assert said.err.startswith("wearstats: ")
    assert "Traceback" not in said.err
    assert not list(tmp_path.rglob("*.*"))


HOSTILE = (
    "../../x",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "@SUM(A1)",
    "'quoted",
    "<script>alert(1)</script>",
    "a,b;c",
    "🔥",
    "مضخة",
    "007",
    "3/4",
    "_x0041_",
    "n" * 80,
)
"""Ids a book may hold; the reader takes them as text."""


def hostile_book(tmp_path: Path, tell: Tell, *, with_runs: bool) -> Path:
    made = openpyxl.Workbook()
    units: Any = made.active
    units.title = "units"
    units.append(["unit", "metal", "rotor length [mm]", "taken in", "remark"])
    for number, name in enumerate(HOSTILE):
        units.append([name, "38/39", 482.6, date(2026, 3, 1), f"={number}"])
    for row in units.iter_rows(min_row=2):
        row[0].data_type = row[4].data_type = "s"
    if with_runs:
        runs: Any = made.create_sheet("runs")
        runs.append(["date", "unit", "boost"])
        runs.append([date(2026, 5, 2), "=only in runs", 30])
        runs["B2"].data_type = "s"
    made.save(tmp_path / "hostile.xlsx")
    shop = tmp_path / "shop.book"
    said = tell("log", shop, tmp_path / "hostile.xlsx")
    assert said.code == 0, said.out
    return shop


def no_formula(path: Path) -> bool:
    with zipfile.ZipFile(path) as archive:
        sheets = [name for name in archive.namelist() if name.startswith("xl/worksheets/")]
        return not any(b"<f>" in archive.read(name) for name in sheets)


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("with_runs", [False, True])
def test_a_hostile_book_gives_a_safe_sheet_and_logging_it_changes_nothing(
    tmp_path: Path, tell: Tell, *, with_runs: bool, system: str
) -> None:
    shop = hostile_book(tmp_path, tell, with_runs=with_runs)
    path = tmp_path / "entry.xlsx"
    said = tell("sheet", path, "--book", shop, "--in", system, "--json")
    assert said.code == 0
    only_in_runs = ["=only in runs"] if with_runs else []
    assert sorted(said.json["units"]) == sorted([*HOSTILE, *only_in_runs])
    assert no_formula(path)
    book = openpyxl.load_workbook(path)
    page: Any = book["units"]
    cells = [page.cell(row, 1) for row in range(2, len(HOSTILE) + 2)]
    assert sorted(cell.value for cell in cells) == sorted(HOSTILE)
    assert {cell.data_type for cell in cells} == {"s"}
    source = LISTS_PAGE if with_runs else "units"
    assert (LISTS_PAGE in book.sheetnames) == with_runs
    for name in ("runs", "restrips", "readings"):
        formulas = [
            one.formula1
            for one in book[name].data_validations.dataValidation
            if one.errorStyle == "warning"
        ]
        assert len(formulas) == 1
        assert formulas[0].startswith(f"OFFSET('{source}'!$A$2,")
    before = season(shop)
    said = tell("log", shop, path, "--json")
    assert said.code == 0
    assert counts(said) == (len(HOSTILE), 0, len(HOSTILE), 0)
    after = season(shop)
    for name in SHEETS:
        pd.testing.assert_frame_equal(getattr(before, name), getattr(after, name))


def test_a_book_of_runs_alone_gives_its_ids(tmp_path: Path, shop: Path, tell: Tell) -> None:
    runs = tmp_path / "runs.csv"
    runs.write_text("date,unit\n2026-05-02,K2\n2026-05-02,K1\n", encoding="utf-8")
    tell("log", shop, runs)
    path = tmp_path / "entry.xlsx"
    assert tell("sheet", path, "--book", shop, "--json").json["units"] == ["K1", "K2"]
    page: Any = openpyxl.load_workbook(path)[LISTS_PAGE]
    assert [page.cell(row, 1).value for row in (2, 3)] == ["K1", "K2"]
    fill(path, {"runs": [{"date": date(2026, 5, 3), "unit": "K1"}]}, {})
    said = tell("log", shop, path, "--json")
    assert counts(said) == (1, 1, 0, 0)
    assert said.json["files"][0]["findings"] == []


def test_every_field_of_a_unit_comes_back(tmp_path: Path, shop: Path, tell: Tell) -> None:
    entry = tmp_path / "entry.xlsx"
    tell("sheet", entry)
    fill(entry, {"units": ROWS["units"]}, SWITCHED)
    tell("log", shop, entry)
    for system in ("inch", "metric"):
        again = tmp_path / f"{system}.xlsx"
        tell("sheet", again, "--book", shop, "--in", system)
        fresh = tmp_path / f"{system}.book"
        assert counts(tell("log", fresh, again, "--json")) == (2, 2, 0, 0)
        pd.testing.assert_frame_equal(season(shop).units, season(fresh).units, rtol=1e-9)


def test_what_a_sheet_cannot_hold_is_left_out() -> None:
    # Straight from frames: no reader would take these ids.
    names = ["K1", "K\x00", "long" * 9_000, "a\rb"]
    held = Season.from_frames(units=pd.DataFrame({"unit": ["K1"], "remark": ["\x01"]}))
    runs = pd.DataFrame({"unit": names})
    known = known_units(Season(runs, held.restrips, held.units, held.readings))
    assert known.ids == ("K1",)


def test_a_simulated_book_says_so(tmp_path: Path) -> None:
    units = pd.DataFrame({"unit": ["K1"]})
    made = write_entry_workbook(
        tmp_path / "entry.xlsx", season=Season.from_frames(units=units, simulated=True)
    )
    page: Any = openpyxl.load_workbook(made.path)[GUIDE_PAGE]
    texts = [str(cell.value) for row in page.iter_rows() for cell in row]
    assert any(text.startswith("SIMULATED") for text in texts)

import csv
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from openpyxl import load_workbook

from wearstats_synthetic import Outcome, SimulatedSeason, WrittenSeason, simulate, write_sheets
from wearstats_synthetic.hands import DOCK, TRAILER
from wearstats_synthetic.sheets import drafts
from wearstats_synthetic.spoil import spoil

SEASON = simulate(1)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> WrittenSeason:
    return write_sheets(SEASON, tmp_path_factory.mktemp("clean"), spoiled=False)


@pytest.fixture(scope="module")
def spoiled(tmp_path_factory: pytest.TempPathFactory) -> WrittenSeason:
    return write_sheets(SEASON, tmp_path_factory.mktemp("spoiled"))


def _rows(path: Path) -> list[list[str]]:
    if path.suffix == ".csv":
        with path.open(newline="", encoding="utf-8") as file:
            return list(csv.reader(file))
    page = load_workbook(path).worksheets[0]
    return [["" if v is None else str(v) for v in row] for row in page.iter_rows(values_only=True)]


def _bytes(written: WrittenSeason) -> list[bytes]:
    paths = (*written.files, written.costs_path, written.truth_path)
    return [path.read_bytes() for path in paths]


def test_same_seed_same_bytes(spoiled: WrittenSeason, tmp_path: Path) -> None:
    again = write_sheets(simulate(1), tmp_path)
    assert _bytes(again) == _bytes(spoiled)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        path.name for path in (*again.files, again.costs_path, again.truth_path)
    )


def test_clean_sheets_say_what_the_frames_say(clean: WrittenSeason) -> None:
    assert clean.faults == ()
    by_trailer = (SEASON.run_truth["hand"] == "trailer").to_numpy()
    for hand, own in ((DOCK, ~by_trailer), (TRAILER, by_trailer)):
        path = next(p for p in clean.files if p.stem == f"runs_{hand.name}")
        headers, *rows = _rows(path)
        frame = SEASON.runs[own]
        assert len(rows) == len(frame)
        scales = {"Boost": hand.boost, "Air": hand.temperature, "Baro": hand.barometer}
        fields = {"Boost": "boost_psi", "Air": "air_temperature_f", "Baro": "barometer_inhg"}
        for name, scale in scales.items():
            place = next(n for n, header in enumerate(headers) if header.startswith(name))
            read = [float(row[place]) if row[place] else np.nan for row in rows]
            kept = [scale.unit.keep(value) for value in read]
            # The same decimal number, converted by the same factor.
            np.testing.assert_allclose(kept, frame[fields[name]], rtol=1e-12)
        tip = next(n for n, header in enumerate(headers) if header.startswith("Tip"))
        for row, low, high in zip(rows, frame["tip_low_thou"], frame["tip_high_thou"], strict=True):
            text = row[tip]
            go, _, no_go = text.partition("/")
            ends = {"<": ("", text[1:]), ">": (text[1:], "")}.get(text[:1], (go, no_go))
            kept = [hand.blades.unit.keep(float(end)) if end else np.nan for end in ends]
            np.testing.assert_allclose(kept, [low, high] if text else [np.nan] * 2, rtol=1e-12)


def test_every_clean_row_is_written_once(clean: WrittenSeason) -> None:
    counts = {path.name: len(_rows(path)) - 1 for path in clean.files}
    assert counts["runs_dock.csv"] + counts["runs_trailer.xlsx"] == len(SEASON.runs)
    for name in ("restrips", "units", "readings"):
        assert counts[f"{name}.csv"] == len(SEASON.frames[name])


def test_the_word_simulated_stands_wherever_it_is_shown(spoiled: WrittenSeason) -> None:
    for path in spoiled.files:
        headers, *rows = _rows(path)
        meet = next((n for n, h in enumerate(headers) if h in {"Meet", "Event"}), None)
        if meet is not None:
            assert all("SIMULATED" in row[meet] for row in rows)
        elif path.stem in {"restrips", "units"}:
            assert "SIMULATED" in path.read_text(encoding="utf-8")
    assert "SIMULATED" in spoiled.truth_path.read_text(encoding="utf-8")
    assert "SIMULATED" in spoiled.costs_path.read_text(encoding="utf-8")


def test_the_truth_beside_it_is_plain_json(spoiled: WrittenSeason) -> None:
    told = json.loads(spoiled.truth_path.read_text(encoding="utf-8"))
    assert told["simulated"] is True
    assert told["truth"]["scale_runs"] == SEASON.truth.scale_runs
    assert told["derived"]["psi_per_thou"] == SEASON.derived.psi_per_thou
    assert len(told["builds"]) == len(SEASON.builds)
    assert len(told["faults"]) == len(spoiled.faults)
    assert told["builds"][-1]["ended"] is None


def test_costs_have_the_keys_the_reader_expects(spoiled: WrittenSeason) -> None:
    costs = tomllib.loads(spoiled.costs_path.read_text(encoding="utf-8"))
    assert set(costs) == {"planned_restrip", "burn_through", "lost_psi_per_run", "currency"}


def test_text_in_the_workbook_is_never_a_formula(spoiled: WrittenSeason) -> None:
    path = next(p for p in spoiled.files if p.suffix == ".xlsx")
    cells = [cell for row in load_workbook(path).worksheets[0].iter_rows() for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f"]


def test_every_fault_stands_where_it_is_listed(spoiled: WrittenSeason) -> None:
    pages = {path.name: _rows(path) for path in spoiled.files}
    for fault in spoiled.faults:
        if fault.row is None:
            continue
        headers, row = pages[fault.file][0], pages[fault.file][fault.row - 1]
        if fault.column is None:
            right = int(fault.right.removeprefix("row "))
            assert row == pages[fault.file][right - 1]
        else:
            assert row[headers.index(fault.column)] == fault.value
            assert fault.value != fault.right


def test_nothing_else_is_spoiled() -> None:
    right = drafts(SEASON)
    wrong, faults = spoil(right, SEASON, np.random.default_rng(4))
    listed = {(fault.file, fault.row) for fault in faults}
    for before, after in zip(right, wrong, strict=True):
        good = dict(zip(before.source, before.rows, strict=True))
        for place, (source, row) in enumerate(zip(after.source, after.rows, strict=True)):
            differs = row != good[source]
            assert differs <= ((after.file, place + 2) in listed)
        lost = len(before.rows) - len(set(after.source))
        week = [f for f in faults if f.code == "missing-week" and f.file == after.file]
        assert lost == (int(week[0].right.split()[0]) if week else 0)
    assert right == drafts(SEASON)


@pytest.mark.parametrize("seed", range(12))
def test_all_kinds_of_fault_are_there_and_most_builds_stay_whole(seed: int) -> None:
    season: SimulatedSeason = simulate(seed)
    _, faults = spoil(drafts(season), season, np.random.default_rng(seed))
    assert {fault.outcome for fault in faults} == set(Outcome)
    codes = {fault.code for fault in faults}
    assert {
        "missing-week",
        "boost-range",
        "text-in-number",
        "gap-unit-unclear",
        "date-ambiguous",
        "unit-spelling",
        "unit-in-cell",
        "duplicate-row",
        "barometer-range",
    } <= codes
    spellings = {fault.value for fault in faults if fault.code == "unit-spelling"}
    assert len(spellings) == 3
    gone = {Outcome.ASIDE, Outcome.ASKED, Outcome.LEFT_OUT}
    hit = {(f.unit, f.build) for f in faults if f.outcome in gone and f.build is not None}
    # A fifth at most, beside the few of the missing week.
    assert len(hit) <= len(season.builds) / 5


def test_a_season_of_one_meet_can_be_spoiled_too(tmp_path: Path) -> None:
    written = write_sheets(simulate(2, meets=1, units=2), tmp_path)
    assert all(path.exists() for path in written.files)
    assert "missing-week" not in {fault.code for fault in written.faults}

"""The worked sheet by hand, chances against drawn errors, refusals with their reasons."""

import math

import numpy as np
import pandas as pd
import pytest

from wearstats.cut import ClearanceChances, Cut, StripCut, cuts_to, metal_places, tight_map
from wearstats.errors import ObservationError, PlanError, TooFewError, UsageError

SHEET = {
    # Two rotors, three lobes, three stations; go / no-go blades, thou. Middles are 0.5 above go.
    "drive": {"front": (30, 31, 30), "center": (31, 31, 30), "rear": (32, 31, 31)},
    "driven": {"front": (29, 30, 30), "center": (30, 30, 31), "rear": (30, 29, 30)},
}


def sheet(change: dict[tuple[str, int, str], float] | None = None) -> pd.DataFrame:
    rows = [
        (
            rotor,
            float(lobe),
            station,
            math.nan,
            go + (change or {}).get((rotor, lobe, station), 0.0),
        )
        for rotor, stations in SHEET.items()
        for station, gos in stations.items()
        for lobe, go in enumerate(gos, start=1)
    ]
    table = pd.DataFrame(rows, columns=["rotor", "lobe", "station", "clock", "low_thou"])
    return table.assign(high_thou=table["low_thou"] + 1.0)


def test_worked_sheet_by_hand() -> None:
    # Target 4, growth 1.38 (LEAKAGE worked case: 4.00 cold, 2.62 running). Height = tightest lobe's
    # metal - 4 - 1.38, rounded down to 0.1:
    #   drive  front  30.5 - 5.38 = 25.12 -> 25.1    driven front  29.5 - 5.38 = 24.12 -> 24.1
    #          center 30.5 - 5.38 = 25.12 -> 25.1           center 30.5 - 5.38 = 25.12 -> 25.1
    #          rear   31.5 - 5.38 = 26.12 -> 26.1           rear   29.5 - 5.38 = 24.12 -> 24.1
    answer = StripCut(4.0, growth_thou=1.38, growth_u_thou=1.11).plan(sheet())
    heights = [(each.rotor, each.station, round(each.height_thou, 6)) for each in answer.heights]
    assert heights == [
        ("drive", "front", 25.1),
        ("drive", "center", 25.1),
        ("drive", "rear", 26.1),
        ("driven", "front", 24.1),
        ("driven", "center", 25.1),
        ("driven", "rear", 24.1),
    ]
    assert [(rotor, round(height, 6)) for rotor, height in answer.one_setting] == [
        ("drive", 25.1),
        ("driven", 24.1),
    ]
    # Tightest: 30.5 - 25.1 - 1.38 = 4.02. Widest lobe of a station is 1 thou wider: 5.02.
    assert answer.tightest.estimate == pytest.approx(4.02)
    assert answer.loosest.estimate == pytest.approx(5.02)
    # u^2 = 1/12 + 0.3^2 alone, 0.25^2 + 1.11^2 shared: 90 % is 1.6449 sqrt(1.46793) = 1.9929.
    assert answer.tightest.low == pytest.approx(4.02 - 1.9929, abs=2e-4)


def test_one_setting_leaves_the_wider_stations_wider() -> None:
    answer = StripCut(4.0, growth_thou=1.38, one_setting=True).plan(sheet())
    assert {round(each.height_thou, 6) for each in answer.heights if each.rotor == "drive"} == {
        25.1
    }
    # Drive, rear, lobe 1: 32.5 - 25.1 - 1.38.
    assert answer.loosest.estimate == pytest.approx(6.02)
    assert answer.loosest_at == "drive rotor, lobe 1, rear"


def test_no_strip_stands_higher_than_asked() -> None:
    for target in np.arange(0.0, 6.0, 0.07):
        answer = StripCut(float(target), growth_thou=0.33).plan(sheet())
        for each in answer.heights:
            exact = each.metal_thou - float(target) - 0.33
            assert exact - 0.1 - 1e-6 < each.height_thou <= exact + 1e-6


def test_chances_are_those_of_drawn_errors() -> None:
    answer = StripCut(1.5, growth_thou=1.4, growth_u_thou=0.8, limit_thou=4.0).plan(sheet())
    rng = np.random.default_rng(11)
    size = 200_000
    shared = math.hypot(0.25, 0.8) * rng.standard_normal((size, 1))
    own = math.sqrt(1.0 / 12.0 + 0.09) * rng.standard_normal((size, 18))
    running = answer.places["running_thou"].to_numpy() + shared + own
    assert answer.touching == pytest.approx(np.mean(running.min(axis=1) <= 0.0), abs=0.005)
    assert answer.too_wide == pytest.approx(np.mean(running.max(axis=1) > 4.0), abs=0.005)


def test_one_place_is_the_normal_chance() -> None:
    # Phi(-2 / sqrt(0.6^2 + 0.8^2)) = Phi(-2) = 0.0227501 (standard normal table).
    chances = ClearanceChances.of([2.0], [0.6], 0.8)
    assert chances.touches() == pytest.approx(0.0227501, abs=1e-7)
    assert chances.exceeds(4.0) == pytest.approx(0.0227501, abs=1e-7)


def test_more_clearance_touches_less() -> None:
    chances = [
        StripCut(target, growth_thou=1.4, growth_u_thou=1.1).plan(sheet()).touching
        for target in (0.0, 1.0, 2.0, 4.0)
    ]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > 0.5 > chances[2]


def test_cuts_stop_short_and_end_fine() -> None:
    # 40 thou fitted, 25.1 to be left: to 27.1 first, then 1.0, 0.5 and 0.5.
    assert cuts_to(25.1, 40.0, step_thou=0.1) == (
        Cut("first", pytest.approx(27.1), pytest.approx(12.9)),  # type: ignore[arg-type]
        Cut("finish", pytest.approx(26.1), 1.0),  # type: ignore[arg-type]
        Cut("finish", pytest.approx(25.6), 0.5),  # type: ignore[arg-type]
        Cut("finish", pytest.approx(25.1), pytest.approx(0.5)),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("stock", [None, 25.1, 25.3, 26.0, 26.9, 27.6, 31.0, 60.0])
def test_finish_cuts_are_fine_and_end_at_the_mark(stock: float | None) -> None:
    cuts = cuts_to(25.1, stock, step_thou=0.1)
    finish = [cut.takes_thou for cut in cuts if cut.kind == "finish"]
    assert all(takes is not None and takes <= 1.0 + 1e-9 for takes in finish)
    if stock is None or stock > 25.1:
        assert cuts[-1].kind == "finish"
        assert cuts[-1].to_thou == pytest.approx(25.1)
    else:
        assert cuts == ()
    if stock is not None:
        taken = sum(cut.takes_thou for cut in cuts if cut.takes_thou is not None)
        assert taken == pytest.approx(stock - 25.1)


def test_no_room_for_a_strip_is_refused_with_the_place() -> None:
    tight = sheet({("driven", 2, "rear"): -25.0})  # 4.5 thou bare
    with pytest.raises(PlanError, match=r"driven rotor, lobe 2, rear the bare rotor has 4\.5 thou"):
        StripCut(4.0, growth_thou=1.4).plan(tight)


def test_an_uneven_station_is_refused_with_the_reason() -> None:
    uneven = sheet({("drive", 2, "center"): 6.0})
    with pytest.raises(PlanError, match=r"drive rotor, center, is uneven by 7\.0 thou"):
        StripCut(4.0, growth_thou=1.4, limit_thou=10.0).plan(uneven)


def test_strips_fitted_too_low_are_refused() -> None:
    with pytest.raises(PlanError, match=r"stand 20 thou above the rotor and 25\.1"):
        StripCut(4.0, growth_thou=1.38, stock_thou=20.0).plan(sheet())


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"target_thou": -1.0}, "an interference"),
        ({"target_thou": 4.0, "limit_thou": 3.0}, "does not lie above the target"),
        ({"target_thou": 4.0, "step_thou": 0.0}, "step must be above 0"),
        ({"target_thou": math.nan}, "must be numbers"),
        ({"target_thou": 4.0, "level": 90.0}, "between 0 and 1"),
    ],
)
def test_what_no_cut_can_mean_is_refused(asked: dict[str, float], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        StripCut(**asked)  # type: ignore[arg-type]


def test_a_coarse_cutter_makes_no_finish_cut() -> None:
    with pytest.raises(UsageError, match="coarser than a finish cut"):
        cuts_to(25.0, 40.0, step_thou=1.0)


@pytest.mark.parametrize(
    ("low", "high", "said"), [(30.0, math.nan, "thicker"), (math.nan, 5.0, "thinner")]
)
def test_a_bound_is_no_reading_to_cut_from(low: float, high: float, said: str) -> None:
    frame = sheet()
    frame.loc[4, ["low_thou", "high_thou"]] = low, high
    with pytest.raises(ObservationError, match=f"drive rotor, lobe 2, center .* {said}"):
        StripCut(4.0).plan(frame)


def test_nothing_read_is_nothing_to_cut_from() -> None:
    with pytest.raises(TooFewError):
        metal_places(sheet().assign(low_thou=math.nan, high_thou=math.nan))


def test_readings_of_one_place_are_averaged() -> None:
    # JCGM 100:2008, 4.3.7 for a blade's interval, with a repeat of 0.3: (1/12 + 0.09) / 4.
    frame = pd.DataFrame(
        {"low_thou": [30.0, 30.0, 31.0, 31.0], "high_thou": [31.0, 31.0, 32.0, 32.0]}
    )
    place = metal_places(frame).iloc[0]
    assert place["thou"] == 31.0
    assert place["u_thou"] == pytest.approx(math.sqrt((1.0 / 12.0 + 0.09) / 4.0))
    assert place["count"] == 4


def clocked(tight: dict[tuple[str, float], float]) -> pd.DataFrame:
    rows = [
        ("drive", math.nan, station, clock, 30.0 + tight.get((station, clock), 0.0))
        for station in ("front", "center", "rear")
        for clock in (12.0, 3.0, 4.5, 6.0, 7.5, 9.0)
    ]
    table = pd.DataFrame(rows, columns=["rotor", "lobe", "station", "clock", "low_thou"])
    return table.assign(high_thou=table["low_thou"] + 1.0)


def tight_in(frame: pd.DataFrame) -> pd.DataFrame:
    return tight_map(frame).loc[lambda table: table["tight"]]


def test_a_tight_spot_is_named_and_not_sanded_below_the_line() -> None:
    found = tight_in(clocked({("rear", 6.0): -3.0}))
    assert found[["station", "clock", "below_thou", "sanding"]].to_numpy().tolist() == [
        ["rear", 6.0, 3.0, False]
    ]
    assert found["look_at"].iloc[0].startswith("this spot alone")
    assert tight_in(clocked({("rear", 12.0): -3.0}))["sanding"].tolist() == [True]


def test_a_tight_station_and_a_tight_side_are_told_apart() -> None:
    clocks = (12.0, 3.0, 4.5, 6.0, 7.5, 9.0)
    station = tight_in(clocked({("front", clock): -2.0 for clock in clocks}))
    assert len(station) == 6
    assert station["look_at"].str.contains("bearing bore").all()
    side = tight_in(clocked({(at, 9.0): -2.0 for at in ("front", "center", "rear")}))
    assert len(side) == 3
    assert side["look_at"].str.contains("bowed case").all()


def test_an_even_case_has_no_tight_place() -> None:
    assert not tight_map(clocked({}))["tight"].any()


def test_three_places_have_no_middle_to_be_tight_against() -> None:
    assert not tight_map(clocked({("front", 12.0): -9.0}).head(3))["tight"].any()


@pytest.mark.parametrize(
    ("clock", "may"),
    [(12.0, True), (0.0, True), (3.0, True), (3.5, False), (8.5, False), (9.0, True)],
)
def test_the_line_that_is_not_sanded_below(clock: float, may: bool) -> None:
    assert tight_map(clocked({}).assign(clock=clock))["sanding"].eq(may).all()


def test_stations_stand_in_their_order() -> None:
    frame = clocked({}).assign(
        station=lambda table: table["station"].map({"front": "2", "center": "10", "rear": "rear"})
    )
    assert list(dict.fromkeys(metal_places(frame)["station"])) == ["2", "10", "rear"]

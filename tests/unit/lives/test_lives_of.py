"""Each rule of the way from records to lives, by an example small enough to check by hand."""

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import ObservationError, UsageError
from wearstats.lives import Observations, StripLives, lives_of
from wearstats.records.season import Season

Row = dict[str, Any]


def run(day: int, number: int = 1, counter: float | None = None, **more: Any) -> Row:
    row = {"date": f"2026-05-{day:02d}", "unit": "K1", "run": number}
    return row | {"runs_since_restrip": counter} | more


def restrip(day: int, **more: Any) -> Row:
    return {"date": f"2026-05-{day:02d}", "unit": "K1"} | more


def made(
    runs: list[Row], restrips: list[Row] | None = None, units: list[Row] | None = None
) -> StripLives:
    return lives_of(
        Season.from_frames(
            runs=pd.DataFrame(runs) if runs else None,
            restrips=pd.DataFrame(restrips) if restrips else None,
            units=pd.DataFrame(units) if units else None,
        )
    )


def intervals(lives: StripLives) -> list[tuple[float, float, float, str]]:
    frame = lives.frame
    return list(zip(frame["entry"], frame["lower"], frame["upper"], frame["mode"], strict=True))


def codes(lives: StripLives) -> list[tuple[int, str]]:
    return [(left.build, left.code) for left in lives.left_out]


def test_found_failed_after_one_age_and_sound_at_another_lies_between() -> None:
    lives = made(
        [run(1, 1, 1), run(1, 2, 2, strips="sound"), run(2, 1, 3), run(2, 2, 4, strips="burned")]
    )
    assert intervals(lives) == [(0, 2, 4, "burned")]


def test_never_looked_at_in_between_begins_at_the_entry() -> None:
    lives = made([run(2), run(3, strips="burned")], [restrip(1)])
    assert intervals(lives) == [(0, 0, 2, "burned")]


def test_looked_at_after_every_run_lies_within_one_run() -> None:
    looks = ["sound", "hot", "burned"]
    lives = made([run(2 + at, strips=look) for at, look in enumerate(looks)], [restrip(1)])
    assert intervals(lives) == [(0, 2, 3, "burned")]


def test_shut_off_runs_count_as_fractions() -> None:
    lives = made(
        [run(2, load=0.5, strips="sound"), run(3), run(4, load=0.25, strips="pulled")],
        [restrip(1)],
    )
    assert intervals(lives) == [(0, 0.5, 1.75, "pulled")]
    assert lives.runs["age_before"].tolist() == [0, 0.5, 1.5]
    assert lives.runs["age_after"].tolist() == [0.5, 1.5, 1.75]
    assert lives.runs["load"].tolist() == [0.5, 1, 0.25]


@pytest.mark.parametrize("reason", ["planned", "sold", "crash", "other", None])
def test_an_end_that_is_no_failure_is_censored_at_the_last_sound_look(reason: str | None) -> None:
    lives = made(
        [run(2, strips="sound"), run(3), run(4), run(6)], [restrip(1), restrip(5, reason=reason)]
    )
    assert intervals(lives)[0] == (0, 1, math.inf, "")
    assert lives.frame["ending"].tolist() == [reason or "unknown", "in use"]
    assert lives.frame["age"].tolist() == [3, 1]


def test_strips_found_sound_when_they_came_out_are_a_look() -> None:
    lives = made([run(2), run(3)], [restrip(1), restrip(5, reason="planned", found="hot")])
    assert intervals(lives)[0] == (0, 2, math.inf, "")
    first = lives.frame.iloc[0]
    assert first["last_look"] == 2
    assert first["last_look_date"] == pd.Timestamp("2026-05-05")


def test_strips_found_failed_when_they_came_out_failed_since_the_last_look() -> None:
    lives = made(
        [run(2, strips="sound"), run(3), run(4)],
        [restrip(1), restrip(5, reason="planned", found="cut")],
    )
    assert intervals(lives)[0] == (0, 1, 3, "cut")


def test_a_failure_as_reason_is_found_at_the_end() -> None:
    lives = made([run(2), run(3)], [restrip(1), restrip(5, reason="burned")])
    assert intervals(lives)[0] == (0, 0, 2, "burned")


def test_runs_after_a_failure_do_not_move_it() -> None:
    lives = made(
        [run(2, strips="burned"), run(3), run(4, strips="burned")],
        [restrip(1), restrip(5, reason="burned", found="burned")],
    )
    assert intervals(lives)[0] == (0, 0, 1, "burned")
    assert codes(lives) == []


def test_in_use_and_never_looked_at_tells_nothing_and_says_so() -> None:
    lives = made([run(2)], [restrip(1)])
    assert intervals(lives) == [(0, 0, math.inf, "")]
    assert lives.observations().informative.tolist() == [False]
    assert lives.notes == (
        "1 life tells nothing, as nobody looked at the strips since: K1 build 1",
    )
    assert math.isnan(lives.frame["last_look"].iloc[0])


def test_a_unit_that_joins_with_runs_on_its_strips_enters_late() -> None:
    lives = made([run(1, 1, 4, strips="sound"), run(2, 1, 5, strips="burned")])
    assert intervals(lives) == [(3, 4, 5, "burned")]


def test_a_later_first_counter_counts_back() -> None:
    lives = made([run(1), run(2), run(3, 1, 5, strips="sound")])
    assert intervals(lives) == [(2, 5, math.inf, "")]


def test_a_fractional_first_counter_is_by_load() -> None:
    lives = made([run(1, 1, 2.5, load=0.5, strips="sound"), run(2, 1, 3.5)])
    assert intervals(lives) == [(2, 2.5, math.inf, "")]


def test_first_look_failed_is_taken_as_sound_when_it_joined_and_noted() -> None:
    lives = made([run(1, 1, 4), run(2, 1, 5, strips="burned")])
    assert intervals(lives) == [(3, 3, 5, "burned")]
    assert "K1 build 1" in lives.notes[0]
    assert "joined with 3 runs" in lives.notes[0]


def test_runs_already_on_the_strips_are_the_entry() -> None:
    lives = made([run(2, 1, 7, strips="sound")], [restrip(1, runs_already_on_the_strips=6)])
    assert intervals(lives) == [(6, 7, math.inf, "")]


def test_no_counter_and_no_restrip_is_an_unknown_age() -> None:
    lives = made([run(1, strips="sound")], units=[{"unit": "K1", "taken_in": "2026-05-01"}])
    assert codes(lives) == [(1, "age-unknown")]
    assert lives.frame["entry"].isna().all()
    assert lives.runs["age_after"].isna().all()
    assert len(lives.usable) == 0


def test_run_sheet_alone_begins_a_build_where_the_counter_falls_or_does_not_rise() -> None:
    lives = made([run(1, 1, 1), run(1, 2, 1), run(2, 1, 2), run(3, 1, 1)])
    assert lives.runs["build"].tolist() == [1, 2, 2, 3]
    assert lives.frame["began"].isna().all()
    assert lives.frame["ending"].tolist() == ["unknown", "unknown", "in use"]
    assert lives.frame["open"].tolist() == [False, False, True]


def test_run_sheet_alone_counts_back_over_blank_counters() -> None:
    lives = made([run(1, 1, 6), run(2), run(3), run(4, 1, 2)])
    assert lives.runs["build"].tolist() == [1, 1, 2, 2]
    assert codes(lives) == []


def test_run_sheet_alone_with_a_fall_to_neither_count_leaves_out_both() -> None:
    lives = made([run(1, 1, 6), run(2, 1, 4), run(3, 1, 5), run(4, 1, 1)])
    assert codes(lives) == [(1, "counter-disagrees"), (2, "counter-disagrees")]
    assert "from 6 (run 1 of 2026-05-01) to 4 (run 1 of 2026-05-02)" in lives.left_out[0].message


def test_run_sheet_alone_with_two_possible_places_leaves_out_both() -> None:
    # 1 since restrip may be one run by number, or two half runs by load
    lives = made([run(1, 1, 4), run(2, load=0.5), run(3, 1, 1, load=0.5)])
    assert codes(lives) == [(1, "restrip-order"), (2, "restrip-order")]


def test_run_sheet_alone_with_a_shut_off_run_that_does_not_raise_the_counter_is_in_doubt() -> None:
    # 1 and 1 again: new strips, or the same ones and a counter of full runs
    lives = made(
        [run(2, 1, 1), run(4, 1, 1, load=0.5), run(6, 1, 2), run(8, 1, 3, strips="burned")]
    )
    assert codes(lives) == [(1, "restrip-order"), (2, "restrip-order")]
    assert "stays at 1" in lives.left_out[0].message


def test_a_slip_that_looks_like_a_restrip_puts_both_builds_in_doubt() -> None:
    lives = made([run(1, 1, 3), run(2, 1, 1), run(3, 1, 5)])
    assert codes(lives) == [(1, "counter-disagrees"), (2, "counter-disagrees")]


def test_runs_of_no_load_do_not_begin_a_build() -> None:
    lives = made([run(1, 1, 2), run(2, 1, 2, load=0.0), run(3, 1, 3)])
    assert lives.runs["build"].tolist() == [1, 1, 1]
    assert codes(lives) == []


@pytest.mark.parametrize(("after_run", "builds"), [(0, [1, 1]), (1, [1, 2]), (2, [1, 1])])
def test_after_run_places_a_restrip_within_its_day(after_run: int, builds: list[int]) -> None:
    runs = [run(1, 1), run(1, 2)]
    lives = made(runs, [restrip(1, after_run=after_run)])
    assert lives.runs["build"].tolist() == builds
    assert len(lives.frame) == (1 if after_run == 0 else 2)


@pytest.mark.parametrize(
    ("counters", "builds"),
    [
        ([1, 2, 3, 4], [1, 1, 1, 1]),
        ([8, 1, 2, 3], [1, 2, 2, 2]),
        ([8, 9, 1, 2], [1, 1, 2, 2]),
        ([8, 9, 10, 1], [1, 1, 1, 2]),
        ([None, None, 1, None], [1, 1, 2, 2]),
        ([None, None, None, 2], [1, 1, 2, 2]),
    ],
)
def test_counters_place_a_restrip_within_its_day(
    counters: list[float | None], builds: list[int]
) -> None:
    runs = [run(1, at + 1, counter) for at, counter in enumerate(counters[:3])]
    lives = made([*runs, run(2, 1, counters[3])], [restrip(1)])
    assert lives.runs["build"].tolist() == builds
    assert "restrip-order" not in {code for _, code in codes(lives)}


def test_a_slip_on_an_earlier_day_does_not_unplace_a_restrip() -> None:
    lives = made([run(2, 1, 9), run(3, 1, 2), run(3, 2, 1), run(4, 1, 2)], [restrip(1), restrip(3)])
    assert lives.runs["build"].tolist() == [1, 1, 2, 2]
    assert codes(lives) == [(1, "counter-disagrees")]


def test_a_restrip_within_a_day_that_nothing_places_leaves_out_both_builds() -> None:
    lives = made(
        [run(1, 1, 4), run(2, 1), run(2, 2), run(5)], [restrip(2, reason="burned"), restrip(4)]
    )
    assert codes(lives) == [(1, "restrip-order"), (2, "restrip-order")]
    assert "after run" in lives.left_out[0].message
    assert lives.usable["build"].tolist() == [3]


def test_two_restrips_on_one_day_are_told_apart_by_after_run() -> None:
    lives = made(
        [run(2, 1), run(2, 2), run(2, 3)],
        [restrip(1), restrip(2, after_run=1), restrip(2, after_run=2)],
    )
    assert lives.runs["build"].tolist() == [1, 2, 3]
    assert codes(lives) == []


def test_two_restrips_on_one_day_that_cannot_be_told_apart() -> None:
    lives = made(
        [run(2), run(4), run(6)],
        [restrip(1), restrip(3), restrip(3, after_run=0), restrip(5)],
    )
    assert codes(lives) == [(1, "two-restrips"), (2, "two-restrips"), (3, "two-restrips")]
    assert lives.usable["build"].tolist() == [4]


@pytest.mark.parametrize(
    ("counters", "after"),
    [
        ([1, 2, 3, 1, 2], 2),  # entered a run too early: the counter goes on past it
        ([1, 2, 3, 4, 5], 2),  # of another unit: the counter never starts anew
        ([1, 2, None, 1, 2], 2),  # a run too early: the first counter starts a run later
        ([1, None, None, 2, 3], 3),  # a run too late: the first counter starts a run earlier
    ],
)
def test_a_restrip_that_the_counters_place_elsewhere_leaves_out_both_its_builds(
    counters: list[float | None], after: int
) -> None:
    runs = [run(2 * (at + 1), 1, counter) for at, counter in enumerate(counters)]
    restrips = [restrip(1), restrip(2 * after + 1, reason="burned")]
    lives = made([*runs, run(21, 1, 1, strips="burned")], [*restrips, restrip(20)])
    assert codes(lives) == [(1, "counter-disagrees"), (2, "counter-disagrees")]
    assert "restrip of 2026-05-" in lives.left_out[0].message
    assert intervals(lives)[2] == (0, 0, 1, "burned")


def test_a_first_counter_that_fits_nowhere_leaves_the_build_before_it_in() -> None:
    lives = made(
        [run(2, 1, 1), run(3, 1, 2), run(5, 1, 9), run(6, 1, 10)], [restrip(1), restrip(4)]
    )
    assert codes(lives) == [(2, "counter-disagrees")]


def test_both_readings_of_a_counter_are_told() -> None:
    lives = made([run(2, 1, 1), run(3, 2, 2), run(4, 1, 7, load=0.5)], [restrip(1)])
    assert codes(lives) == [(1, "counter-disagrees")]
    assert lives.left_out[0].message.startswith(
        "7 runs since restrip entered at run 1 of 2026-05-04, 3 by number, 2.5 by load counted"
    )
    assert str(lives.left_out[0]).startswith("K1 build 1: 7 runs")


def test_the_counter_may_be_kept_by_number_or_by_load() -> None:
    for counters in ([1, 2], [0.5, 1.5]):
        runs = [run(2, 1, counters[0], load=0.5), run(3, 1, counters[1])]
        assert codes(made(runs, [restrip(1)])) == []


def test_one_slip_is_no_forgotten_restrip() -> None:
    lives = made([run(2 + at, 1, c) for at, c in enumerate([1, 2, 1, 4])], [restrip(1)])
    assert codes(lives) == [(1, "counter-disagrees")]


def test_the_day_of_joining_and_of_leaving_are_part_of_the_service() -> None:
    service = {"unit": "K1", "taken_in": "2026-05-01", "retired": "2026-05-03"}
    lives = made([run(1, 1, 1), run(3, 1, 2, strips="sound")], units=[service])
    assert codes(lives) == []
    life = lives.frame.iloc[0]
    assert (life["ending"], life["open"]) == ("retired", False)
    assert life["ended"] == pd.Timestamp("2026-05-03")
    assert (life["lower"], life["upper"]) == (2, math.inf)


def test_a_unit_sold_and_not_run_since_is_no_longer_in_use() -> None:
    lives = made([run(2, strips="sound")], [restrip(1), restrip(4, reason="sold")])
    assert lives.frame["ending"].tolist() == ["sold", "sold"]
    assert lives.frame["open"].tolist() == [False, False]
    assert lives.frame["ended"].tolist() == [pd.Timestamp("2026-05-04")] * 2
    back = made([run(2, strips="sound"), run(9)], [restrip(1), restrip(4, reason="sold")])
    assert back.frame["ending"].tolist() == ["sold", "in use"]
    assert back.frame["open"].tolist() == [False, True]


def test_a_look_after_a_run_of_no_load_cannot_fail() -> None:
    lives = made([run(2, strips="sound"), run(3, load=0.0, strips="burned")], [restrip(1)])
    assert codes(lives) == [(1, "ends-before-it-begins")]


def test_a_build_may_have_several_faults() -> None:
    lives = made(
        [run(2, 1, 9, strips="burned"), run(3, 1, strips="sound")],
        [restrip(1), restrip(4, reason="cut")],
    )
    assert codes(lives) == [
        (1, "counter-disagrees"),
        (1, "modes-disagree"),
        (1, "sound-after-failed"),
    ]


def test_a_failure_of_strips_no_run_of_which_is_recorded_is_noted() -> None:
    lives = made([run(2, strips="sound")], [restrip(1, reason="burned")])
    assert intervals(lives) == [(0, 1, math.inf, "")]
    assert "restrip of 2026-05-01 tells of burned strips" in lives.notes[0]


def test_another_mode_censors_and_is_an_event_of_its_own() -> None:
    lives = made(
        [run(2, strips="sound"), run(3, strips="pulled"), run(6, strips="burned")],
        [restrip(1), restrip(5, reason="pulled")],
    )
    burned, pulled = lives.observations(), lives.observations("pulled")
    assert burned.upper.tolist() == [math.inf, 1]
    assert burned.lower.tolist() == [1, 0]
    assert pulled.upper.tolist() == [2, math.inf]
    assert (burned.failures, pulled.failures, burned.count) == (1, 1, 2)
    assert burned.labels == ("K1 build 1", "K1 build 2")
    with pytest.raises(UsageError, match="no failure mode 'planned'"):
        lives.observations("planned")


def test_strips_and_lot_go_with_the_build_they_began() -> None:
    lives = made(
        [run(2), run(4)],
        [
            restrip(1, strip_lot="A", strip_material="urethane", strip_height_thou=26.0),
            restrip(3, strip_lot="B"),
        ],
    )
    assert lives.frame["strip_lot"].tolist() == ["A", "B"]
    assert lives.frame["strip_material"].tolist() == ["urethane", None]
    assert lives.frame["strip_height_thou"].tolist()[0] == 26.0


def test_a_restrip_without_runs_is_a_build_of_age_nought() -> None:
    lives = made([], [restrip(1), restrip(3, runs_already_on_the_strips=2)])
    assert lives.frame["runs"].tolist() == [0, 0]
    assert lives.frame["age"].tolist() == [0, 2]
    assert lives.frame["open"].tolist() == [False, True]


def test_no_records_make_no_lives() -> None:
    lives = made([])
    assert len(lives.frame) == len(lives.runs) == 0
    assert lives.left_out == ()
    assert lives.notes == ()
    assert lives.observations().count == 0


@pytest.mark.parametrize("load", [-0.5, 1.7, math.inf])
def test_a_load_that_is_no_share_leaves_its_build_out(load: float) -> None:
    season = Season.from_frames(
        runs=pd.DataFrame([run(2), run(3), run(5)]),
        restrips=pd.DataFrame([restrip(1), restrip(4)]),
    )
    season.runs.loc[1, "load"] = load  # past the season's own check
    lives = lives_of(season)
    assert codes(lives) == [(1, "bad-load")]
    assert lives.runs["age_after"].isna().tolist() == [True, True, False]


def test_two_runs_with_one_number_leave_their_build_out() -> None:
    season = Season.from_frames(runs=pd.DataFrame([run(2), run(3)]), restrips=None)
    twice = Season(
        pd.concat([season.runs, season.runs]), season.restrips, season.units, season.readings
    )
    assert (1, "run-order") in codes(lives_of(twice))


def test_words_nobody_knows_leave_their_build_out() -> None:
    season = Season.from_frames(
        runs=pd.DataFrame([run(2), run(4), run(6)]),
        restrips=pd.DataFrame([restrip(1), restrip(3), restrip(5)]),
    )
    season.runs.loc[0, "strips"] = "singed"  # past the season's own check
    season.restrips.loc[2, "reason"] = "fancy"
    lives = lives_of(season)
    assert codes(lives) == [(1, "word-unknown"), (2, "word-unknown")]
    assert "'singed' after run 1 of 2026-05-02" in lives.left_out[0].message


def test_a_unit_entered_twice_leaves_all_its_builds_out() -> None:
    season = Season.from_frames(
        runs=pd.DataFrame([run(2), run(4)]),
        restrips=pd.DataFrame([restrip(1), restrip(3)]),
        units=pd.DataFrame([{"unit": "K1"}, {"unit": "K2"}]),
    )
    season.units["unit"] = "K1"
    assert codes(lives_of(season)) == [(1, "unit-twice"), (2, "unit-twice")]


def test_a_restrip_outside_of_the_service_leaves_out_both_its_builds() -> None:
    lives = made(
        [run(2), run(6), run(9)],
        [restrip(1), restrip(4), restrip(8)],
        [{"unit": "K1", "retired": "2026-05-07"}],
    )
    assert codes(lives) == [(2, "after-retired"), (3, "after-retired")]
    early = made([run(6)], [restrip(1), restrip(5)], [{"unit": "K1", "taken_in": "2026-05-05"}])
    assert codes(early) == [(1, "before-taken-in")]


def test_after_run_on_a_day_without_runs_must_be_nought() -> None:
    lives = made([run(2), run(6)], [restrip(1), restrip(4, after_run=0)])
    assert codes(lives) == []
    lives = made([run(2), run(6)], [restrip(1), restrip(4, after_run=2)])
    assert codes(lives) == [(1, "restrip-order"), (2, "restrip-order")]
    assert "no run 2 of that day is recorded" in lives.left_out[0].message


def test_a_long_list_of_silent_lives_is_cut_short() -> None:
    lives = made([run(25)], [restrip(day) for day in range(1, 21)])
    assert lives.notes[0].startswith("20 lives tell nothing")
    assert lives.notes[0].endswith("K1 build 12 and 8 more")


def test_lengths_of_observations_must_agree() -> None:
    one = np.ones(1)
    with pytest.raises(ObservationError, match="2 labels but entry has shape"):
        Observations(entry=0 * one, lower=one, upper=2 * one, weight=one, labels=("a", "b"))


def test_a_row_without_a_date_is_refused() -> None:
    season = Season.from_frames(runs=pd.DataFrame([run(2)]))
    season.runs["date"] = pd.NaT
    with pytest.raises(ObservationError, match="no date"):
        lives_of(season)


def observed(**changes: float) -> Observations:
    values = {"entry": 0.0, "lower": 1.0, "upper": 2.0, "weight": 1.0} | changes
    arrays = {name: np.array([value]) for name, value in values.items()}
    return Observations(
        entry=arrays["entry"],
        lower=arrays["lower"],
        upper=arrays["upper"],
        weight=arrays["weight"],
        labels=("a",),
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"entry": -1.0},
        {"lower": 3.0},
        {"entry": 1.5},
        {"lower": math.nan},
        {"upper": math.nan},
        {"lower": math.inf, "upper": math.inf},
        {"weight": 0.0},
        {"entry": 2.0, "lower": 2.0},
    ],
)
def test_what_is_no_life_is_no_observation(changes: dict[str, float]) -> None:
    with pytest.raises(ObservationError, match="a: entry"):
        observed(**changes)


def test_observations_do_not_change() -> None:
    life = observed()
    with pytest.raises(ValueError, match="read-only"):
        life.lower[0] = 5

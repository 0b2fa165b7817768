"""How builds laid end to end become a history, by examples small enough to check by hand."""

from typing import Any

import pandas as pd
import pytest

from wearstats.errors import ObservationError, UsageError
from wearstats.lives import StripLives, lives_of
from wearstats.records.season import Season
from wearstats.recurrence import History, UnitHistories, histories_of

Row = dict[str, Any]


def run(day: int, look: str | None = None, **more: Any) -> Row:
    return {"date": f"2026-05-{day:02d}", "unit": "K1", "run": 1, "strips": look} | more


def restrip(day: int, **more: Any) -> Row:
    return {"date": f"2026-05-{day:02d}", "unit": "K1"} | more


def lives_from(runs: list[Row], restrips: list[Row]) -> StripLives:
    season = Season.from_frames(runs=pd.DataFrame(runs), restrips=pd.DataFrame(restrips))
    return lives_of(season)


def followed(runs: list[Row], restrips: list[Row], mode: str = "burned") -> UnitHistories:
    return histories_of(lives_from(runs, restrips), mode)


TWO_BURNED = [
    run(2), run(3, "sound"), run(4), run(5, "burned"),  # 4 runs, found at 4, sound at 2
    run(7, "sound", load=0.5), run(8, "burned"),  # 1.5 runs
    run(10, "sound"), run(11),  # 2 runs, looked at after the first
]  # fmt: skip
RESTRIPS = [restrip(1), restrip(6), restrip(9)]


def test_failures_stand_where_found_on_the_clock_of_total_runs() -> None:
    (history,) = followed(TWO_BURNED, RESTRIPS).histories
    assert history.found == (4.0, 5.5)
    assert history.earliest == (2.0, 4.5)
    assert history.gaps == (4.0, 1.5)
    assert history.earliest_gaps == (2.0, 2.5)


def test_the_watch_ends_at_the_last_look() -> None:
    (history,) = followed(TWO_BURNED, RESTRIPS).histories
    assert history.end == 6.5
    assert not history.ends_in_failure


def test_a_failure_at_the_end_is_known_for_what_it_is() -> None:
    (history,) = followed(TWO_BURNED[:6], RESTRIPS[:2]).histories
    assert history.end == 5.5
    assert history.ends_in_failure


def test_other_ends_count_as_runs_without_failure() -> None:
    runs = [
        {**row, "strips": "pulled"} if row["date"].endswith("05") else row for row in TWO_BURNED
    ]
    (burned,) = followed(runs, RESTRIPS).histories
    assert burned.found == (5.5,)
    (pulled,) = followed(runs, RESTRIPS, "pulled").histories
    assert pulled.found == (4.0,)


def test_runs_nobody_looked_after_are_counted_and_named() -> None:
    made = followed([run(2, "sound"), run(3), run(4), run(6, "burned")], [restrip(1), restrip(5)])
    (history,) = made.histories
    assert history.found == (4.0,)
    assert any("nobody looked" in note and "K1 2" in note for note in made.notes)


def test_worn_strips_at_the_start_cut_the_first_gap() -> None:
    joined = [restrip(1, runs_already_on_the_strips=3), *RESTRIPS[1:]]
    (history,) = followed(TWO_BURNED, joined).histories
    assert history.found == (4.0, 5.5)  # the clock still starts at 0
    assert history.earliest == (2.0, 4.5)
    assert not history.fresh
    assert history.gaps == (1.5,)


def test_a_build_left_out_breaks_the_chain_and_the_longer_stretch_is_followed() -> None:
    doubtful = [run(12, "burned"), run(13, "sound")]  # burned, then sound: left out
    later = [run(15, "burned")]
    made = followed(TWO_BURNED + doubtful + later, [*RESTRIPS, restrip(12), restrip(14)])
    # Burned, then sound: build 4 is out, and build 3 with it, as the restrip of the 12th may
    # stand before or after that day's run.
    (history,) = made.histories
    assert history.found == (4.0, 5.5)
    (missed,) = made.not_followed
    assert missed.unit == "K1"
    assert "left out until resolved" in missed.why
    assert missed.builds == (3, 4, 5)


def test_later_builds_are_followed_where_the_first_is_left_out() -> None:
    doubtful = [run(2, "burned"), run(3, "sound")]
    later = [run(5), run(6, "sound"), run(7), run(8, "burned")]
    made = followed(doubtful + later, [restrip(1), restrip(4)])
    (history,) = made.histories
    assert history.found == (4.0,)  # counted from the restrip of the 4th
    assert made.not_followed[0].builds == (1,)


def test_a_unit_nobody_looked_at_is_named() -> None:
    made = followed([run(2), run(3)], [restrip(1)])
    assert not made.histories
    assert made.not_followed[0].why == "nobody looked at the strips"


def test_every_build_is_followed_or_named() -> None:
    lives = lives_from(TWO_BURNED, RESTRIPS)
    made = histories_of(lives)
    assert made.not_followed == ()
    assert len(made.histories) == lives.frame["unit"].nunique()


def test_no_such_mode() -> None:
    with pytest.raises(UsageError, match="melted"):
        followed(TWO_BURNED, RESTRIPS, "melted")


@pytest.mark.parametrize(
    ("found", "end"),
    [((3.0, 2.0), 5.0), ((6.0,), 5.0), ((0.0,), 5.0), ((float("nan"),), 5.0), ((), 0.0)],
)
def test_what_is_no_history_is_refused(found: tuple[float, ...], end: float) -> None:
    with pytest.raises(ObservationError, match="K9"):
        History("K9", found, end)


def test_earliest_ages_after_the_finding_are_refused() -> None:
    with pytest.raises(ObservationError, match="K9"):
        History("K9", (2.0,), 5.0, earliest=(3.0,))

"""The door from records to lives, asked of seasons whose lives are known."""

import pytest

from wearstats.lives import lives_of
from wearstats_synthetic import Truth, simulate

ROOM_RUNS = 1e-9  # ages are sums of loads written with one decimal


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("looked", [0.1, 0.45, 1.0])
def test_every_life_lies_in_its_interval(seed: int, looked: float) -> None:
    season = simulate(seed, Truth(look_chance=looked))
    lives = lives_of(season.records)
    assert lives.left_out == ()
    assert len(lives.frame) == len(season.builds)
    both = lives.frame.merge(season.builds, on=["unit", "build"], suffixes=("", "_true"))
    assert len(both) == len(season.builds)
    assert (both["entry"] - both["entry_true"]).abs().max() <= ROOM_RUNS
    assert (both["age"] - both["age_true"]).abs().max() <= ROOM_RUNS
    found = both["mode"] != ""
    assert (both["mode"] == both["mode_true"])[found].all()
    assert (both["lower"] - ROOM_RUNS < both["failed_at"]).all()
    assert (both["failed_at"] <= both["upper"] + ROOM_RUNS)[found].all()
    if looked == 1.0:
        assert (both["upper"] - both["lower"] <= 1.0 + ROOM_RUNS)[found].all()
        in_runs = both["failed_at"] <= both["age"]
        assert (found == in_runs)[both["ending"] != "crash"].all()

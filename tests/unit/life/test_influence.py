"""Leaving out a life or a unit moves the answer by what a fit without it says."""

import numpy as np
import pytest

from wearstats.errors import FitError, UsageError
from wearstats.life import StripLife, influence
from wearstats.lives.observations import Observations

UNITS = ("K1", "K1", "K2", "K2", "K3", "K3", "K4", "K4")


def lives(*, last: float = 7.0) -> Observations:
    lower = np.array([6.0, 7, 8, 9, 8, 7, 10, last])
    upper = lower + np.array([1, 1, 1, np.inf, 1, 1, 1, 1])
    labels = tuple(f"{unit} build {build % 2 + 1}" for build, unit in enumerate(UNITS))
    return Observations(np.zeros(8), lower, upper, np.ones(8), labels)


def without(known: Observations, place: int) -> Observations:
    kept = np.delete(np.arange(8), place)
    labels = tuple(known.labels[at] for at in kept)
    parts = (known.entry[kept], known.lower[kept], known.upper[kept], known.weight[kept])
    return Observations(*parts, labels)


@pytest.mark.parametrize("baseline", ["weibull", "lognormal"])
def test_the_move_is_that_of_the_fit_without_the_life(baseline: str) -> None:
    found = influence(lives(), baseline=baseline, failed=0.2)
    assert found.groups == lives().labels
    with_all = StripLife(baseline).fit(lives()).life_at(0.2).estimate
    for place, move in enumerate(found.moves):
        alone = StripLife(baseline).fit(without(lives(), place)).life_at(0.2).estimate
        assert with_all is not None
        assert alone is not None
        assert move == pytest.approx(np.log(alone / with_all), abs=1e-8)


def test_one_early_failure_is_named_with_both_answers() -> None:
    found = influence(lives(last=0.5))
    assert found.most == "K4 build 2"
    assert found.without is not None
    assert found.without.estimate is not None
    assert found.life_at.estimate is not None
    assert found.without.estimate > 1.5 * found.life_at.estimate
    assert found.words.startswith("Life at 10 % failed rests most on K4 build 2: without it ")
    assert found.as_dict()["most"] == "K4 build 2"


def test_lives_much_alike_leave_it_where_it_is() -> None:
    ages = np.arange(30, dtype=np.float64) % 6 + 3
    alike = Observations(np.zeros(30), ages, ages + 1, np.ones(30), ("a",) * 30)
    found = influence(alike, [f"K{number}" for number in range(30)])
    assert (
        found.words == "None of 30, left out alone, moves life at 10 % failed by as much as 10 %."
    )


def test_units_go_whole() -> None:
    found = influence(lives(last=0.5), UNITS)
    assert found.groups == ("K1", "K2", "K3", "K4")
    assert found.most == "K4"


def test_where_the_fit_falls_without_somebody_that_is_said() -> None:
    known = Observations(
        np.zeros(4),
        np.array([3.0, 6, 4, 5]),
        np.array([4.0, 7, np.inf, np.inf]),
        np.ones(4),
        ("K1 build 1", "K2 build 1", "K3 build 1", "K4 build 1"),
    )
    found = influence(known)
    assert found.without is None
    assert found.words.startswith(f"The fit rests on {found.most}: without it")


def test_what_cannot_be_asked_is_refused() -> None:
    with pytest.raises(UsageError, match="3 groups for 8 lives"):
        influence(lives(), ("a", "b", "c"))
    with pytest.raises(UsageError, match="two groups or more"):
        influence(lives(), ("a",) * 8)
    with pytest.raises(FitError):
        influence(Observations(np.zeros(2), np.ones(2), np.full(2, np.inf), np.ones(2), ("a", "b")))

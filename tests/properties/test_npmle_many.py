"""Curves of many sets at once are those of each set alone, which other tests hold to the truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.errors import ObservationError, TooFewError
from wearstats.life import IntervalCurve, npmle
from wearstats.life.curves_many import Curves, curves
from wearstats.life.turnbull import SHARED
from wearstats.lives.observations import Observations

SETTINGS = settings(derandomize=True, deadline=None, max_examples=60)


def drawn(seed: int, lives: int, sets: int) -> tuple[np.ndarray, ...]:
    """Lives of every kind, many with ages in common, some entered late, some that say nothing."""
    rng = np.random.default_rng(seed)
    entry = rng.choice([0.0, 0.0, 0.0, 1.0, 3.0, 6.0], lives)
    weight = rng.choice([1.0, 1.0, 2.0, 0.7], lives)
    lower = entry + rng.integers(0, 8, (sets, lives))
    kind = rng.integers(0, 3, (sets, lives))
    between = lower + rng.integers(1, 7, (sets, lives))
    upper = np.where(kind == 0, between, np.where((kind == 1) & (lower > entry), lower, np.inf))
    return entry, lower, upper, weight


def alone(entry: np.ndarray, lower: np.ndarray, upper: np.ndarray, weight: np.ndarray) -> object:
    labels = tuple(f"K{place}" for place in range(entry.size))
    try:
        return npmle(Observations(entry, lower, upper, weight, labels))
    except (ObservationError, TooFewError) as refused:
        return refused


def held_to_that(many: Curves, place: int, one: object) -> None:
    if not isinstance(one, IntervalCurve):
        assert np.isnan(many.lives[place]), one
        return
    assert many.found[place]
    assert many.lives[place] == pytest.approx(one.lives)
    assert many.given_age[place] == one.given_age
    if SHARED in one.notes:
        return
    falls = one.defined & (one.mass > 1e-9)
    there = many.before[place] - many.after[place] > 1e-9
    assert many.lower[place, there].tolist() == one.lower[falls].tolist()
    assert many.upper[place, there].tolist() == one.upper[falls].tolist()
    assert many.after[place, there] == pytest.approx(one.after[falls], abs=1e-7)
    assert many.before[place, there] == pytest.approx(one.before[falls], abs=1e-7)


@SETTINGS
@given(seed=st.integers(0, 10_000), lives=st.integers(1, 12))
def test_a_handful_of_lives(seed: int, lives: int) -> None:
    entry, lower, upper, weight = drawn(seed, lives, sets=6)
    many = curves(entry, lower, upper, weight)
    for place in range(6):
        held_to_that(many, place, alone(entry, lower[place], upper[place], weight))


def test_sixty_lives_with_ages_of_their_own() -> None:
    rng = np.random.default_rng(5)
    fails = 12 * rng.weibull(2.5, (20, 60))
    gap = rng.uniform(1, 4, 60)
    lower = np.floor(fails / gap) * gap
    upper = np.where(rng.random((20, 60)) < 0.7, lower + gap, np.inf)
    lower[:, :5] = upper[:, :5] = fails[:, :5]
    entry, weight = np.zeros(60), np.ones(60)
    many = curves(entry, lower, upper, weight)
    assert many.found.all()
    for place in range(20):
        held_to_that(many, place, alone(entry, lower[place], upper[place], weight))


def test_with_very_many_intervals_each_set_is_left_to_be_done_alone() -> None:
    ages = 12 * np.random.default_rng(1).weibull(2.5, (1, 400))
    many = curves(np.zeros(400), ages, ages, np.ones(400))
    assert not many.found.any()
    assert np.isnan(many.lives).all()

"""The curve for lives known to intervals is the best there is, whatever the lives."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import optimize

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError, TooFewError
from wearstats.life import IntervalCurve, SurvivalCurve, kaplan_meier, npmle, seen_curve
from wearstats.life.hazard_steps import GAP
from wearstats.lives.observations import Observations

SETTINGS = settings(derandomize=True, deadline=None, max_examples=60)
FEW = settings(derandomize=True, deadline=None, max_examples=15)


@st.composite
def lives(
    draw: st.DrawFn, *, late: bool = True, most: int = 9, kinds: str = "between sound exact"
) -> Observations:
    """A handful of lives of any kind, many of them with ages in common."""
    rows = []
    for _ in range(draw(st.integers(1, most))):
        entry = draw(st.sampled_from([0, 0, 0, 1, 3, 6])) if late else 0
        lower = entry + draw(st.integers(0, 7))
        told = [kind for kind in kinds.split() if lower > entry or kind == "between"]
        kind = draw(st.sampled_from(told or ["sound"]))
        width = draw(st.integers(1, 6))
        upper = {"between": lower + width, "sound": math.inf, "exact": lower}[kind]
        rows.append((entry, lower, upper, draw(st.sampled_from([1.0, 1.0, 2.0, 0.7]))))
    entry_, lower_, upper_, weight = (
        np.array(column, dtype=float) for column in zip(*rows, strict=True)
    )
    return Observations(entry_, lower_, upper_, weight, tuple(f"K{i}" for i in range(len(rows))))


def elementary(known: Observations) -> tuple[BoolArray, BoolArray]:
    """Each life's failure and watch among all ages and stretches between; shape (n, cells).

    Cells alternate: a stretch open at both ends, then the age that ends it; the last one is all
    that lies beyond. No use is made of innermost intervals.
    """
    finite = known.upper[np.isfinite(known.upper)]
    ages = np.unique(np.concatenate([[0.0], known.entry, known.lower, finite]))
    # A stretch stands at its middle.
    cells = np.sort(np.concatenate([ages, (ages[1:] + ages[:-1]) / 2, [ages[-1] + 1]]))
    failed = (cells > known.lower[:, None]) & (cells <= known.upper[:, None])
    exact = known.upper == known.lower
    failed[exact] = cells == known.upper[exact, None]
    return failed, cells > known.entry[:, None]


def log_likelihood(known: Observations, mass: FloatArray) -> float:
    failed, watched = elementary(known)
    return float(known.weight @ np.log((failed @ mass) / (watched @ mass)))


def em(known: Observations, rounds: int = 4000) -> FloatArray:
    """Turnbull's self-consistency with ghosts for late entry, from the uniform distribution."""
    failed, watched = elementary(known)
    mass = np.full(failed.shape[1], 1 / failed.shape[1])
    for _ in range(rounds):
        seen, all_watched = failed @ mass, watched @ mass
        share = (known.weight / seen) @ failed + (known.weight / all_watched) @ ~watched
        mass = mass * share
        mass /= mass.sum()
    return mass


def informative(known: Observations) -> Observations | None:
    tells = np.flatnonzero(known.informative)
    if not tells.size:
        return None
    parts = (known.entry, known.lower, known.upper, known.weight)
    entry, lower, upper, weight = (part[tells] for part in parts)
    return Observations(entry, lower, upper, weight, tuple(f"K{place}" for place in tells))


@FEW
@given(lives())
def test_no_slow_iteration_finds_a_better_curve(drawn: Observations) -> None:
    known = informative(drawn)
    if known is None:
        return
    curve = npmle(known)
    assert curve.gap <= GAP
    slow = log_likelihood(known, em(known))
    assert curve.log_likelihood >= slow - 1e-9
    # The iteration nears the maximum as slowly as one over its rounds.
    assert curve.log_likelihood == pytest.approx(slow, abs=0.02)


def mass_by_hand(curve: IntervalCurve, known: Observations) -> FloatArray:
    """Put the curve's falls on the elementary cells, each at the end of its interval."""
    finite = known.upper[np.isfinite(known.upper)]
    ages = np.unique(np.concatenate([[0.0], known.entry, known.lower, finite]))
    mass = np.zeros(2 * ages.size)
    mass[2 * np.searchsorted(ages, curve.upper)] = curve.mass
    mass[-1] = max(1 - curve.mass.sum(), 0.0)
    return mass


@SETTINGS
@given(lives(late=False))
def test_no_direction_leads_up(drawn: Observations) -> None:
    """The directional gradient of the mixture, over all ages there are, is nowhere above 1."""
    known = informative(drawn)
    if known is None:
        return
    curve = npmle(known)
    mass = mass_by_hand(curve, known)
    failed, _ = elementary(known)
    assert curve.log_likelihood == pytest.approx(log_likelihood(known, mass), abs=1e-9)
    gradient = (known.weight / (failed @ mass)) @ failed / known.weight.sum()
    assert gradient.max() <= 1 + 1e-7
    assert gradient[mass > 0] == pytest.approx(1.0, abs=1e-7)


@SETTINGS
@given(lives(late=False))
def test_curve_is_self_consistent(drawn: Observations) -> None:
    """S(t) is the mean chance to outlast t, each life given what is known of it."""
    known = informative(drawn)
    if known is None:
        return
    curve = npmle(known)
    mass = mass_by_hand(curve, known)
    failed, _ = elementary(known)
    mean = known.weight @ (failed * mass / (failed @ mass)[:, None]) / known.weight.sum()
    assert mean == pytest.approx(mass, abs=1e-8)


@SETTINGS
@given(lives(kinds="sound exact"))
def test_exact_lives_give_the_product_limit(known: Observations) -> None:
    exact = (
        Observations(
            known.entry,
            known.lower,
            np.where(np.isfinite(known.upper), known.lower, np.inf),
            known.weight,
            known.labels,
        )
        if (known.lower > known.entry).all()
        else None
    )
    if exact is None:
        return
    curve, product = npmle(exact), kaplan_meier(exact)
    assert curve.given_age == product.given_age
    assert curve.after[curve.defined] == pytest.approx(product.survival[product.defined], abs=1e-9)


@SETTINGS
@given(lives(), st.floats(0, 14))
def test_intervals_hold_the_curve_and_stay_within_bounds(known: Observations, age: float) -> None:
    try:
        curve = npmle(known)
        found, wider = curve.at(age), curve.at(age, 0.99)
    except TooFewError:
        assert not known.informative.any()
        return
    except ObservationError as reason:
        assert "nothing is known of" in str(reason)  # noqa: PT017 - any other would be a fault
        return
    assert found.low is not None
    assert found.high is not None
    assert 0 <= found.low <= found.high <= 1
    assert wider.low is not None
    assert wider.high is not None
    assert wider.low <= found.low + 1e-9
    assert wider.high >= found.high - 1e-9
    if found.estimate is not None:
        assert found.low <= found.estimate <= found.high
    else:
        assert found.note


def best_with(known: Observations, age: float, chance: float) -> float:
    """Greatest log likelihood with this chance to outlast this age, by a general climber."""
    finite = known.upper[np.isfinite(known.upper)]
    ages = np.unique(np.concatenate([[0.0, age], known.lower, finite]))
    cells = np.sort(np.concatenate([ages, (ages[1:] + ages[:-1]) / 2, [ages[-1] + 1]]))
    failed = (cells > known.lower[:, None]) & (cells <= known.upper[:, None])
    beyond = cells > age
    start = np.where(beyond, chance / beyond.sum(), (1 - chance) / (~beyond).sum())

    def cost(mass: FloatArray) -> tuple[float, FloatArray]:
        seen = failed @ mass
        return -float(known.weight @ np.log(seen)), -(known.weight / seen) @ failed

    found = optimize.minimize(
        cost,
        start,
        jac=True,
        method="SLSQP",
        bounds=[(1e-13, 1.0)] * cells.size,
        constraints=optimize.LinearConstraint(
            np.array([beyond, ~beyond], dtype=float), [chance, 1 - chance], [chance, 1 - chance]
        ),
        options={"ftol": 1e-13, "maxiter": 1000},
    )
    return -float(found.fun)


@FEW
@given(lives(late=False, kinds="between sound", most=12), st.integers(1, 12))
@example(
    Observations(
        np.zeros(11),
        np.array([1.0, 1, 4, 0, 0, 0, 0, 2, 0, 0, 3]),
        np.array([3.0, 3, 5, 1, 1, 1, 1, 4, 1, 1, 5]),
        np.ones(11),
        tuple("abcdefghijk"),
    ),
    2,
)
@example(  # everybody still watched has failed: the best curve itself has no end to its hazard
    Observations(
        np.zeros(8),
        np.array([2.0, 5, 7, 5, 0, 4, 3, 7]),
        np.array([3.0, 7, np.inf, 9, 3, np.inf, np.inf, np.inf]),
        np.ones(8),
        tuple("abcdefgh"),
    ),
    9,
)
def test_the_ends_are_where_the_best_curve_through_them_has_fallen_enough(
    drawn: Observations, age: int
) -> None:
    known = informative(drawn)
    if known is None:
        return
    curve = npmle(known)
    if not 0 < age <= curve.last_age:
        return
    found = curve.at(float(age))
    for end in (found.low, found.high):
        assert end is not None
        if 1e-6 < end < 1 - 1e-6:
            drop = 2 * (curve.log_likelihood - best_with(known, age, end))
            assert drop == pytest.approx(2.70554345, abs=2e-4)  # chi-square(1), 90 %


def test_where_all_who_were_watched_have_failed_there_is_an_upper_end() -> None:
    known = Observations(np.zeros(2), np.zeros(2), np.array([6.5, 7.5]), np.ones(2), ("a", "b"))
    found = npmle(known).at(6.5)
    assert (found.estimate, found.low) == (0.0, 0.0)
    # one may have failed after 6.5: 2 (log 1 - log(1 - S)) = 2.7055 where both fell before it
    assert found.high == pytest.approx(1 - math.exp(-2.70554345 / 2), abs=1e-6)


@SETTINGS
@given(lives())
def test_the_curve_falls_from_one_and_adds_up(known: Observations) -> None:
    if not known.informative.any():
        return
    curve = npmle(known)
    frame = curve.frame[curve.frame["defined"]]
    assert (frame["lower"] <= frame["upper"]).all()
    assert (frame["upper"].to_numpy()[:-1] <= frame["lower"].to_numpy()[1:] + 0.0).all()
    if len(frame):
        assert frame["before"].iloc[0] == 1
        assert frame["before"].to_numpy()[1:] == pytest.approx(frame["after"].to_numpy()[:-1])
        assert (frame["mass"] >= 0).all()
    assert frame["mass"].sum() <= 1 + 1e-12


@SETTINGS
@given(lives())
def test_weights_count_lives_alike(known: Observations) -> None:
    if not known.informative.any():
        return
    halves = Observations(
        np.repeat(known.entry, 2),
        np.repeat(known.lower, 2),
        np.repeat(known.upper, 2),
        np.repeat(known.weight / 2, 2),
        tuple(label for label in known.labels for _ in "ab"),
    )
    one, other = npmle(known), npmle(halves)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-8)
    assert other.given_age == one.given_age


@SETTINGS
@given(lives())
def test_the_curve_without_a_model_is_the_product_limit_where_there_is_one(
    known: Observations,
) -> None:
    if not known.informative.any():
        return
    found = seen_curve(known)
    try:
        product = kaplan_meier(known)
    except ObservationError:
        assert isinstance(found, IntervalCurve)
        return
    assert isinstance(found, SurvivalCurve)
    assert found.survival.tolist() == pytest.approx(product.survival.tolist(), nan_ok=True)


def test_a_fall_that_could_stand_elsewhere_is_said_to() -> None:
    # a failed by 10; only d is watched from 2 to 5 and again from 8 on, so that the fall costs
    # as much at either place
    known = Observations(
        np.array([0.0, 0.0, 5.0, 0.0]),
        np.array([0.0, 2.0, 8.0, 20.0]),
        np.array([10.0, math.inf, math.inf, math.inf]),
        np.ones(4),
        ("a", "b", "c", "d"),
    )
    assert any("not the only one" in note for note in npmle(known, given_age=0).notes)
    settled = Observations(
        known.entry[[0, 1, 3]],
        known.lower[[0, 1, 3]],
        known.upper[[0, 1, 3]],
        np.ones(3),
        ("a", "b", "d"),
    )
    assert not any("not the only one" in note for note in npmle(settled).notes)


def test_a_failure_seen_late_is_no_life_still_to_come() -> None:
    # all have failed by 14; one of them is only known to have by 16, and one entered late
    known = Observations(
        np.array([0.0, 0.0, 2.0, 0.0]),
        np.array([4.0, 12.0, 6.0, 13.0]),
        np.array([5.0, 14.0, 7.0, 16.0]),
        np.ones(4),
        ("a", "b", "c", "d"),
    )
    curve = npmle(known)
    assert curve.given_age == 0
    assert curve.defined.all()
    assert curve.lower.tolist() == [4, 6, 13]


@pytest.mark.parametrize("seed", range(6))
def test_a_few_hundred_lives_at_ages_of_their_own(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = 300
    entry = np.where(rng.random(size) < 0.4, rng.uniform(0, 9, size), 0)
    life = 12 * np.sqrt((entry / 12) ** 2 - np.log(rng.random(size)))
    looks = entry[:, None] + np.cumsum(rng.uniform(0.1, 6, (size, 5)), axis=1)
    seen = (looks < life[:, None]).sum(axis=1)
    padded = np.column_stack([entry, looks, np.full(size, np.inf)])
    rows = np.arange(size)
    lower, upper = padded[rows, seen], padded[rows, seen + 1]
    exact = np.isfinite(upper) & (rng.random(size) < 0.2)
    lower, upper = np.where(exact, life, lower), np.where(exact, life, upper)
    known = Observations(entry, lower, upper, np.ones(size), tuple(map(str, rows)))
    curve = npmle(known, given_age=0)
    assert curve.gap <= GAP
    mass = mass_by_hand(curve, known)
    failed, watched = elementary(known)
    tells = known.informative
    # the conditional likelihood's derivative as mass moves to each age there is
    slope = tells / (failed @ mass) @ failed - tells / (watched @ mass) @ watched
    assert slope.max() <= 1e-5
    assert slope[mass > 1e-12] == pytest.approx(0.0, abs=1e-5)

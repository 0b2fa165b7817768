import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearstats_synthetic import Truth
from wearstats_synthetic.hands import DOCK, HANDS, TRAILER, Hand
from wearstats_synthetic.looks import feeler, read_gap, read_height

HAND = st.sampled_from(HANDS)


@given(HAND, st.floats(0.0, 40.0))
def test_the_interval_contains_what_was_measured(hand: Hand, gap: float) -> None:
    read = feeler(gap, hand)
    low, high = float(read.low), float(read.high)
    # Blades are kept to 1e-9 thou of their nominal size after conversion from mm.
    assert np.isnan(low) or low <= gap + 1e-9
    assert np.isnan(high) or gap < high + 1e-9
    assert not (np.isnan(low) and np.isnan(high))
    if not np.isnan(low + high):
        assert hand.blades.unit.show(high - low) == pytest.approx(hand.blades.step)


@pytest.mark.parametrize(
    ("hand", "gap", "low", "high"),
    [
        (DOCK, 3.4, 3.0, 4.0),
        (DOCK, 4.0, 4.0, 5.0),
        (DOCK, 1.2, np.nan, 2.0),
        (DOCK, 22.0, 15.0, np.nan),
        # 0.075 mm enters, 0.100 mm does not; 25.4 um to the thou.
        (TRAILER, 3.4, 75 / 25.4, 100 / 25.4),
    ],
)
def test_blades_by_hand(hand: Hand, gap: float, low: float, high: float) -> None:
    read = feeler(gap, hand)
    np.testing.assert_allclose([read.low, read.high], [low, high], rtol=1e-12)


def test_what_nobody_measured_stays_blank() -> None:
    true, measured = np.array([3.0, 3.0]), np.array([True, False])
    rng = np.random.default_rng(1)
    gap = read_gap(true, measured, DOCK, Truth(), rng)
    height = read_height(true, measured, DOCK, Truth(), rng)
    assert np.isnan([gap.low[1], gap.high[1], height[1]]).all()
    assert not np.isnan([gap.high[0], height[0]]).any()


def test_heights_are_rounded_to_the_hands_step() -> None:
    read = read_height(
        np.full(50, 27.3), np.ones(50, bool), DOCK, Truth(), np.random.default_rng(2)
    )
    np.testing.assert_array_equal(read, np.round(read * 2.0) / 2.0)
    # 0.25 thou of error and 0.5 / sqrt(12) of rounding.
    assert abs(read.mean() - 27.3) < 4.0 * np.hypot(0.25, 0.144) / np.sqrt(50)


@given(HAND, st.floats(5.0, 60.0))
def test_writing_and_rounding_agree(hand: Hand, psi: float) -> None:
    kept = float(hand.boost.rounded(psi))
    assert hand.boost.unit.keep(float(hand.boost.text(kept))) == pytest.approx(kept, rel=1e-12)
    number = hand.boost.number(kept)
    assert number is not None
    assert abs(hand.boost.unit.show(psi) - number) <= hand.boost.step / 2.0 + 1e-9
    assert hand.boost.text(float("nan")) == ""
    assert hand.boost.number(float("nan")) is None

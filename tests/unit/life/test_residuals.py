"""Cox-Snell residuals of lives known to intervals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from wearstats.errors import FitError, TooFewError
from wearstats.life import StripLife, cox_snell
from wearstats.life.checks.residuals import _mean_given
from wearstats.lives.observations import Observations


def lives(seed: int, count: int = 20) -> Observations:
    """Lives of every kind: looked at, exact, unfinished, entered late, of any weight."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(count) < 0.3, rng.uniform(0, 3, count), 0.0)
    lower = entry + rng.uniform(0.5, 9, count)
    kind = rng.integers(0, 3, count)
    upper = np.choose(kind, [lower + rng.uniform(0.5, 4, count), lower, np.full(count, np.inf)])
    labels = tuple(f"K{number}" for number in range(count))
    return Observations(entry, lower, upper, rng.uniform(0.5, 3, count), labels)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 10_000))
def test_their_mean_is_one_at_a_weibull_maximum(seed: int) -> None:
    known = lives(seed)
    try:
        fit = StripLife().fit(known)
    except FitError:
        return
    assert cox_snell(fit, known).mean == pytest.approx(1.0, abs=1e-7)


@pytest.mark.parametrize(("lower", "upper"), [(0.0, 2.0), (1.0, 1.5), (3.0, 3.001), (0.2, 40.0)])
def test_adjusted_is_the_mean_by_quadrature(lower: float, upper: float) -> None:
    top, _ = integrate.quad(lambda r: r * np.exp(-r), lower, upper, epsabs=1e-14)
    mean = top / (np.exp(-lower) - np.exp(-upper))
    found = _mean_given(np.array([lower]), np.array([upper]))[0]
    assert found == pytest.approx(mean, rel=1e-7)
    assert _mean_given(np.array([lower]), np.array([np.inf]))[0] == lower + 1
    assert _mean_given(np.array([lower]), np.array([lower]))[0] == lower


def test_under_the_right_law_the_curve_lies_by_the_unit_exponential() -> None:
    rng = np.random.default_rng(2)
    ages = 12 * rng.weibull(2.5, 2000)
    looked = np.floor(ages)
    ones = np.ones(2000)
    known = Observations(0 * ones, looked, looked + 1, ones, ("K",) * 2000)
    right = cox_snell(StripLife().fit(known), known).curve()
    wrong = cox_snell(StripLife("exponential").fit(known), known).curve()

    def apart(curve: object) -> float:
        frame = curve.frame  # type: ignore[attr-defined]
        ends, share = ("upper", "after") if "after" in frame else ("runs", "survival")
        return float(np.abs(frame[share] - np.exp(-frame[ends])).max())

    # Kolmogorov's 99.9 % point for 2,000 lives is 1.95/sqrt(2000) = 0.044
    assert apart(right) < 0.044
    assert apart(wrong) > 0.2


def test_without_an_estimate_there_are_none() -> None:
    sound = Observations(np.zeros(3), np.ones(3), np.full(3, np.inf), np.ones(3), tuple("abc"))
    with pytest.raises(TooFewError, match="nothing failed"):
        cox_snell(StripLife(shape=2.0).fit(sound), sound)

"""Ends found by steps in all parameters at once are those a bracketed search finds."""

import numpy as np
import pytest

from wearstats.life import StripLife, held, profile
from wearstats.life.held import interval
from wearstats.life.quantities import Acceleration, Coordinate, Quantity
from wearstats.life.regression import HazardRegression
from wearstats.life.regression_results import HazardRegressionFit
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations


def fitted(frailty: str, count: int) -> HazardRegressionFit:
    """Lives of six units, a covariate new each run, looks every two runs."""
    rng = np.random.default_rng(11)
    units = rng.integers(0, 6, count)
    lasting = rng.gamma(1 / 0.3, 0.3, 6)
    rows, lower, upper = [], np.zeros(count), np.full(count, np.inf)
    for life in range(count):
        x = rng.normal(size=20)
        hazard = lasting[units[life]] * np.diff((np.arange(21) / 12) ** 2.5) * np.exp(0.5 * x)
        failed = int(np.searchsorted(np.cumsum(hazard), rng.exponential()))
        looked = min(failed // 2 * 2, 14)
        lower[life] = looked
        upper[life] = looked + 2.0 if looked < 14 else np.inf
        end = int(upper[life]) if np.isfinite(upper[life]) else looked
        rows += [(life, run, run + 1.0, x[run]) for run in range(end)]
    table = np.array(rows)
    labels = tuple(f"life {life}" for life in range(count))
    seen = Observations(np.zeros(count), lower, upper, np.ones(count), labels)
    histories = Histories(
        seen,
        tuple(f"K{unit}" for unit in units),
        ("x",),
        table[:, 0].astype(np.int64),
        table[:, 1],
        table[:, 2],
        table[:, 3:],
    )
    return HazardRegression("weibull", frailty).fit(histories)


@pytest.mark.parametrize("frailty", ["none", "gamma"])
@pytest.mark.parametrize("quantity", [Coordinate(1), Coordinate(2), Acceleration(2)])
@pytest.mark.parametrize("critical", [1.0, 2.7055, 6.6349])
def test_both_ways_lead_to_the_same_ends(
    frailty: str, quantity: Quantity, critical: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    summit = fitted(frailty, 40).summit
    straight = interval(summit, quantity, critical)
    asked = []
    monkeypatch.setattr(held, "_straight", lambda *_: asked.append(1))
    bracketed = interval(summit, quantity, critical)
    assert len(asked) == 2
    assert straight == pytest.approx(bracketed, rel=1e-7, abs=1e-7)


def test_straight_steps_do_find_ends() -> None:
    # Else the test above would compare a way with itself.
    summit = fitted("gamma", 40).summit
    centre, gradient, _ = Coordinate(2).point(summit.theta)
    spread = float(np.sqrt(gradient @ summit.covariance @ gradient))
    lean = summit.covariance @ gradient / spread**2
    for sign in (-1.0, 1.0):
        search = held._Search(centre, sign, 2.7055, spread, 12.0, lean)
        end = held._straight(summit, Coordinate(2), search)
        assert end is not None
        assert sign * (end - centre) > 0


@pytest.mark.parametrize("law", ["weibull", "lognormal", "loglogistic"])
@pytest.mark.parametrize("seed", range(6))
def test_a_law_alone_has_the_same_ends_both_ways(
    law: str, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(seed)
    fails, gap = 12 * rng.weibull(rng.uniform(0.6, 6), 14), rng.integers(1, 6, 14)
    entry = np.where(rng.random(14) < 0.3, 1.0, 0.0)
    lower = np.maximum(np.floor(fails / gap) * gap, entry)
    upper = np.where(rng.random(14) < 0.7, lower + gap, np.inf)
    labels = tuple(f"life {life}" for life in range(14))
    fit = StripLife(law).fit(Observations(entry, lower, upper, np.ones(14), labels))

    def asked() -> list[tuple[float | None, float | None]]:
        lives, chances = fit.lives_at([0.1, 0.5]), fit.survivals([2, 8, 15])
        shape = next(iter(fit.parameters(0.95).values()))
        return [(each.low, each.high) for each in (*lives, *chances, shape, fit.chance(4, 6))]

    straight = asked()
    sought = []
    monkeypatch.setattr(profile, "_straight", lambda *_: sought.append(1))
    bracketed = asked()
    assert sought
    for ours, theirs in zip(straight, bracketed, strict=True):
        assert ours == pytest.approx(theirs, rel=1e-6)

"""A climb that is left because it leads to no unit effects would have come to nothing."""

import numpy as np
import pytest

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError
from wearstats.life import HazardRegression, HazardRegressionFit, hazard_likelihood
from wearstats.life.distributions import Law, law_named
from wearstats.life.exposures import Exposures, expose
from wearstats.life.frailties import Frailty, FrailtyName, frailty_named
from wearstats.life.hazard_likelihood import Point
from wearstats.life.regression import climbed
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations

# Among data sets drawn at random one whose likelihood falls from no unit effects upwards, and is
# highest at a variance of 6 all the same.
FAR = Histories(
    Observations(
        np.zeros(8),
        np.array([2.015058, 0.967387, 3.403267, 3.11032, 7.092563, 8.964509, 9.689006, 5.511275]),
        np.array([2.015058, 0.967387, np.inf, np.inf, 7.092563, 8.964509, 9.689006, 5.511275]),
        np.ones(8),
        tuple("abcdefgh"),
    ),
    ("K1", "K1", "K2", "K2", "K3", "K3", "K4", "K4"),
    ("load",),
    np.arange(8),
    np.zeros(8),
    np.array([2.015058, 0.967387, 3.403267, 3.11032, 7.092563, 8.964509, 9.689006, 5.511275]),
    np.array([-1.5655, -0.4936, -0.6258, -1.2394, -0.2815, 1.3368, -0.5323, -0.5813])[:, None],
)


def drawn(seed: int) -> Histories:
    """Lives of six units, five each, looked at every two runs; every other set has effects."""
    random = np.random.default_rng(seed)
    effects = np.repeat(random.gamma(2.0, 0.5, 6) if seed % 2 else np.ones(6), 5)
    load = random.normal(size=30)
    fails = 8 * (random.exponential(size=30) / (effects * np.exp(0.4 * load))) ** 0.5
    last = 2 * random.integers(2, 9, size=30)
    failed = fails < last
    lower = np.where(failed, 2 * np.floor(fails / 2), last)
    upper = np.where(failed, lower + 2, np.inf)
    stop = np.where(failed, upper, lower)
    names = tuple(f"life {place}" for place in range(30))
    return Histories(
        Observations(np.zeros(30), lower, upper, np.ones(30), names),
        tuple(f"K{place // 5}" for place in range(30)),
        ("load",),
        np.arange(30),
        np.zeros(30),
        stop,
        load[:, None],
    )


def highest(fit: HazardRegressionFit, histories: Histories, starts: tuple[float, ...]) -> float:
    """Greatest likelihood that climbs which are never left come to."""
    law, frailty = law_named(fit.baseline), frailty_named(fit.frailty)
    assert frailty is not None
    alone = HazardRegression(fit.baseline).fit(histories)
    lives = expose(histories, centred=fit.baseline == "weibull")
    reached = [alone.log_likelihood]
    for variance in starts:
        start = np.append(alone.summit.theta, frailty.tau(variance))
        try:
            reached.append(climbed(law, frailty, lives, start).value)
        except NotConvergedError as stopped:
            assert frailty.variance(stopped.last[-1]) < 1e-5  # noqa: PT017 - on its way to nought
    return max(reached)


@pytest.mark.parametrize("frailty", ["gamma", "lognormal"])
def test_no_climb_is_left_that_comes_to_something(frailty: FrailtyName) -> None:
    edges = []
    for seed in range(8):
        histories = drawn(seed)
        fit = HazardRegression("weibull", frailty).fit(histories)
        best = highest(fit, histories, (0.02, 0.1, 0.4, 1.0))
        assert fit.log_likelihood == pytest.approx(best, abs=1e-8)
        assert fit.edge == (best < fit.without_frailty + 1e-9)
        edges.append(fit.edge)
    assert 0 < sum(edges) < len(edges)


def test_a_maximum_far_from_nought_is_found() -> None:
    fit = HazardRegression("loglogistic", "lognormal").fit(FAR)
    assert not fit.edge
    assert fit.log_likelihood > fit.without_frailty + 0.2
    assert fit.log_likelihood == pytest.approx(highest(fit, FAR, (0.1, 1.0, 5.0)), abs=1e-8)


def test_climbs_to_nought_are_left_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    plain = hazard_likelihood.derivatives

    def counted(law: Law, frailty: Frailty | None, lives: Exposures, theta: FloatArray) -> Point:
        asked.append(frailty)
        return plain(law, frailty, lives, theta)

    monkeypatch.setattr(hazard_likelihood, "derivatives", counted)
    fit = HazardRegression("weibull", "gamma").fit(drawn(0))
    assert fit.edge
    # Followed down to a variance no float tells from nought it took fifty.
    assert sum(frailty is not None for frailty in asked) < 20

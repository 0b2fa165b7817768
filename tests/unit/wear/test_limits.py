import math

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from wearstats.errors import UsageError
from wearstats.wear import RunsToLimit, whichever_first

LINE = RunsToLimit(
    short=3.0, rate=0.2, variance=0.09, covariance=-0.004, rate_variance=0.0025, freedom=7.0
)


def drawn(line: RunsToLimit, count: int = 400_000) -> np.ndarray:
    """First runs at the limit of lines drawn from the joint Student's t; infinite for never."""
    rng = np.random.default_rng(5)
    spread = np.array([[line.variance, line.covariance], [line.covariance, line.rate_variance]])
    normal = rng.multivariate_normal([0.0, 0.0], spread, size=count)
    normal /= np.sqrt(rng.chisquare(line.freedom, size=count) / line.freedom)[:, None]
    short, rate = line.short - normal[:, 0], line.rate + normal[:, 1]
    with np.errstate(divide="ignore"):
        ahead = np.where(rate > 0.0, short / rate, math.inf)
    return np.where(short <= 0.0, 0.0, ahead)


@pytest.mark.parametrize("runs", [0.0, 4.0, 10.0, 15.0, 30.0, 100.0, math.inf])
def test_chances_are_those_of_drawn_lines(runs: float) -> None:
    # Four standard errors of 400 000 draws at most.
    times = drawn(LINE)
    share = float(np.mean(times <= runs)) if math.isfinite(runs) else float(np.mean(times < runs))
    assert LINE.chance_by(runs)[0] == pytest.approx(share, abs=4.0 * 0.5 / math.sqrt(len(times)))


def test_a_known_start_and_much_freedom_give_the_crossing_of_normal_rates() -> None:
    # Meeker & Escobar 1998, section 13.6 (from memory): with a known start and a normal rate,
    # F(t) = Phi((rate - short / t) / sd of the rate).
    line = RunsToLimit(6.0, 0.5, 1e-12, 0.0, 0.01, 1e6)
    runs = np.array([8.0, 12.0, 20.0])
    assert line.chance_by(runs) == pytest.approx(norm.cdf((0.5 - 6.0 / runs) / 0.1), abs=1e-5)


def test_a_limit_far_away_is_not_reached_by_those_now_short_of_it() -> None:
    # Now past the limit: Student's t of the line now.
    chance = student.cdf(-LINE.short / math.sqrt(LINE.variance), LINE.freedom)
    assert LINE.chance_by(0.0)[0] == pytest.approx(chance, abs=1e-9)


def test_chances_rise_and_quantiles_undo_them() -> None:
    chances = LINE.chance_by(np.arange(0.0, 200.0))
    assert (np.diff(chances) > 0.0).all()
    for chance in (0.05, 0.5, 0.9):
        runs = LINE.runs_at(chance)
        assert runs is not None
        assert LINE.chance_by(runs)[0] == pytest.approx(chance, abs=1e-9)


def test_what_may_never_come_has_no_runs() -> None:
    ever = float(LINE.chance_by(math.inf)[0])
    assert ever < 1.0
    assert LINE.runs_at(0.5 * (1.0 + ever)) is None


def test_whichever_comes_first_adds_up() -> None:
    runs = np.arange(0.0, 60.0)
    lasting = np.exp(-((runs / 12.0) ** 2.0))
    table = whichever_first(LINE, runs, lasting)
    both = (table["limit_first"] + table["burned_first"]).to_numpy()
    assert both == pytest.approx(table["either"].to_numpy())
    assert (table["either"] >= table[["limit", "burned"]].max(axis=1) - 1e-12).all()
    # Drawn: the least of the two, and which it was.
    times = drawn(LINE, 200_000)
    burned = 12.0 * np.random.default_rng(6).weibull(2.0, size=len(times))
    row = table.iloc[15]
    assert row["either"] == pytest.approx(np.mean(np.minimum(times, burned) <= 15.0), abs=0.005)
    first = np.mean((times < burned) & (times <= 15.0))
    assert row["limit_first"] == pytest.approx(first, abs=0.005)


def test_strips_that_cannot_burn_leave_the_limit() -> None:
    runs = np.arange(0.0, 30.0)
    table = whichever_first(LINE, runs, np.ones(30))
    assert table["either"].to_numpy() == pytest.approx(LINE.chance_by(runs))
    assert (table["burned_first"] == 0.0).all()


def test_a_certainty_over_one_by_rounding_is_a_certainty() -> None:
    # Weights that sum to 1 but for the last bit make a chance of 1 + 2e-16.
    one = np.nextafter(1.0, 2.0)
    assert whichever_first(LINE, [0.0, 1.0], [one, 0.9]).equals(
        whichever_first(LINE, [0.0, 1.0], [1.0, 0.9])
    )


@pytest.mark.parametrize(
    ("runs", "lasting", "said"),
    [
        ([0.0, 0.0], [1.0, 1.0], "must rise"),
        ([0.0, 1.0], [1.0, 1.2], "between 0 and 1"),
        ([0.0, 1.0], [0.5, 0.9], "does not rise"),
        ([0.0, 1.0], [1.0], "each with its chance"),
    ],
)
def test_what_is_no_chance_of_lasting_is_refused(
    runs: list[float], lasting: list[float], said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        whichever_first(LINE, runs, lasting)


@pytest.mark.parametrize("chance", [0.0, 1.0, math.nan])
def test_a_chance_is_a_share(chance: float) -> None:
    with pytest.raises(UsageError, match="between 0 and 1"):
        LINE.runs_at(chance)


def test_runs_ahead_are_not_behind() -> None:
    with pytest.raises(UsageError, match="0 or more"):
        LINE.chance_by(-1.0)

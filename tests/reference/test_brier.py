"""Brier scores of censored outcomes against published ones.

686 patients of the GBSG-2 trial (Schumacher et al. 1994, Journal of Clinical Oncology
12:2086-2093). Scores at 1825 days and integrated over 365 to 1825 days: documentation of
scikit-survival. The other days: recomputed with scikit-survival 0.28.0.

Forecasts: Cox with Efron's ties, survival exp(-Breslow's cumulative hazard). Censoring weights:
product-limit curve of the censoring times, in which a patient with an event leaves before those
censored that day, read at the day itself.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import ObservationError
from wearstats.life.checks import cox
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations
from wearstats.lookback import brier, inverse_chance_weights

DATA = Path(__file__).parent / "data"
COEFFICIENTS = {
    "age": -0.00939236,
    "estrec": 0.000167428,
    "horTh_yes": -0.33720291,
    "menostat_Post": 0.26727716,
    "pnodes": 0.04989391,
    "progrec": -0.00223781,
    "tgrade": 0.28028941,
    "tsize": 0.00771644,
}
AT_DAY = {
    365: 0.0743813282,
    730: 0.1679912290,
    1095: 0.1954058777,
    1460: 0.2072823677,
    1825: 0.20881842877,
}
PRINTED_AT_1825 = 0.20881843
PRINTED_INTEGRATED = 0.1815853064627424


class Trial:
    """The patients, and what Cox's regression says of each."""

    def __init__(self) -> None:
        rows = pd.read_csv(DATA / "v21_brier_686.csv")
        names = tuple(COEFFICIENTS)
        self.time: FloatArray = rows["time"].to_numpy(dtype=float)
        self.failed: BoolArray = rows["event"].to_numpy(dtype=bool)
        covariates = rows[list(names)].to_numpy(dtype=float)
        labels = tuple(f"patient {place}" for place in range(len(rows)))
        none = np.zeros(len(rows))
        ends = np.where(self.failed, self.time, np.inf)
        seen = Observations(none, self.time, ends, none + 1.0, labels)
        spread = Histories(seen, labels, names, np.arange(len(rows)), none, self.time, covariates)
        self.log_ratios = np.array(cox(spread, robust=False).log_ratios)
        ratio = np.exp(covariates @ self.log_ratios)
        days = np.unique(self.time[self.failed])
        steps = [
            (self.time[self.failed] == day).sum() / ratio[self.time >= day].sum() for day in days
        ]
        self.days, self.hazard, self.ratio = days, np.cumsum(steps), ratio

    def chance_failed(self, day: float) -> FloatArray:
        place = int(np.searchsorted(self.days, day, side="right"))
        passed = self.hazard[place - 1] if place else 0.0
        return np.asarray(1.0 - np.exp(-passed * self.ratio))

    def score(self, day: float) -> float:
        at = np.full(self.time.size, day)
        happened, beyond = inverse_chance_weights(self.time, self.failed, at)
        return float(brier(self.chance_failed(day), happened, beyond).mean())


@pytest.fixture(scope="module")
def trial() -> Trial:
    return Trial()


def test_forecasts_are_the_published_regression(trial: Trial) -> None:
    assert trial.log_ratios == pytest.approx(list(COEFFICIENTS.values()), abs=1e-8)


@pytest.mark.parametrize(("day", "score"), AT_DAY.items())
def test_score_at_a_day(trial: Trial, day: int, score: float) -> None:
    assert trial.score(day) == pytest.approx(score, abs=2e-10)


def test_printed_scores(trial: Trial) -> None:
    assert trial.score(1825) == pytest.approx(PRINTED_AT_1825, abs=5e-9)
    days = np.arange(365, 1826)
    scores = np.array([trial.score(float(day)) for day in days])
    # Trapezoid over the days, divided by their span.
    integrated = ((scores[1:] + scores[:-1]) / 2).sum() / (days[-1] - days[0])
    assert integrated == pytest.approx(PRINTED_INTEGRATED, abs=5e-10)


def test_other_conventions_give_other_scores(trial: Trial) -> None:
    # Censorings leaving before events of the same day: 0.20875683 (recomputed likewise).
    gone = np.where(trial.failed, np.nextafter(trial.time, np.inf), trial.time)
    at = np.full(gone.size, np.nextafter(1825.0, np.inf))
    happened, beyond = inverse_chance_weights(gone, trial.failed, at)
    score = float(brier(trial.chance_failed(1825), happened, beyond).mean())
    assert score == pytest.approx(0.20875683, abs=5e-9)


def test_without_censoring_it_is_the_plain_score() -> None:
    time = np.array([1.0, 2.0, 3.0, 4.0])
    happened, beyond = inverse_chance_weights(time, np.ones(4, dtype=bool), np.full(4, 2.5))
    assert happened.tolist() == [1, 1, 0, 0]
    assert beyond.tolist() == [0, 0, 1, 1]


def test_nobody_watched_long_enough_is_said() -> None:
    # Both were there until 2: one failed, and then all that was left was lost.
    time, failed = np.array([2.0, 2.0]), np.array([True, False])
    with pytest.raises(ObservationError, match="watched long enough"):
        inverse_chance_weights(time, failed, np.array([3.0, 3.0]))

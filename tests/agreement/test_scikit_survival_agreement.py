"""scikit-survival as a second opinion on random lives, wherever it can hold the case."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sksurv.linear_model import CoxPHSurvivalAnalysis
from sksurv.nonparametric import cumulative_incidence_competing_risks, kaplan_meier_estimator
from sksurv.util import Surv

from wearstats.life import cox, cumulative_incidence, kaplan_meier
from wearstats.lives import Histories, Observations, StripLives

FEW = settings(derandomize=True, deadline=None, max_examples=15)
seeds = st.integers(0, 10_000)


def lives(seed: int, *, late: bool = False) -> Observations:
    """Sixty lives with ties, some unfinished, some entered late."""
    rng = np.random.default_rng(seed)
    age = np.ceil(12 * rng.weibull(rng.uniform(0.8, 3), 60)) + 1
    end = rng.integers(3, 20, 60).astype(float)
    leave = np.minimum(age, end)
    entry = np.where(rng.random(60) < 0.3, rng.integers(0, leave), 0.0) if late else np.zeros(60)
    upper = np.where(age <= end, leave, np.inf)
    return Observations(entry, leave, upper, np.ones(60), tuple(f"L{n}" for n in range(60)))


@FEW
@given(seeds)
def test_product_limit(seed: int) -> None:
    known = lives(seed, late=True)
    curve = kaplan_meier(known, given_age=0.0)
    times, survival = kaplan_meier_estimator(known.failed, known.lower, time_enter=known.entry)
    frame = curve.frame[curve.frame["defined"]]
    theirs = dict(zip(times.tolist(), survival.tolist(), strict=True))
    for age, value in zip(frame["runs"], frame["survival"], strict=True):
        assert value == pytest.approx(theirs[age], abs=1e-12)


@FEW
@given(seeds)
def test_shares_failed_in_each_way(seed: int) -> None:
    known = lives(seed)
    rng = np.random.default_rng(seed)
    ways = np.where(known.failed, rng.integers(1, 3, 60), 0)
    frame = pd.DataFrame(
        {
            "unit": known.labels,
            "build": 1,
            "entry": known.entry,
            "lower": known.lower,
            "upper": known.upper,
            "mode": [("", "a", "b")[way] for way in ways],
            "weight": 1.0,
            "left_out": False,
        }
    )
    ours = cumulative_incidence(StripLives(frame, pd.DataFrame()))
    times, theirs = cumulative_incidence_competing_risks(ways, known.lower)
    for place, way in ((1, "a"), (2, "b")):
        for age, value in zip(times, theirs[place], strict=True):
            assert ours.at(way, float(age)).estimate == pytest.approx(value, abs=1e-12)


@FEW
@given(seeds)
def test_cox(seed: int) -> None:
    known = lives(seed)
    covariates = np.random.default_rng(seed + 1).normal(size=(60, 2))
    histories = Histories(
        known, known.labels, ("x", "y"), np.arange(60), np.zeros(60), known.lower, covariates
    )
    theirs = CoxPHSurvivalAnalysis(alpha=0, ties="efron", n_iter=200, tol=1e-12)
    theirs.fit(covariates, Surv.from_arrays(known.failed, known.lower))
    assert list(cox(histories).log_ratios) == pytest.approx(theirs.coef_.tolist(), abs=1e-6)

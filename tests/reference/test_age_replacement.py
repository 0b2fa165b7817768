"""Restrip intervals against age replacement worked out to 40 digits.

Source of every expected number: data/v19_*.csv and data/v20_*.csv (method: Barlow & Proschan
1965, Mathematical Theory of Reliability, chapter 4; values computed, see the files' heads).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wearstats.arrays import FloatArray
from wearstats.plans import KnownSurvival, RestripPlan
from wearstats.records.costs import Costs

DATA = Path(__file__).parent / "data"
CONTINUOUS = pd.read_csv(DATA / "v19_age_replacement_continuous.csv", comment="#")
WHOLE_RUNS = pd.read_csv(DATA / "v20_age_replacement_integer.csv", comment="#")


def weibull(shape: float, scale: float) -> KnownSurvival:
    def survival(ages: FloatArray) -> FloatArray:
        return np.exp(-((ages / scale) ** shape))

    return KnownSurvival(survival)


@pytest.mark.parametrize("row", WHOLE_RUNS.to_dict("records"), ids=str)
def test_whole_runs_agree_to_all_printed_digits(row: dict[str, float]) -> None:
    plan = RestripPlan(Costs(planned=1.0, burn_through=row["cost_ratio"] - 1))
    found = plan.best(weibull(row["shape"], row["scale_runs"]))
    assert found.best == row["N_opt"]
    assert found.cost_per_run is not None
    assert found.run_to_failure is not None
    # The file gives 12 digits.
    assert found.cost_per_run.estimate == pytest.approx(row["cost_per_run"], rel=6e-12)
    assert found.run_to_failure.estimate == pytest.approx(
        row["cost_per_run_run_to_failure"], rel=6e-12
    )
    assert found.runs.low == found.runs.high == row["N_opt"]


@pytest.mark.parametrize("row", CONTINUOUS.to_dict("records"), ids=str)
def test_many_short_runs_approach_the_continuous_optimum(row: dict[str, float]) -> None:
    scale = 20_000.0
    plan = RestripPlan(Costs(planned=1.0, burn_through=row["cost_ratio"] - 1))
    found = plan.best(weibull(row["shape"], scale))
    assert found.best is not None
    assert found.cost_per_run is not None
    assert found.run_to_failure is not None
    # Counting the failing run in full adds about half a run of 20,000 to every cycle that fails:
    # the age moves by a few runs (most on the flat curve of shape 1.5, ratio 2) and the cost by
    # at most half a run over the mean cycle (never under 0.2 scales here). The run-to-failure
    # sum is taken in 2 % steps of age out here, worth another 1e-4.
    assert found.best / scale == pytest.approx(row["T_over_scale"], abs=3 / scale)
    assert found.cost_per_run.estimate is not None
    assert found.cost_per_run.estimate * scale == pytest.approx(
        row["cost_rate"], rel=0.5 / (0.2 * scale)
    )
    assert found.run_to_failure.estimate is not None
    assert found.run_to_failure.estimate * scale == pytest.approx(
        row["cost_rate_run_to_failure"], rel=1.5e-4
    )


def test_flat_optimum_saves_little_and_says_so() -> None:
    # v19, shape 1.5, ratio 2: 2.21199979756 against 2.21546433486, 0.16 % saved.
    found = RestripPlan(Costs(planned=1.0, burn_through=1.0)).best(weibull(1.5, 25.0))
    assert found.best == 57  # v20
    assert found.near_best[-1][1] is None
    assert any("Run to failure costs hardly more" in remark for remark in found.remarks)

"""The hazard period by period against published rows and another library's fit of them."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wearstats.life.checks import complementary_log_log
from wearstats.life.checks.periods import person_periods
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations

DATA = Path(__file__).parent / "data"
FIVES = np.arange(0.0, 40.0, 5.0)


def remissions() -> Histories:
    """The 42 remissions, cut into periods of five weeks as ceil(time / 5)."""
    rows = pd.read_csv(DATA / "v14_remission_21_pairs.csv")
    end = 5 * np.ceil(rows["time"].to_numpy(dtype=float) / 5)
    event = rows["event"].to_numpy() == 1
    labels = tuple(f"life {place}" for place in range(end.size))
    seen = Observations(
        0 * end, end - 5 * event, np.where(event, end, np.inf), np.ones(end.size), labels
    )
    treated = rows[["treated"]].to_numpy(dtype=float)
    return Histories(seen, labels, ("treated",), np.arange(end.size), 0 * end, end, treated)


def test_rows_are_the_published_table() -> None:
    # Freireich et al. 1963, counted by period and arm.
    table = pd.read_csv(DATA / "v14b_remission_grouped_5weeks.csv")
    rows = person_periods(remissions(), FIVES)
    counted = (
        pd.DataFrame({"period": rows.end / 5, "treated": rows.covariates[:, 0], "e": rows.fails})
        .groupby(["period", "treated"])["e"]
        .agg(["size", "sum"])
    )
    expected = table[table["at_risk"] > 0].set_index(["period", "treated"])
    assert counted["size"].to_dict() == expected["at_risk"].to_dict()
    assert counted["sum"].to_dict() == expected["events"].to_dict()


def test_remissions_by_periods_of_five_weeks() -> None:
    # Model of Prentice & Gloeckler 1978, Biometrics 34:57-67; no published figure.
    # Recomputed with R's glm (binomial, cloglog), one free intercept for each of periods 1 to 5.
    fit = complementary_log_log(remissions(), edges=FIVES)
    assert fit.log_ratios == pytest.approx([-1.7473441], abs=5e-8)
    assert np.sqrt(fit.covariance[0][0]) == pytest.approx(0.4270480, abs=5e-8)
    assert list(fit.intercepts) == ["5", "10", "15", "20", "25"]
    assert list(fit.intercepts.values()) == pytest.approx(
        [-0.7894442, -0.3666013, -0.2014393, -0.7630430, 0.8751441], abs=1e-7
    )
    assert fit.log_likelihood == pytest.approx(-56.1051092, abs=5e-8)
    assert fit.notes == ("2 of 7 periods say nothing: none failed in them, or all",)

"""What if: against the regression it reads, and refused where the records cannot tell."""

import functools
import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import FitError, NotIdentifiedError, UsageError
from wearstats.life import LifePosterior, posterior
from wearstats.life.regression_posterior import regression_posterior
from wearstats.lives import StripLives, lives_of
from wearstats.lives.covariates import histories_with
from wearstats.plans import RestripPlan, WhatIf, what_if
from wearstats.records.costs import Costs
from wearstats.records.season import Season

PLAN = RestripPlan(Costs(planned=300.0, burn_through=1500.0, currency="USD"))


@functools.cache
def shop() -> tuple[StripLives, LifePosterior]:
    """Eight units, strips of shape 3; hazard times exp(0.15) per percent of overdrive."""
    rng = np.random.default_rng(11)
    days = pd.date_range("2026-04-01", periods=200, freq="D")
    rows: list[dict[str, Any]] = []
    for unit in range(8):
        day = 0
        for _ in range(4):
            over = float(rng.choice([30, 35, 40]))
            scale = 9.0 * np.exp(-0.15 * (over - 35) / 3)
            life = scale * rng.weibull(3.0)
            for run in range(1, 13):
                burned = run >= life
                row = {"date": days[day], "unit": f"K{unit}", "run": 1, "overdrive_pct": over}
                row |= {"runs_since_restrip": float(run), "engine_speed_rpm": 8000.0}
                rows.append(row | {"strips": "burned" if burned else "sound"})
                day += 1
                if burned:
                    break
    lives = lives_of(Season.from_frames(runs=pd.DataFrame(rows)))
    return lives, posterior(lives.observations())


def asked(**changes: float | str) -> WhatIf:
    lives, life = shop()
    return what_if(lives, life, changes, plan=PLAN, runs_ahead=4)


def test_more_overdrive_shortens_life_as_the_regression_says() -> None:
    found = asked(overdrive=40.0)
    fit = regression_posterior(histories_with(shop()[0], ["overdrive"]).histories)
    at = {"overdrive_pct": 40.0}
    assert found.then.life.estimate == pytest.approx(fit.life_at(0.5, at).estimate, rel=0.01)
    assert found.now.life.estimate == pytest.approx(fit.life_at(0.5).estimate, rel=0.01)
    lasting = fit.survival(4, at)
    assert found.then.lasting.estimate == pytest.approx(lasting.estimate, abs=0.01)
    # The truth is exp(-0.15 * (40 - mean) / 3) against life at the mean.
    mean = fit.exposures.mean[0]
    truth = np.exp(-0.15 * (40 - mean) / 3)
    assert found.life_ratio.low is not None
    assert found.life_ratio.high is not None
    assert found.life_ratio.low < truth < found.life_ratio.high
    assert found.then.interval.best is not None
    assert found.now.interval.best is not None
    assert found.then.interval.best <= found.now.interval.best
    assert not found.extrapolated


def test_beyond_the_records_it_says_extrapolation() -> None:
    found = asked(overdrive=60.0)
    assert found.extrapolated
    assert "outside what is on record, 30 to 40" in found.remarks[0]


def test_between_the_records_it_says_guess() -> None:
    found = asked(overdrive=32.5)
    assert found.extrapolated
    assert "Hardly a run on record is near" in found.remarks[0]


def test_a_drive_ratio_is_read_as_percent_and_said() -> None:
    found = asked(overdrive=1.35)
    assert found.asked == {"overdrive_pct": 35.0}
    assert found.remarks[0] == "Overdrive 1.35 is taken as the drive ratio: 35 % over."


def test_half_the_load_doubles_the_runs() -> None:
    found = asked(load=0.5)
    assert found.life_ratio.estimate == pytest.approx(2.0)
    assert found.now.life.estimate is not None
    assert found.then.life.estimate == pytest.approx(2 * found.now.life.estimate)
    survival, weights = shop()[1].survival_matrix(np.array([2.0]))
    assert found.then.lasting.estimate == pytest.approx(float(weights @ survival[:, 0]))


def test_what_never_changed_cannot_be_told() -> None:
    with pytest.raises(NotIdentifiedError):
        asked(engine_speed=8200.0)


def test_too_few_burn_throughs_cannot_tell() -> None:
    lives, life = shop()
    few = StripLives(lives.frame.head(2), lives.runs, ())
    with pytest.raises(FitError):
        what_if(few, life, {"overdrive": 40.0}, plan=PLAN, runs_ahead=4)


@pytest.mark.parametrize(
    "changes",
    [{}, {"overdrive": "fast"}, {"moon": 3.0}, {"load": 0.0}, {"load": 0.5, "overdrive": 40.0}],
)
def test_nonsense_is_refused(changes: dict[str, float | str]) -> None:
    with pytest.raises(UsageError):
        asked(**changes)


def test_json_is_plain() -> None:
    data = json.loads(json.dumps(asked(overdrive=40.0).as_dict(), allow_nan=False))
    assert data["asked"] == {"overdrive_pct": 40.0}
    assert set(data["then"]) == {"life", "lasting", "best_runs", "near_best", "cost_per_run"}

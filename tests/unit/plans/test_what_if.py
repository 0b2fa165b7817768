"""What if: against the regression it reads, and refused where the records cannot tell."""

import functools
import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wearstats.arrays import FloatArray
from wearstats.errors import FitError, NotIdentifiedError, ObservationError, UsageError
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior, posterior
from wearstats.life.regression_posterior import regression_posterior
from wearstats.lives import StripLives, lives_of
from wearstats.lives.covariates import histories_with
from wearstats.plans import RestripPlan, WhatIf, what_if
from wearstats.plans.what_if import LossPerRun
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
    return costed(None, PLAN, **changes)


def costed(loss: LossPerRun | None, plan: RestripPlan, **changes: float | str) -> WhatIf:
    lives, life = shop()
    return what_if(lives, life, changes, plan=plan, runs_ahead=4, loss_per_run=loss)


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


@pytest.mark.parametrize(("asked_for", "percent"), [(1.015, 1.5), (0.9, -10.0), (1.0, 0.0)])
def test_lost_boost_is_worked_out_at_the_percent_that_was_said(
    asked_for: float, percent: float
) -> None:
    got: list[float | None] = []

    def loss(overdrive: float | None) -> FloatArray:
        got.append(overdrive)
        return np.full(5, 0.1)

    found = costed(loss, PRICED, overdrive=asked_for)
    assert found.asked == {"overdrive_pct": percent}
    assert got == [percent, None]


def test_half_the_load_doubles_the_runs() -> None:
    found = asked(load=0.5)
    assert found.life_ratio.estimate == pytest.approx(2.0)
    assert found.now.life.estimate is not None
    assert found.then.life.estimate == pytest.approx(2 * found.now.life.estimate)
    survival, weights = shop()[1].survival_matrix(np.array([2.0]))
    assert found.then.lasting.estimate == pytest.approx(float(weights @ survival[:, 0]))


def leaking(overdrive: float | None) -> FloatArray:
    """Psi lost with each run: a twentieth, and a percent more for each point over 35."""
    if overdrive == 150.0:
        message = "no boost"
        raise ObservationError(message)
    at = 35.0 if overdrive is None else overdrive
    return 0.05 * (1.0 + (at - 35.0) / 100.0) * np.linspace(0.9, 1.1, 101)


PRICED = RestripPlan(
    Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=400.0, currency="USD")
)


def ends(estimate: Estimate | None) -> list[float | None]:
    assert estimate is not None
    return [estimate.estimate, estimate.low, estimate.high]


def test_lost_boost_is_that_of_the_overdrive_asked_for() -> None:
    found = costed(leaking, PRICED, overdrive=1.4)
    assert ends(found.now.lost) == pytest.approx([0.2, 0.182, 0.218])
    assert ends(found.then.lost) == pytest.approx([0.21, 0.1911, 0.2289])
    assert any("strips are taken to wear there as they do now" in said for said in found.remarks)
    # The price of lost boost is in the plan: without it a run costs less, at both.
    free = costed(None, PRICED, overdrive=1.4)
    assert free.now.lost is None
    for with_loss, without in ((found.now, free.now), (found.then, free.then)):
        assert with_loss.interval.cost_per_run is not None
        assert without.interval.cost_per_run is not None
        dear, cheap = with_loss.interval.cost_per_run, without.interval.cost_per_run
        assert (dear.estimate or 0.0) > (cheap.estimate or 0.0)


def test_lost_boost_at_part_load_grows_with_the_runs_that_count() -> None:
    found = costed(leaking, PRICED, load=0.5)
    assert ends(found.now.lost) == pytest.approx([0.2, 0.182, 0.218])
    assert ends(found.then.lost) == pytest.approx([0.1, 0.091, 0.109])
    # Half the psi at the k-th run, half a run lost of it: a quarter of the price a run.
    quarter = Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=100.0, currency="USD")
    life = posterior(shop()[0].observations())

    class Half:
        def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
            return life.survival_matrix(ages / 2)

    plan = RestripPlan(quarter).best(Half(), lambda runs: 0.05 * runs)
    assert ends(found.then.interval.cost_per_run) == pytest.approx(ends(plan.cost_per_run))


def test_lost_boost_that_cannot_be_worked_out_is_said_so() -> None:
    found = costed(leaking, PRICED, overdrive=150.0)
    assert found.now.lost is not None
    assert found.then.lost is None
    assert any("cannot be told, and is in no cost there" in said for said in found.remarks)
    free = costed(None, PRICED, overdrive=150.0)
    assert found.then.interval.cost_per_run == free.then.interval.cost_per_run


@pytest.mark.parametrize("overdrive", [-51.0, 151.0])
def test_a_setting_no_sheet_takes_is_refused(overdrive: float) -> None:
    with pytest.raises(UsageError, match="within -50 to 150, as in the records"):
        asked(overdrive=overdrive)


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
    names = {"life", "lasting", "lost_psi", "best_runs", "near_best", "cost_per_run"}
    assert set(data["then"]) == names
    assert data["then"]["lost_psi"] is None

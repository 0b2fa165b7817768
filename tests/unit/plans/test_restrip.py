import json
import math
from dataclasses import dataclass

import numpy as np
import pytest

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError, UsageError
from wearstats.plans import KnownSurvival, RestripPlan
from wearstats.plans.renewal import CycleCosts
from wearstats.records.costs import Costs

PRICES = Costs(planned=300.0, burn_through=1500.0, currency="USD")


def weibull(shape: float, scale: float) -> KnownSurvival:
    def survival(ages: FloatArray) -> FloatArray:
        return np.exp(-((ages / scale) ** shape))

    return KnownSurvival(survival)


@dataclass(frozen=True)
class TwoCurves:
    """Two Weibull curves of shape 3, one three times as likely as the other."""

    scales: tuple[float, float] = (8.0, 20.0)

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        curves = np.exp(-((ages[None, :] / np.array(self.scales)[:, None]) ** 3))
        return curves, np.array([3.0, 1.0])


@dataclass(frozen=True)
class Broken:
    """Draws that are wrong in a chosen way."""

    curve: tuple[float, float]
    weight: float = 1.0
    shape: tuple[int, int] | None = None

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        rows, columns = self.shape or (1, ages.size)
        ramp = np.linspace(self.curve[0], self.curve[1], columns)
        return np.tile(ramp, (rows, 1)), np.full(rows, self.weight)


def test_lost_boost_brings_the_restrip_forward() -> None:
    life = weibull(3.0, 15.0)
    without = RestripPlan(PRICES).best(life)
    with_loss = RestripPlan(Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=40.0)).best(
        life, lambda runs: 0.5 * runs
    )
    assert without.best is not None
    assert with_loss.best is not None
    assert with_loss.best < without.best


def test_lost_boost_gives_strips_that_never_fail_a_restrip_of_their_own() -> None:
    # Never failing, loss of k psi in run k at price c: cost(T) = p/T + c (T + 1) / 2, least at
    # the whole number nearest below or above sqrt(2 p / c) (differentiate); p = 300, c = 6: 10.
    life = KnownSurvival(np.ones_like)
    found = RestripPlan(Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=6.0)).best(
        life, lambda runs: runs
    )
    assert found.best == 10
    assert found.cost_per_run is not None
    assert found.cost_per_run.estimate == pytest.approx(300 / 10 + 6 * 11 / 2)


def test_uncounted_lost_boost_is_said() -> None:
    found = RestripPlan(Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=6.0)).best(
        weibull(3.0, 15.0)
    )
    assert any("Lost boost is not counted" in remark for remark in found.remarks)


def test_loss_that_is_no_number_is_refused() -> None:
    plan = RestripPlan(Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=6.0))
    with pytest.raises(PlanError, match="finite number of psi"):
        plan.best(weibull(3.0, 15.0), lambda runs: runs * np.nan)


def test_interval_of_the_best_runs_spans_the_draws() -> None:
    each = [RestripPlan(PRICES).best(weibull(3.0, scale)).best for scale in (8.0, 20.0)]
    found = RestripPlan(PRICES).best(TwoCurves())
    assert (found.runs.low, found.runs.high) == tuple(each)
    assert found.best is not None
    assert each[0] is not None
    assert each[1] is not None
    assert each[0] <= found.best <= each[1]


def test_draws_that_never_need_a_restrip_leave_the_interval_open() -> None:
    life = KnownSurvival(lambda ages: np.exp(-ages / 7.0))
    found = RestripPlan(PRICES).best(life)
    assert found.best is None
    assert found.runs.low is None
    assert found.runs.high is None
    assert found.near_best[-1][1] is None
    assert found.latest is None


def test_service_limit_holds_and_names_what_the_records_would_say() -> None:
    found = RestripPlan(PRICES, service_limit_runs=12.5).best(
        KnownSurvival(lambda ages: np.exp(-ages / 7.0))
    )
    assert found.best == 12
    assert found.capped
    assert found.remarks[1] == (
        "The service limit of 12.5 runs caps this plan; the records alone would say no planned "
        "restrip at all."
    )


def test_answer_beyond_the_oldest_strips_is_said() -> None:
    found = RestripPlan(PRICES).best(weibull(3.0, 15.0), longest_seen=4)
    assert found.remarks[-1] == (
        "This lies beyond the oldest strips in the records (four runs): it rests on the fitted "
        "curve alone."
    )


def test_without_costs_the_bound_decides() -> None:
    # exp(-(T / 10)^2) >= 0.9 up to T = 10 sqrt(-ln 0.9) = 3.2 runs.
    found = RestripPlan(None, bound=0.9).best(weibull(2.0, 10.0))
    assert 10 * math.sqrt(-math.log(0.9)) == pytest.approx(3.2459, abs=1e-4)
    assert found.best == 3
    assert found.basis == "bound"
    assert found.cost_per_run is None
    assert found.remarks[0] == (
        "The chance of burn-through stays at or under 10 % up to three runs and passes it with "
        "the next."
    )


def test_bound_not_kept_by_the_first_run_is_said() -> None:
    found = RestripPlan(None, bound=0.9).best(weibull(1.0, 2.0))
    assert found.best == 0
    assert found.remarks[0].startswith("Not even the first run")


def test_bound_never_reached_has_no_number_of_runs() -> None:
    found = RestripPlan(None, bound=0.9).best(KnownSurvival(np.ones_like))
    assert found.best is None
    assert "however long" in found.remarks[0]


@pytest.mark.parametrize("costs", [None, PRICES])
def test_json_is_plain(costs: Costs | None) -> None:
    found = RestripPlan(costs).best(TwoCurves())
    data = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert data["best_runs"]["estimate"] == found.best
    assert len(data["curve"]) == len(found.curve)


def test_a_curve_over_very_many_runs_is_thinned_and_keeps_the_best() -> None:
    found = RestripPlan(PRICES).best(weibull(3.0, 5000.0))
    assert found.best is not None
    assert len(found.curve) <= 302
    assert found.curve["runs"].max() > found.best


@pytest.mark.parametrize(
    ("draws", "said"),
    [
        (Broken((0.0, 1.0)), "must not rise"),
        (Broken((1.5, 0.0)), "within 0 to 1"),
        (Broken((math.nan, math.nan)), "within 0 to 1"),
        (Broken((1.0, 0.0), weight=0.0), "weights"),
        (Broken((1.0, 0.0), weight=-1.0), "weights"),
        (Broken((1.0, 0.0), weight=math.nan), "weights"),
        (Broken((1.0, 0.0), shape=(2, 3)), "does not fit"),
        (Broken((1.0, 0.0), shape=(0, 1)), "does not fit"),
    ],
)
def test_what_is_no_survival_curve_is_refused(draws: Broken, said: str) -> None:
    with pytest.raises(PlanError, match=said):
        RestripPlan(PRICES).best(draws)


@pytest.mark.parametrize(
    ("costs", "said"),
    [((-1.0, 5.0), "planned"), ((1.0, math.inf), "failed"), ((1.0, math.nan), "failed")],
)
def test_what_is_no_cost_is_refused(costs: tuple[float, float], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        CycleCosts(*costs)


@pytest.mark.parametrize(
    "settings",
    [
        {"bound": 0.0},
        {"bound": 1.0},
        {"tolerance": math.nan},
        {"service_limit_runs": 0.5},
        {"service_limit_runs": math.nan},
    ],
)
def test_settings_that_make_no_plan_are_refused(settings: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        RestripPlan(None, **settings)

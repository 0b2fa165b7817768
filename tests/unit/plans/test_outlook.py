import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError, UsageError
from wearstats.estimates import Estimate
from wearstats.life import posterior
from wearstats.lives import LeftOut, StripLives, lives_of
from wearstats.plans import (
    CAUTIONS,
    Advice,
    FleetOutlook,
    KnownSurvival,
    RestripPlan,
    StripsNow,
    SurvivalDraws,
    UnitOutlook,
    chances,
    outlook,
    strips_now,
)
from wearstats.plans.restrip import LossByAge
from wearstats.records.costs import Costs
from wearstats.records.season import Season

PRICES = Costs(planned=300.0, burn_through=1500.0, currency="USD")
WEAR_OUT = KnownSurvival(lambda ages: np.exp(-((ages / 12.0) ** 3)))


def build_of(unit: str, **changes: Any) -> dict[str, Any]:
    age = changes.get("age", 4.0)
    row = {
        "unit": unit,
        "build": 1,
        "entry": 0.0,
        "lower": age,
        "upper": np.inf,
        "mode": "",
        "ending": "in use",
        "age": age,
        "last_look": age,
        "open": True,
        "left_out": False,
        "weight": 1.0,
    }
    return row | changes


def fleet(
    *builds: dict[str, Any],
    states: tuple[tuple[str, int, str | None], ...] = (),
    limits: dict[str, float] | None = None,
    retired: dict[str, str] | None = None,
    left_out: tuple[LeftOut, ...] = (),
    survival: SurvivalDraws = WEAR_OUT,
    **settings: Any,
) -> FleetOutlook:
    names = list(dict.fromkeys([*(each["unit"] for each in builds), *(retired or {})]))
    units = pd.DataFrame(
        {
            "unit": names,
            "service_limit_runs": [(limits or {}).get(name, np.nan) for name in names],
            "retired": [pd.Timestamp((retired or {}).get(name, "NaT")) for name in names],
        }
    )
    runs = pd.DataFrame(states, columns=["unit", "build", "strips"])
    runs["age_after"] = 1.0 + runs.groupby(["unit", "build"]).cumcount()
    lives = StripLives(pd.DataFrame(list(builds)), runs, left_out)
    return outlook(
        Season.from_frames(units=units), lives, survival, **({"runs_ahead": 3} | settings)
    )


def only(found: FleetOutlook) -> UnitOutlook:
    (unit,) = found.units
    return unit


def test_young_looked_at_strips_may_run() -> None:
    # S(4 + 3) / S(4) = exp(-(343 - 64) / 1728) = 0.851.
    unit = only(fleet(build_of("K1"), plan=RestripPlan(bound=0.8)))
    assert unit.advice is Advice.RUN
    assert unit.chances is not None
    assert unit.chances.ahead.estimate == pytest.approx(np.exp(-279 / 1728))
    assert unit.reason == (
        "The chance of lasting three more runs is 85 % (85 % to 85 %), at or over the 80 % asked "
        "for."
    )


def test_strips_nobody_looked_at_ask_for_a_look() -> None:
    # As known S(10) / S(3); if found sound S(10) / S(7).
    as_known = np.exp(-(1000 - 27) / 1728)
    if_sound = np.exp(-(1000 - 343) / 1728)
    unit = only(fleet(build_of("K1", age=7.0, last_look=3.0), plan=RestripPlan(bound=0.65)))
    assert unit.advice is Advice.LOOK
    assert unit.runs_since_look == 4.0
    assert unit.reason == (
        f"Nobody has looked for four runs; a look would move the chance of lasting three more "
        f"runs from {100 * as_known:.0f} % to {100 * if_sound:.0f} % or tell you to restrip."
    )


def test_strips_never_looked_at_say_so() -> None:
    unit = only(fleet(build_of("K1", age=7.0, last_look=np.nan), plan=RestripPlan(bound=0.65)))
    assert unit.last_look == 0.0
    assert unit.reason.startswith("Nobody has looked since they were fitted, seven runs ago")


def test_strips_a_unit_joined_with_and_never_looked_at_say_so() -> None:
    joined = build_of("K1", age=7.0, entry=4.0, last_look=np.nan)
    unit = only(fleet(joined, plan=RestripPlan(bound=0.65)))
    assert unit.reason.startswith(
        "Nobody has looked since they came with four runs on them, three runs ago"
    )


def test_even_sound_strips_under_the_bound_are_restripped() -> None:
    unit = only(fleet(build_of("K1", age=11.0)))
    assert unit.advice is Advice.RESTRIP
    assert "even if a look found them sound" in unit.reason.lower()


def test_a_chance_just_under_the_bound_is_not_rounded_up_to_it() -> None:
    survival = KnownSurvival(lambda ages: 0.8996 ** (ages / 3))
    unit = only(fleet(build_of("K1"), survival=survival))
    assert "is 89.96 % (" in unit.reason


def test_strips_that_do_not_age_are_never_restripped_for_a_chance() -> None:
    # New strips have the same 89.96 %: fitting them buys nothing.
    survival = KnownSurvival(lambda ages: 0.8996 ** (ages / 3))
    unit = only(fleet(build_of("K1"), survival=survival))
    assert unit.advice is Advice.LOOK
    assert unit.reason.endswith("look between the runs, or plan fewer.")


def test_old_strips_are_restripped_even_where_new_ones_miss_the_bound() -> None:
    # S(6) / S(0) = 0.882 for new strips, S(13) / S(7) = 0.342 for these.
    unit = only(fleet(build_of("K1", age=7.0), runs_ahead=6))
    assert unit.advice is Advice.RESTRIP
    assert "with new strips 88 %, which is under the 90 % asked for as well" in unit.reason


@pytest.mark.parametrize("burn_through", [300.0, 900.0, 1500.0, 6000.0])
def test_run_by_run_the_advice_turns_where_restripping_costs_least(burn_through: float) -> None:
    # Age replacement (Barlow and Proschan 1965, ch. 4, on whole runs): one run more is worth
    # making exactly as long as the age is under the best number of runs.
    plan = RestripPlan(Costs(planned=300.0, burn_through=burn_through))
    best = plan.best(WEAR_OUT).best
    assert best is not None
    advice = [
        only(fleet(build_of("K1", age=float(age)), plan=plan, runs_ahead=1)).advice
        for age in range(best + 2)
    ]
    assert advice == [Advice.RUN] * best + [Advice.RESTRIP] * 2


def test_several_runs_are_weighed_against_the_best_plan() -> None:
    # Risk of three runs more at age a: 1500 (1 - S(a+3)/S(a)); they are worth the least cost per
    # run, min over T of (300 + 1500 F(T)) / sum_{k<T} S(k), times sum_{k<3} S(a+k)/S(a).
    survival = np.exp(-((np.arange(40) / 12.0) ** 3))
    least = min((300 + 1500 * (1 - survival[t])) / survival[:t].sum() for t in range(1, 30))
    for age in range(12):
        risk = 1500 * (1 - survival[age + 3] / survival[age])
        worth = least * survival[age : age + 3].sum() / survival[age]
        unit = only(fleet(build_of("K1", age=float(age)), plan=RestripPlan(PRICES)))
        assert unit.advice is (Advice.RESTRIP if risk > worth else Advice.RUN), age
        assert unit.gain is not None
        assert unit.gain.estimate == pytest.approx(worth - risk)
        said = "more" if risk > worth else "less"
        # Rounded to two figures, as finely as such a sum is known.
        about = Decimal(f"{abs(worth - risk):.1e}")
        assert f"Three more runs on these strips cost about {about:,.0f} USD {said} than" in (
            unit.reason
        )


def test_lost_boost_counts_where_it_has_a_price() -> None:
    prices = Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=50.0, currency="USD")
    build = build_of("K1", age=4.0)
    settings: dict[str, Any] = {"plan": RestripPlan(prices), "loss_psi_by_age": lambda k: 0.5 * k}
    unit = only(fleet(build, **settings))
    # As above, with 50 * 0.5 k for the k-th run on a set where that run starts on sound strips.
    survival = np.exp(-((np.arange(40) / 12.0) ** 3))
    lost = np.cumsum(25.0 * np.arange(1, 40) * survival[:-1])
    least = min(
        (300 + 1500 * (1 - survival[t]) + lost[t - 1]) / survival[:t].sum() for t in range(1, 30)
    )
    starts = survival[4:7] / survival[4]
    on = 1500 * (1 - survival[7] / survival[4]) + 25.0 * (np.array([5, 6, 7]) @ starts)
    assert unit.gain is not None
    assert unit.gain.estimate == pytest.approx(least * starts.sum() - on)


def test_with_costs_a_look_is_asked_for_where_strips_may_have_failed_already() -> None:
    # S(5) / S(0) = 0.930 is at or over the usual 90 %, S(6) / S(0) = 0.882 is not.
    plan = RestripPlan(Costs(planned=300.0, burn_through=30.0))
    five = only(fleet(build_of("K1", age=5.0, last_look=0.0), plan=plan))
    six = only(fleet(build_of("K1", age=6.0, last_look=0.0), plan=plan))
    assert (five.advice, six.advice) == (Advice.RUN, Advice.LOOK)
    # Found failed with chance 12 %, a look saves the run on them: 0.118 * 30.
    assert six.value_of_look == pytest.approx(30 * (1 - np.exp(-(0.5**3))))
    assert six.reason.startswith("Nobody has looked since they were fitted, six runs ago; a look")
    assert six.reason.endswith(
        "from 66 % to 74 % or tell you to restrip; it is worth up to about 4."
    )


@pytest.mark.parametrize(("look", "advice"), [(3.0, Advice.LOOK), (4.0, Advice.RUN)])
def test_a_look_that_costs_more_than_it_is_worth_is_not_asked_for(
    look: float, advice: Advice
) -> None:
    plan = RestripPlan(Costs(planned=300.0, burn_through=30.0, look=look))
    unit = only(fleet(build_of("K1", age=6.0, last_look=0.0), plan=plan))
    assert unit.value_of_look == pytest.approx(3.525, abs=0.001)
    assert unit.advice is advice


@pytest.mark.parametrize("age", range(12))
def test_the_value_of_a_look_is_what_deciding_after_it_saves(age: int) -> None:
    # Preposterior analysis written out: the best of run on and restrip, with and without the look.
    plan = RestripPlan(PRICES)
    unit = only(fleet(build_of("K1", age=float(age), last_look=age / 2), plan=plan))
    sound = np.exp(-(age**3 - (age / 2) ** 3) / 1728)
    assert unit.gain is not None
    assert unit.gain.estimate is not None
    gain, failed = unit.gain.estimate, -PRICES.burn_through
    with_look = sound * max(gain, 0.0) + (1 - sound) * max(failed, 0.0)
    without = max(sound * gain + (1 - sound) * failed, 0.0)
    assert unit.value_of_look == pytest.approx(max(with_look - without, 0.0), abs=1e-9)


def test_a_unit_that_eats_strips_is_told_by_its_own_draws() -> None:
    def draws_of(name: str) -> KnownSurvival:
        factor = {"K1": 1.0, "K2": 8.0}[name]
        return KnownSurvival(lambda ages: np.exp(-factor * (ages / 12.0) ** 3))

    plan = RestripPlan(PRICES)
    found = fleet(build_of("K1"), build_of("K2"), plan=plan, draws_of=draws_of)
    one, two = found.units
    assert one.interval is not None
    assert two.interval is not None
    assert one.interval.best == plan.best(WEAR_OUT).best
    assert two.interval.best == plan.best(draws_of("K2")).best
    assert two.interval.best is not None
    assert one.interval.best is not None
    assert two.interval.best < one.interval.best
    assert (one.advice, two.advice) == (Advice.RUN, Advice.RESTRIP)
    assert found.as_dict()["units"][1]["restrip_interval"]["best_runs"]["estimate"] == (
        two.interval.best
    )


@pytest.mark.parametrize(
    ("age", "said"),
    [
        (3.0, None),
        (
            4.0,
            (
                "Three more runs after the four runs on these strips would pass the service limit "
                "of six runs."
            ),
        ),
        (6.0, "The service limit of six runs is reached."),
        (7.0, "The service limit of six runs is passed: seven runs are on these strips."),
    ],
)
def test_the_units_own_service_limit_holds(age: float, said: str | None) -> None:
    unit = only(fleet(build_of("K1", age=age), limits={"K1": 6.0}, plan=RestripPlan(bound=0.5)))
    assert unit.service_limit_runs == 6.0
    assert unit.advice is (Advice.RUN if said is None else Advice.RESTRIP)
    assert said is None or unit.reason == said


def test_the_lower_of_two_service_limits_holds() -> None:
    plan = RestripPlan(bound=0.5, service_limit_runs=5)
    found = fleet(build_of("K1"), build_of("K2"), limits={"K1": 9.0}, plan=plan)
    assert [unit.service_limit_runs for unit in found.units] == [5.0, 5.0]
    assert {unit.advice for unit in found.units} == {Advice.RESTRIP}


def test_strips_found_failed_are_restripped() -> None:
    unit = only(fleet(build_of("K1", mode="pulled", lower=2.0, upper=4.0)))
    assert unit.advice is Advice.RESTRIP
    assert unit.reason == "The last look found the strips pulled."
    assert unit.chances is None


def test_strips_found_failed_in_a_build_left_out_are_still_restripped() -> None:
    unit = only(fleet(build_of("K1", left_out=True), states=(("K1", 1, "burned"),)))
    assert unit.advice is Advice.RESTRIP


def test_a_build_left_out_cannot_be_told() -> None:
    left = LeftOut("K1", 1, "counter-disagrees", "5 runs typed, 4 counted.")
    unit = only(fleet(build_of("K1", left_out=True), left_out=(left,)))
    assert unit.advice is Advice.LOOK
    assert unit.reason == (
        "It cannot be told: this build is left out of the fit (5 runs typed, 4 counted)."
    )


def test_unknown_age_and_no_strips_cannot_be_told() -> None:
    unknown = build_of("K1", age=np.nan, lower=0.0)
    ended = build_of("K2", open=False, ending="crash")
    found = fleet(unknown, ended)
    assert [unit.advice for unit in found.units] == [Advice.LOOK, Advice.LOOK]
    assert "runs on these strips are not known" in found.units[0].reason
    assert "no strips in use" in found.units[1].reason


def test_a_fit_that_rules_out_the_records_cannot_tell() -> None:
    ends_at_five = KnownSurvival(lambda ages: (ages < 5).astype(np.float64))
    unit = only(fleet(build_of("K1", age=7.0), survival=ends_at_five))
    assert unit.advice is Advice.LOOK
    assert "disagree" in unit.reason
    limited = only(fleet(build_of("K1", age=7.0), survival=ends_at_five, limits={"K1": 8.0}))
    assert limited.advice is Advice.RESTRIP


def test_hot_strips_are_told_by_what_followed_on_record() -> None:
    # Four builds found hot at run 2 and run on, burned between 2 and 4: 4 in 4 runs.
    burned = {"lower": 2.0, "upper": 4.0, "mode": "burned", "open": False, "ending": "burned"}
    past = [build_of("K1", build=number, **burned) for number in range(1, 5)]
    hot_before = tuple(("K1", number, state) for number in range(1, 5) for state in ("", "hot"))
    hot_now = tuple(("K1", 5, state) for state in ("", "", "", "hot"))
    plan = RestripPlan(PRICES)
    cold = only(fleet(*past, build_of("K1", build=5), states=hot_before, plan=plan, runs_ahead=1))
    unit = only(
        fleet(*past, build_of("K1", build=5), states=hot_before + hot_now, plan=plan, runs_ahead=1)
    )
    assert (cold.advice, unit.advice) == (Advice.RUN, Advice.RESTRIP)
    assert unit.reason.endswith(
        "a look found them hot: of 4 builds run on after that 4 burned through in four runs."
    )
    # Gamma(4.5, 1/(2 h) + 4) with h = (3^3 - 2^3) / 12^3: E exp(-r) = (rate / (rate + 1))^4.5.
    rate = 12**3 / (2 * (3**3 - 2**3)) + 4
    assert unit.chances is not None
    lasting = unit.chances.ahead.estimate
    # One draw of the curve pairs with one draw of the rate: the middle of the law.
    assert lasting is not None
    assert lasting == pytest.approx((rate / (rate + 1)) ** 4.5, abs=0.03)


def test_with_no_hot_strips_run_on_before_hot_means_little() -> None:
    hot = tuple(("K1", 1, state) for state in ("", "", "", "hot"))
    unit = only(fleet(build_of("K1"), states=hot, plan=RestripPlan(bound=0.5)))
    assert unit.reason.endswith(
        "a look found them hot: no strips on record were run on after that."
    )


def test_strips_as_they_stand_follow_from_the_outlook() -> None:
    found = fleet(
        build_of("K1", age=6.0, last_look=4.0),
        build_of("K2", mode="burned", lower=2.0, upper=4.0),
        build_of("K3", age=np.nan, lower=0.0),
    )
    assert strips_now(found) == (
        StripsNow("K1", 6.0, 4.0),
        StripsNow("K2", 4.0, 0.0, failed=True),
    )


def test_retired_and_sold_units_stand_apart() -> None:
    sold = build_of("K3", open=False, ending="sold")
    found = fleet(build_of("K1"), sold, retired={"K2": "2026-05-03"})
    assert [unit.unit for unit in found.units] == ["K1"]
    assert [(unit.unit, unit.why) for unit in found.apart] == [
        ("K2", "retired on 2026-05-03"),
        ("K3", "sold"),
    ]


def test_counts_cautions_frame_and_json() -> None:
    first = build_of("K1", lower=3.0, upper=5.0, mode="burned", open=False, ending="burned")
    found = fleet(first, build_of("K1", build=2), build_of("K2", left_out=True))
    assert (found.lives, found.failures, found.left_out) == (2, 1, 1)
    assert found.cautions == CAUTIONS
    data = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert data["cautions"] == list(CAUTIONS)
    assert set(data["units"][0]["ahead"]) == {"estimate", "low", "high", "level"}
    frame = found.frame
    assert list(frame["unit"]) == ["K1", "K2"]
    assert frame.loc[0, "ahead"] == data["units"][0]["ahead"]["estimate"]
    assert pd.isna(frame.loc[1, "ahead"])


def test_few_failures_are_said_beside_every_number() -> None:
    burned = {"lower": 3.0, "upper": 5.0, "mode": "burned", "open": False, "ending": "burned"}
    some = [build_of("K1", build=build, **burned) for build in (1, 2, 3)]
    for count, said in ((0, "No burn-through"), (1, "One burn-through"), (2, "Two burn-throughs")):
        found = fleet(*some[:count], build_of("K1", build=4))
        assert found.warnings[0].startswith(said)
        assert found.warnings[0] in found.restrip.remarks
    assert fleet(*some, build_of("K1", build=4)).warnings == ()


class Doubtful:
    """Nine to one that they last: but else they fail within a run or two."""

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        return np.exp(np.outer([-1.0, -1e-5], ages)), np.array([1.0, 9.0])


@pytest.mark.parametrize("plan", [RestripPlan(PRICES), RestripPlan(bound=0.8)])
def test_a_wide_interval_on_few_failures_does_not_speak_for_running(plan: RestripPlan) -> None:
    # The middle, 90 %, would do; the low end, exp(-3) = 5 %, is the prior's and not known better.
    burned = {"lower": 3.0, "upper": 5.0, "mode": "burned", "open": False, "ending": "burned"}
    some = [build_of("K1", build=build, **burned) for build in (1, 2, 3)]
    for count, said in ((0, "no burn-through"), (2, "two burn-throughs")):
        now = build_of("K1", build=4, age=0.0)
        unit = only(fleet(*some[:count], now, survival=Doubtful(), plan=plan))
        assert unit.advice is Advice.LOOK
        assert unit.reason == (
            f"With {said} on record it is hardly known whether they last three more runs: 90 % "
            "(5 % to over 99 %); look before and between the runs."
        )
    enough = fleet(*some, build_of("K1", build=4, age=0.0), survival=Doubtful(), plan=plan)
    assert only(enough).advice is Advice.RUN


def test_a_narrow_interval_on_no_failure_speaks() -> None:
    assert only(fleet(build_of("K1"), plan=RestripPlan(bound=0.8))).advice is Advice.RUN


def test_the_order_of_builds_does_not_matter() -> None:
    builds = [build_of("K2"), build_of("K1"), build_of("K1", build=2, age=2.0)]
    assert fleet(*builds).frame.equals(fleet(*builds[::-1]).frame)


@pytest.mark.parametrize("settings", [{"runs_ahead": 0}, {"runs_ahead": 2.5}, {"level": 1.0}])
def test_an_outlook_of_nothing_is_refused(settings: dict[str, Any]) -> None:
    with pytest.raises(UsageError):
        fleet(build_of("K1"), **settings)


def test_a_look_after_the_age_is_refused() -> None:
    with pytest.raises(PlanError, match="does not lie"):
        chances(WEAR_OUT, age=3.0, last_look=4.0, runs_ahead=1, level=0.9)


def test_a_sound_look_moves_the_draws_towards_the_longer_life() -> None:
    # Two curves, equally likely: one sure to fail in run 5, one that lasts for ever. Sound at 5
    # means the second; unlooked, the chance of lasting is the even one.
    lasting: Callable[[FloatArray], FloatArray] = np.ones_like

    class Two:
        def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
            ends = (ages < 5).astype(np.float64)
            return np.stack([ends, lasting(ages)]), np.array([1.0, 1.0])

    found = chances(Two(), age=5.0, last_look=4.0, runs_ahead=2, level=0.9)
    assert found.sound_now.estimate == 0.5
    assert found.ahead.estimate == 0.5
    assert found.ahead_if_sound.estimate == 1.0


def test_from_a_season_to_advice() -> None:
    days = pd.date_range("2026-04-01", periods=24, freq="D")
    rows: list[tuple[object, ...]] = []
    for unit, life in (("K1", 6), ("K2", 8), ("K3", 7)):
        for run, day in enumerate(days[:life], start=1):
            state = "burned" if run == life else "sound"
            rows.append((day, unit, 1, float(run), state))
        for run, day in enumerate(days[12:16], start=1):
            seen = "sound" if run < 3 else None
            rows.append((day, unit, 1, float(run), seen))
    runs = pd.DataFrame(rows, columns=["date", "unit", "run", "runs_since_restrip", "strips"])
    season = Season.from_frames(runs=runs, costs=PRICES, simulated=True)
    lives = lives_of(season)
    fitted = posterior(lives.observations())
    found = outlook(season, lives, fitted, runs_ahead=2)
    assert (found.lives, found.failures, found.simulated) == (6, 3, True)
    assert found.restrip.basis == "cost"
    assert {unit.age for unit in found.units} == {4.0}
    assert {unit.last_look for unit in found.units} == {2.0}
    shown = found.units[0].chances
    assert shown is not None
    matrix, weights = fitted.survival_matrix(np.array([2.0, 6.0]))
    expected = float(weights @ (matrix[:, 1] / matrix[:, 0]))
    assert shown.ahead.estimate == pytest.approx(expected, rel=1e-9)


def test_each_unit_is_told_by_its_own_loss() -> None:
    prices = Costs(planned=300.0, burn_through=1500.0, lost_psi_per_run=50.0, currency="USD")
    asked: list[tuple[str, int | None]] = []

    def loss_of(name: str, build: int | None) -> LossByAge:
        asked.append((name, build))
        psi = 1.0 if name == "K2" else 0.1
        return lambda runs: psi * np.asarray(runs, dtype=np.float64)

    found = fleet(
        build_of("K1", age=2.0),
        build_of("K2", age=2.0),
        plan=RestripPlan(prices),
        draws_of=lambda _: WEAR_OUT,
        loss_of=loss_of,
    )
    tight, wide = found.units
    assert set(asked) == {("K1", None), ("K1", 1), ("K2", None), ("K2", 1)}
    assert tight.interval is not None
    assert wide.interval is not None
    assert tight.interval.best is not None
    assert wide.interval.best is not None
    # What leaks more is renewed sooner, at more a run.
    assert wide.interval.best < tight.interval.best
    assert tight.gain is not None
    assert wide.gain is not None
    assert (wide.gain.estimate or 0.0) < (tight.gain.estimate or 0.0)


def test_what_is_gained_has_the_interval_of_the_draws() -> None:
    # Four scales of life, equally likely: under each the sums of the test of several runs by
    # hand, at the one number of runs that is best over all four; those that make it likelier that
    # strips seen sound at age 4 came sound to age 7 count for more.
    scales = np.array([8.0, 11.0, 14.0, 20.0])

    class Four:
        def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
            return np.exp(-((ages / scales[:, None]) ** 3)), np.full(4, 0.25)

    build = build_of("K1", age=7.0, last_look=4.0)
    unit = only(fleet(build, survival=Four(), plan=RestripPlan(PRICES)))
    survival = np.exp(-((np.arange(60) / scales[:, None]) ** 3))
    made = np.cumsum(survival, axis=1)
    costs = [(300 + 1500 * (1 - survival[:, t])) / made[:, t - 1] for t in range(1, 40)]
    least = min(costs, key=lambda cost: float(cost.mean()))
    risk = 1500 * (1 - survival[:, 10] / survival[:, 7])
    gains = least * survival[:, 7:10].sum(axis=1) / survival[:, 7] - risk
    shares = survival[:, 7] / survival[:, 4] / (survival[:, 7] / survival[:, 4]).sum()
    assert unit.gain is not None
    assert unit.gain.estimate == pytest.approx(shares @ gains)
    rising = np.argsort(gains)
    reached = np.cumsum(shares[rising])
    assert unit.gain.low == pytest.approx(gains[rising][np.searchsorted(reached, 0.05)])
    assert unit.gain.high == pytest.approx(gains[rising][np.searchsorted(reached, 0.95)])


@pytest.mark.parametrize(
    ("factor", "told"),
    [
        (Estimate(3.3, 1.0, 7.2, 0.9), True),
        (Estimate(0.4, 0.2, 0.9, 0.9), True),
        (Estimate(3.3, 0.9, 7.2, 0.9), False),  # may be like the others
        (Estimate(1.3, 1.1, 1.5, 0.9), False),  # hardly unlike them
    ],
)
def test_what_sets_a_unit_apart_is_said_where_it_is_told(factor: Estimate, *, told: bool) -> None:
    unit = only(fleet(build_of("K1"), plan=RestripPlan(PRICES), factors={"K1": factor}))
    said = f"burn through {factor.estimate} times as readily as the fleet's"
    assert (said in unit.reason) is told
    assert unit.as_dict()["hazard_factor"] == factor.as_dict()
    apart = only(fleet(build_of("K1"), plan=RestripPlan(PRICES)))
    assert "readily" not in apart.reason
    assert apart.as_dict()["hazard_factor"] is None

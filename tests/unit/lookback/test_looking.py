"""What is forecast at a meet, and what the records later tell of it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import UsageError
from wearstats.life import posterior
from wearstats.lives import lives_of
from wearstats.lookback import (
    LookBack,
    apart_sentence,
    look_back,
    savings_sentence,
    savings_told,
    verdict,
)
from wearstats.lookback.meets import known_before, meets_of
from wearstats.lookback.rolling import shared_out
from wearstats.lookback.savings import few_draws, savings
from wearstats.lookback.strips import (
    NOT_SEEN,
    OTHER_END,
    SEEN_LATE,
    LivesByRun,
    Outcome,
    outcome_of,
    starts_of,
)
from wearstats.records.costs import Costs
from wearstats.records.season import Season

Row = tuple[str, str, int, str, str | None]
"""Day, unit, run, meet, what a look said."""

COSTS = Costs(planned=100.0, burn_through=400.0, currency="USD")


Work = tuple[str, str, str | None]
"""Day, unit, reason of a restrip: on a day with runs, after the first of them."""


def season(rows: list[Row], restrips: list[Work] | None = None) -> Season:
    runs = pd.DataFrame(rows, columns=["date", "unit", "run", "meet", "strips"])
    if restrips is None:
        return Season.from_frames(runs)
    made = pd.DataFrame(restrips, columns=["date", "unit", "reason"])
    ran = set(zip(runs["date"], runs["unit"], strict=True))
    days = zip(made["date"], made["unit"], strict=True)
    made["after_run"] = [1.0 if day in ran else np.nan for day in days]
    return Season.from_frames(runs, made)


def two_meets(second: list[str | None], then: list[Work] | None = None) -> Season:
    """K1 makes two runs at each meet, found sound after the first two."""
    rows: list[Row] = [
        ("2026-05-02", "K1", 1, "First", None),
        ("2026-05-02", "K1", 2, "First", "sound"),
        *(("2026-06-06", "K1", place + 1, "Second", look) for place, look in enumerate(second)),
    ]
    return season(rows, [("2026-04-01", "K1", None), *(then or [])])


def outcome(records: Season) -> Outcome:
    meet = meets_of(records.runs)[1]
    known = lives_of(known_before(records, meet.first))
    starts, without = starts_of(records, meet, 1, known)
    assert not without
    assert (starts[0].age, starts[0].last_look, starts[0].load) == (2.0, 2.0, 2.0)
    return outcome_of(starts[0], LivesByRun(lives_of(records)))


def test_meets_are_told_by_name_and_by_days() -> None:
    rows: list[Row] = [
        ("2025-05-03", "K1", 1, "Lake", None),
        ("2025-05-04", "K1", 1, "Lake", None),
        ("2025-05-03", "K2", 1, "Hill", None),
        ("2026-05-02", "K1", 1, "Lake", None),
    ]
    found = meets_of(season(rows).runs)
    assert [(meet.name, f"{meet.first:%Y-%m-%d}", meet.rows.size) for meet in found] == [
        ("Hill", "2025-05-03", 1),
        ("Lake", "2025-05-03", 2),
        ("Lake", "2026-05-02", 1),
    ]


def test_runs_without_a_meet_belong_together_while_days_follow() -> None:
    runs = pd.DataFrame({"date": ["2026-05-01", "2026-05-03", "2026-05-09"], "unit": "K1"})
    assert [meet.rows.size for meet in meets_of(Season.from_frames(runs).runs)] == [2, 1]


def test_what_is_known_before_a_day() -> None:
    units = pd.DataFrame(
        {
            "unit": ["K1", "K2", "K3"],
            "taken_in": ["2026-01-01", "2026-06-06", None],
            "retired": ["2026-06-06", None, "2026-05-01"],
        }
    )
    runs = pd.DataFrame({"date": ["2026-06-05", "2026-06-06"], "unit": "K1"})
    known = known_before(Season.from_frames(runs, units=units), pd.Timestamp("2026-06-06"))
    assert len(known.runs) == 1
    assert known.units["unit"].tolist() == ["K1", "K3"]
    assert known.units["retired"].isna().tolist() == [True, False]


def test_found_burned_at_the_meet() -> None:
    assert outcome(two_meets([None, "burned"])).burned is True


def test_seen_sound_at_the_last_run() -> None:
    assert outcome(two_meets([None, "sound"])).burned is False


def test_seen_sound_later() -> None:
    records = two_meets([None, None])
    later: list[Row] = [("2026-07-04", "K1", 1, "Third", "sound")]
    both = pd.concat([records.runs, season(later).runs])
    assert outcome(Season.from_frames(both, records.restrips)).burned is False


def test_nobody_looked() -> None:
    found = outcome(two_meets(["sound", None]))
    assert (found.burned, found.since, found.found, found.why) == (None, 3.0, np.inf, NOT_SEEN)


def test_found_burned_later() -> None:
    records = two_meets([None, None])
    later: list[Row] = [("2026-07-04", "K1", 1, "Third", "burned")]
    both = pd.concat([records.runs, season(later).runs])
    found = outcome(Season.from_frames(both, records.restrips))
    assert (found.burned, found.since, found.found, found.why) == (None, 2.0, 5.0, SEEN_LATE)


def test_strips_that_failed_otherwise() -> None:
    found = outcome(two_meets(["pulled", None], [("2026-06-06", "K1", "pulled")]))
    assert (found.burned, found.since, found.found, found.why) == (None, 2.0, np.inf, OTHER_END)


def test_runs_after_a_change_still_count_to_what_was_asked() -> None:
    # Burned after the first of two runs and renewed at once: two runs were asked of the strips.
    rows: list[Row] = [
        ("2026-05-02", "K1", 1, "First", None),
        ("2026-05-02", "K1", 2, "First", "sound"),
        ("2026-06-06", "K1", 1, "Second", "burned"),
        ("2026-06-07", "K1", 1, "Second", None),
    ]
    assert (
        outcome(season(rows, [("2026-04-01", "K1", None), ("2026-06-06", "K1", "burned")])).burned
        is True
    )


def fleet(looks: int) -> Season:
    """Six units, burned in their third run again and again, looked at after every run."""
    rows: list[Row] = []
    restrips: list[Work] = []
    for unit in range(6):
        restrips.append(("2026-03-01", f"K{unit}", None))
        for meet in range(4):
            day = f"2026-0{4 + meet}-04"
            looked = ("sound", "sound", "burned") if meet < looks else (None, None, None)
            rows += [(day, f"K{unit}", run + 1, f"M{meet}", looked[run]) for run in range(3)]
            restrips.append((f"2026-0{4 + meet}-05", f"K{unit}", None))
    return season(rows, restrips)


def test_few_burn_throughs_tell_nothing() -> None:
    rows: list[Row] = [
        (f"2026-0{4 + meet}-04", f"K{unit}", 1, f"M{meet}", "sound")
        for unit in range(3)
        for meet in range(4)
    ]
    fitted: list[Work] = [("2026-03-01", f"K{unit}", None) for unit in range(3)]
    found = look_back(season(rows, fitted), costs=COSTS)
    assert len(found.scored) == 9
    assert not found.tells
    assert verdict(found).startswith("Nothing can be told yet: 9 forecasts met 0 burn-throughs")
    assert savings_told(found) == "cannot be told"
    assert savings_sentence(found).startswith("Cannot be told: fewer than 5 burn-throughs")
    assert found.as_dict()["told"] == "cannot be told"


def test_a_first_meet_has_no_forecast() -> None:
    found = look_back(season([("2026-04-04", "K1", 1, "M", "sound")]))
    assert not found.scored
    assert found.total is None
    assert verdict(found).startswith("Nothing can be told yet")
    assert sum(found.without().values()) == 1
    assert found.frame.empty


def test_what_is_told_of_a_clear_case() -> None:
    found = look_back(fleet(4))
    assert found.tells
    assert found.total is not None
    assert (found.total.burned, found.total.not_known) == (18, 0)
    assert len(found.frame) == 18
    assert found.scores is not None
    assert found.scores.brier_bounds[0] == found.scores.brier_bounds[1]


def test_forecasts_made_on_few_burn_throughs_are_counted_apart() -> None:
    # By the second meet six had burned, so every forecast counts; where all but one were sound
    # after the first, what was said of the second meet was the prior's.
    everything = look_back(fleet(4))
    assert everything.by_prior == 0
    assert apart_sentence(everything) == ""
    runs = fleet(4).runs
    spared = (runs["meet"] == "M0") & (runs["unit"] != "K0")
    lucky = runs.assign(strips=runs["strips"].mask(spared, "sound"))
    some = look_back(replace(fleet(4), runs=lucky))
    early = [each for each in some.scored if some.meets[each.forecast.start.meet].said.failures < 3]
    assert some.by_prior == len(early) > 0
    assert sum(row.forecasts for row in some.calibration) == len(some.scored) - len(early)
    assert apart_sentence(some) == (
        f"Left out of this table: {len(early)} forecasts made with fewer than 3 burn-throughs on "
        "record; the prior had most of the say."
    )


def test_outcomes_not_known_bound_the_score() -> None:
    found = look_back(fleet(2))
    assert found.scores is not None
    low, high = found.scores.brier_bounds
    assert low <= (found.scores.brier.estimate or 0.0) <= high
    assert low < high
    assert sum(found.not_known().values()) == 12


def test_a_rule_of_no_runs_is_refused() -> None:
    with pytest.raises(UsageError, match="above 0"):
        LookBack(rule_runs=0.0)


def test_a_given_rule_is_kept() -> None:
    found = look_back(fleet(4), rule_runs=2.0)
    assert {meet.said.rule.runs for meet in found.meets} == {2.0}
    # All strips pass the rule and all burned: by the last meet it says so.
    said = [each.forecast.by_rule for each in found.scored if each.forecast.start.meet == 3]
    assert said == pytest.approx([18.5 / 19] * 6)


def test_sharing_out_agrees_with_the_survival_curve() -> None:
    fit = posterior(lives_of(fleet(4)).observations())
    matrix, weights = fit.survival_matrix([1.0, 2.0, 4.0])
    one, two, four = weights @ matrix
    assert shared_out(fit, 1.0, 2.0, np.inf) == pytest.approx((one - two) / one)
    assert shared_out(fit, 1.0, 2.0, 4.0) == pytest.approx((one - two) / (one - four))


def test_few_draws_keep_the_curve() -> None:
    fit = posterior(lives_of(fleet(4)).observations())
    ages = [1.0, 2.0, 3.0]
    thinned, even = few_draws(fit).survival_matrix(ages)
    matrix, weights = fit.survival_matrix(ages)
    assert even @ thinned == pytest.approx(weights @ matrix, abs=0.01)


def after(runs: float, units: int = 6) -> dict[str, float]:
    """A plan that restrips every unit after so many runs."""
    return {f"K{unit}": runs for unit in range(units)}


def test_a_plan_that_does_what_was_done_saves_nothing() -> None:
    # Every set burned in its third run and was renewed then; so it is under "never restrip".
    records = fleet(4)
    lives = lives_of(records)
    fit = posterior(lives.observations())
    limits = [(records.runs.iloc[meet.rows], after(np.inf)) for meet in meets_of(records.runs)]
    found = savings(lives, limits, fit, COSTS, level=0.9, seed=1)
    assert found is not None
    assert (found.done_burned, found.done_planned) == (24, 0)
    assert (found.plan_burned, found.plan_planned) == (24.0, 0.0)
    assert found.in_all.as_dict() == {"estimate": 0.0, "low": 0.0, "high": 0.0, "level": 0.9}


def test_a_plan_that_restrips_in_time_saves_the_burn_throughs() -> None:
    # After two runs always: none of the fitted sets burns by then, and renewals are counted.
    records = fleet(4)
    lives = lives_of(records)
    fit = posterior(lives.observations())
    limits = [(records.runs.iloc[meet.rows], after(2.0)) for meet in meets_of(records.runs)]
    found = savings(lives, limits, fit, COSTS, level=0.9, seed=1)
    assert found is not None
    # Twelve runs of each of six units: six sets of two runs.
    assert found.plan_planned + found.plan_burned >= 36.0
    assert found.plan_burned < 3.0
    assert (found.in_all.low or 0.0) > 0.0
    assert found.a_season.estimate == pytest.approx(found.in_all.estimate)
    again = savings(lives, limits, fit, COSTS, level=0.9, seed=1)
    assert again == found


def test_each_unit_follows_its_own_plan() -> None:
    # One unit is never restripped, as was done; the others after two runs, as above.
    records = fleet(4)
    lives = lives_of(records)
    fit = posterior(lives.observations())
    plan = after(2.0) | {"K0": np.inf}
    limits = [(records.runs.iloc[meet.rows], plan) for meet in meets_of(records.runs)]
    found = savings(lives, limits, fit, COSTS, level=0.9, seed=1)
    assert found is not None
    assert 4.0 <= found.plan_burned < 7.0
    assert found.plan_planned >= 28.0


def test_the_plan_of_a_meet_is_that_of_each_unit() -> None:
    said = look_back(fleet(4), costs=COSTS).meets[-1].said
    assert set(said.plan_runs) == {f"K{unit}" for unit in range(6)}
    assert all(1.0 <= runs <= 3.0 for runs in said.plan_runs.values())
    assert not look_back(fleet(4)).meets[-1].said.plan_runs

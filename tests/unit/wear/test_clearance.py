import math

import numpy as np
import pandas as pd
import pytest

from wearstats.errors import (
    NotIdentifiedError,
    ObservationError,
    TooFewError,
    UsageError,
)
from wearstats.wear import ClearanceWear, ClearanceWearFit

COLUMNS = ["unit", "build", "age", "what", "low_thou", "high_thou", "strips"]


def readings(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=COLUMNS).astype({"low_thou": float, "high_thou": float})


def fleet(noise: float = 0.3, seed: int = 7) -> pd.DataFrame:
    """Three units, three builds, a look every third run; starts 4, rates about 0.2."""
    rng = np.random.default_rng(seed)
    rows = []
    for unit in ("K1", "K2", "K3"):
        for build in (1, 2, 3):
            start, rate = 4.0 + 0.7 * rng.normal(), 0.2 + 0.05 * rng.normal()
            for age in range(0, 13, 3):
                middle = start + rate * age + noise * rng.normal()
                rows.append((unit, build, float(age), "tip", middle - 0.5, middle + 0.5, None))
    return readings(*rows)


@pytest.fixture(scope="module")
def fit() -> ClearanceWearFit:
    return ClearanceWear("tip").fit(fleet())


def test_counts(fit: ClearanceWearFit) -> None:
    assert (fit.readings, fit.looks, fit.builds, fit.units) == (45, 45, 9, 3)
    assert fit.left_out == ()


def heights_of(frame: pd.DataFrame, metal: float = 30.0) -> pd.DataFrame:
    """The same looks as strip heights, read as numbers."""
    height = metal - (frame["low_thou"] + frame["high_thou"]) / 2.0
    return frame.assign(what="strip height", low_thou=height, high_thou=height)


def test_balanced_numbers_give_the_mean_of_the_builds_lines() -> None:
    # Closed form for balanced data: generalised least squares is the mean of the builds' own
    # lines, whatever the spreads.
    frame = heights_of(fleet())
    lines = [
        np.polyfit(look["age"], look["low_thou"], 1) for _, look in frame.groupby(["unit", "build"])
    ]
    rate, start = np.mean(lines, axis=0)
    fit = ClearanceWear("strip height").fit(frame)
    assert fit.rate.estimate == pytest.approx(rate, rel=1e-8)
    assert fit.start.estimate == pytest.approx(start, rel=1e-8)
    assert fit.rate.unit == "thou per run"


def test_order_of_rows_does_not_matter(fit: ClearanceWearFit) -> None:
    mixed = fleet().sample(frac=1.0, random_state=np.random.default_rng(1))
    again = ClearanceWear("tip").fit(mixed)
    assert again.rate.low == pytest.approx(fit.rate.low, rel=1e-6)
    assert again.rate.high == pytest.approx(fit.rate.high, rel=1e-6)


def test_fitting_leaves_the_readings_alone() -> None:
    frame = fleet()
    before = frame.copy(deep=True)
    ClearanceWear("tip").fit(frame)
    pd.testing.assert_frame_equal(frame, before)


def test_what_cannot_be_used_is_counted_by_reason() -> None:
    nan = math.nan
    more = readings(
        ("K1", 1, 13.0, "tip", 8.0, nan, None),
        ("K1", 1, 14.0, "tip", 9.0, 10.0, "burned"),
        ("K1", nan, 3.0, "tip", 4.0, 5.0, None),
        ("K1", 1, nan, "tip", 4.0, 5.0, None),
        ("K1", 1, 4.0, "tip", nan, nan, None),
        ("K1", 1, 4.0, "mesh", 4.0, 5.0, None),
        ("K2", 1, 1.0, "tip", nan, 3.0, "hot"),
    )
    fit = ClearanceWear("tip").fit(pd.concat([fleet(), more]))
    counts = {out.reason: out.count for out in fit.left_out}
    assert counts == {
        "no reading": 1,
        "no build or age known": 2,
        "strips had failed": 1,
    }
    assert (fit.readings, fit.one_sided) == (47, 2)


def test_a_thickest_blade_that_enters_raises_the_line() -> None:
    # Left out, it would change nothing; taken for its one end, it would pull the line down.
    more = readings(("K1", 1, 13.0, "tip", 9.0, math.nan, None))
    plain, told = (
        ClearanceWear("tip").fit(frame).forecast("K1", 1, [13.0])["estimate"].iloc[0]
        for frame in (fleet(), pd.concat([fleet(), more]))
    )
    assert plain < 8.5
    assert told > plain + 0.2


def test_readings_set_aside_are_counted() -> None:
    frame = fleet().assign(left_out=lambda table: table["unit"] == "K3")
    fit = ClearanceWear("tip").fit(frame)
    assert [(out.reason, out.count) for out in fit.left_out] == [
        ("set aside with its build or day", 15)
    ]
    assert (fit.units, fit.readings) == (2, 30)


def test_readings_of_one_look_are_one_look() -> None:
    frame = fleet()
    fit = ClearanceWear("tip").fit(pd.concat([frame, frame, frame]))
    assert (fit.readings, fit.looks) == (135, 45)
    assert fit.rate.estimate == pytest.approx(ClearanceWear("tip").fit(frame).rate.estimate)


def test_builds_follow_their_own_readings(fit: ClearanceWearFit) -> None:
    own, here = [], []
    for _, look in fleet().groupby(["unit", "build"]):
        unit, build = str(look["unit"].iloc[0]), float(look["build"].iloc[0])
        middle = (look["low_thou"] + look["high_thou"]) / 2.0
        own.append(np.polyval(np.polyfit(look["age"], middle, 1), 12.0))
        here.append(fit.forecast(unit, build, [12.0])["estimate"].iloc[0])
    # Drawn toward the fleet (less spread than the builds' own lines), but not all the way.
    assert np.corrcoef(own, here)[0, 1] > 0.9
    assert 0.3 < np.std(here) / np.std(own) < 1.0


def test_an_unknown_unit_gets_the_fleets_line_and_a_wider_interval(fit: ClearanceWearFit) -> None:
    unknown = fit.forecast("K9", 1, [0.0, 10.0])
    known = fit.forecast("K1", 1, [0.0, 10.0])
    line = fit.start.estimate, fit.rate.estimate
    assert line[0] is not None
    assert line[1] is not None
    assert unknown["estimate"].tolist() == pytest.approx([line[0], line[0] + 10.0 * line[1]])
    assert ((unknown["high"] - unknown["low"]) > (known["high"] - known["low"])).all()


def test_the_next_build_of_a_known_unit_follows_its_unit(fit: ClearanceWearFit) -> None:
    mean, sd = fit.clearance_at(["K1", "K1", "K9"], [1, math.nan, math.nan], [8.0, 8.0, 8.0])
    assert sd[0] < sd[1] <= sd[2]
    assert np.isfinite(mean).all()


def test_growth_is_the_difference_from_age_nought(fit: ClearanceWearFit) -> None:
    ages = np.array([0.0, 6.0, 12.0])
    mean, sd = fit.growth(["K1"] * 3, [2] * 3, ages)
    whole = fit.clearance_at(["K1"] * 3, [2] * 3, ages)[0]
    assert mean == pytest.approx(whole - whole[0])
    assert sd == pytest.approx(sd[2] / 12.0 * ages)  # the rate's error times the age


def test_a_gaps_interval_stays_above_nought() -> None:
    frame = fleet()
    frame[["low_thou", "high_thou"]] -= 3.4
    frame = frame[frame["low_thou"] >= 0.0]
    low = ClearanceWear("tip").fit(frame).forecast("K9", 1, [0.0])["low"].iloc[0]
    assert low == 0.0


def test_runs_to_a_limit_lie_where_the_forecast_holds_it(fit: ClearanceWearFit) -> None:
    answer = fit.runs_to(9.0, "K1", 2, 12.0)
    assert answer.low is not None
    assert answer.high is not None
    assert answer.estimate is not None
    assert answer.low < answer.estimate < answer.high
    at = fit.forecast("K1", 2, [12.0 + answer.low, 12.0 + answer.estimate, 12.0 + answer.high])
    # The distribution has the degrees of freedom of its middle, the forecast those of each age.
    assert at["high"].iloc[0] == pytest.approx(9.0, rel=0.01)
    assert at["estimate"].iloc[1] == pytest.approx(9.0, rel=1e-6)
    assert at["low"].iloc[2] == pytest.approx(9.0, rel=0.01)
    assert "beyond the oldest reading" in answer.note


def test_a_limit_passed_long_ago_is_no_runs_away(fit: ClearanceWearFit) -> None:
    answer = fit.runs_to(1.0, "K1", 2, 12.0)
    assert (answer.estimate, answer.low, answer.high) == (0.0, 0.0, 0.0)


def test_a_limit_that_may_be_reached_now(fit: ClearanceWearFit) -> None:
    now = fit.forecast("K1", 2, [12.0])["estimate"].iloc[0]
    answer = fit.runs_to(now + 0.05, "K1", 2, 12.0)
    assert answer.low == 0.0
    assert answer.estimate is not None
    assert answer.estimate > 0.0


def test_without_wear_no_limit_is_promised() -> None:
    rng = np.random.default_rng(3)
    rows = []
    for unit in ("K1", "K2", "K3"):
        for age in range(0, 15, 2):
            middle = 4.0 - 0.02 * age + 0.3 * rng.normal()
            rows.append((unit, 1, float(age), "tip", middle - 0.5, middle + 0.5, None))
    answer = ClearanceWear("tip").fit(readings(*rows)).runs_to(9.0, "K1", 1, 14.0)
    assert answer.estimate is None
    assert answer.high is None
    assert "no wear toward the limit is seen" in answer.note


def test_strip_height_falls_to_its_limit() -> None:
    wear = ClearanceWear("strip height").fit(heights_of(fleet()))
    down = wear.runs_to(21.0, "K1", 2, 12.0)
    assert down.estimate is not None
    at = wear.forecast("K1", 2, [12.0 + down.estimate])["estimate"].iloc[0]
    assert at == pytest.approx(21.0, rel=1e-6)
    assert wear.runs_to(40.0, "K1", 2, 12.0).estimate == 0.0


def test_one_line_for_builds_looked_at_once_each() -> None:
    rows = [
        ("K1", b, 2.0 * b, "tip", 3.0 + 0.5 * b + b % 2, 4.0 + 0.5 * b, None) for b in range(1, 7)
    ]
    fit = ClearanceWear("tip").fit(readings(*rows))
    assert fit.line.build_names == ()
    assert "share one line" in fit.rate.note


@pytest.mark.parametrize(
    ("rows", "have"),
    [
        ((), 0),
        ((("K1", 1, 1.0, "tip", 4.0, 5.0, None), ("K1", 1, 4.0, "tip", 5.0, 6.0, None)), 2),
        (tuple(("K1", b, 3.0, "tip", 4.0, 5.0, None) for b in range(5)), 5),
    ],
)
def test_too_few_looks_or_one_age_are_refused(
    rows: tuple[tuple[object, ...], ...], have: int
) -> None:
    with pytest.raises(TooFewError) as caught:
        ClearanceWear("tip").fit(readings(*rows))
    assert (caught.value.have, caught.value.need) == (have, 4)


def test_refusal_names_what_was_left_out() -> None:
    rows = [("K1", 1, float(age), "tip", 8.0, 9.0, "burned") for age in range(6)]
    with pytest.raises(TooFewError, match=r"6 left out \(strips had failed\)"):
        ClearanceWear("tip").fit(readings(*rows))


def test_bounds_alone_are_no_clearance() -> None:
    rows = [("K1", 1, float(age), "tip", 8.0, math.nan, None) for age in range(6)]
    with pytest.raises(NotIdentifiedError, match="6 looks at tip are one-sided"):
        ClearanceWear("tip").fit(readings(*rows))


def test_heights_exactly_on_a_line_have_no_scatter_to_measure() -> None:
    rows = [("K1", 1, float(a), "strip height", 26.0 - a, 26.0 - a, None) for a in range(6)]
    with pytest.raises(NotIdentifiedError, match="exactly on a line"):
        ClearanceWear("strip height").fit(readings(*rows))


@pytest.mark.parametrize("units", [1, 3])
def test_gaps_exactly_on_a_line_keep_an_uncertainty(units: int) -> None:
    rows = [
        (f"K{unit}", build, float(a), "tip", 4.0 + a, 5.0 + a, None)
        for unit in range(units)
        for build in range(units)
        for a in range(6)
    ]
    fit = ClearanceWear("tip").fit(readings(*rows))
    assert fit.rate.low is not None
    assert fit.rate.high is not None
    assert fit.rate.low < 1.0 < fit.rate.high
    # No feel is finer than a tenth of a blade's step.
    assert fit.line.residual_variance >= 0.01


def test_a_missing_column_is_named() -> None:
    with pytest.raises(ObservationError, match="strips"):
        ClearanceWear("tip").fit(fleet().drop(columns="strips"))


def test_an_unknown_measure_is_refused() -> None:
    with pytest.raises(UsageError, match="bore"):
        ClearanceWear("bore")


@pytest.mark.parametrize("level", [0.0, 1.0, 90.0])
def test_a_level_is_a_share(fit: ClearanceWearFit, level: float) -> None:
    with pytest.raises(UsageError, match="between 0 and 1"):
        fit.forecast("K1", 1, [1.0], level)


def test_a_limit_must_be_a_number(fit: ClearanceWearFit) -> None:
    with pytest.raises(UsageError, match="a limit and an age"):
        fit.runs_to(math.nan, "K1", 1, 3.0)


def test_a_step_too_far_is_led_back() -> None:
    # Two builds open far faster than the rest: the optimiser once leapt to a variance of 1e113.
    of_units = {
        "K1": [(1, 0, 4.233), (1, 13, 6.037), (1, 15, 7.289)],
        "K2": [(1, 0, 4.16), (1, 11, 9.554), (2, 0, 4.855), (2, 4, 4.889)],
        "K3": [(1, 0, 4.317), (1, 7, 5.365), (1, 15, 6.67)],
        "K4": [(1, 0, 4.099), (1, 10, 5.506), (1, 15, 6.293)],
    }
    rows = [
        (unit, build, float(age), "tip", value, value, None)
        for unit, read in of_units.items()
        for build, age, value in read
    ]
    rate = ClearanceWear("tip").fit(readings(*rows)).rate
    # The plain slopes of the five lines lie from 0.01 to 0.49 thou per run.
    assert rate.estimate is not None
    assert 0.1 < rate.estimate < 0.3

import math

import pandas as pd
import pytest

from wearstats.wear import ClearanceWear, read_two_ways

COLUMNS = ["unit", "build", "age", "date", "what", "low_thou", "high_thou", "strips"]
DAY = pd.Timestamp("2026-05-03")


def readings(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=COLUMNS).astype({"low_thou": float, "high_thou": float})


def one(height: float = 26.0) -> pd.DataFrame:
    return readings(
        ("K1", 1, 5.0, DAY, "metal", 30.0, 31.0, None),
        ("K1", 1, 5.0, DAY, "tip", 4.0, 5.0, None),
        ("K1", 1, 5.0, DAY, "strip height", height, height, None),
    )


def test_two_readings_are_combined_by_inverse_variance() -> None:
    # By hand. Feeler: middle 4.5, u^2 = 1/12 + 0.25^2 = 0.145833. Height: 30.5 - 26 = 4.5 with
    # u^2 = 1/12 + 0.25^2 + 0.25^2 = 0.208333. Weights 6.857143 and 4.8.
    row = read_two_ways(one(height=25.0)).iloc[0]
    assert row["by_feeler"] == 4.5
    assert row["by_height"] == 5.5
    assert row["combined"] == pytest.approx((6.857143 * 4.5 + 4.8 * 5.5) / 11.657143, rel=1e-6)
    assert row["combined_u"] == pytest.approx(11.657143**-0.5, rel=1e-6)
    assert not row["disagree"]


@pytest.mark.parametrize(("height", "disagree"), [(24.9, False), (24.7, True), (27.3, True)])
def test_readings_that_differ_by_more_than_twice_their_uncertainty(
    height: float, disagree: bool
) -> None:
    # 2 sqrt(0.145833 + 0.208333) = 1.190 thou about the 26.0 that agrees.
    assert bool(read_two_ways(one(height)).iloc[0]["disagree"]) is disagree


def fleet(offset: float = 0.0, *, feelers: bool = True) -> pd.DataFrame:
    """Exact wear of 0.2 a run from 4 thou; metal-to-metal 30 to 31, so heights of 30.5 less it."""
    rows: list[tuple[object, ...]] = []
    for unit in ("K1", "K2", "K3"):
        for build in (1, 2):
            rows.append((unit, build, 0.0, DAY, "metal", 30.0, 31.0, None))
            for age in range(0, 13, 3):
                gap = 4.0 + 0.2 * age + (0.1 if (age + build) % 2 else -0.1)
                if feelers or unit != "K3":
                    rows.append((unit, build, float(age), DAY, "tip", gap // 1, gap // 1 + 1, None))
                height = 30.5 - gap + offset
                rows.append((unit, build, float(age), DAY, "strip height", height, height, None))
    return readings(*rows)


def test_the_warning_names_unit_day_and_both_readings() -> None:
    frame = pd.concat([fleet(), one(height=23.0).assign(unit="K2", build=2, age=7.0)])
    notes = ClearanceWear("tip").fit(frame).notes
    assert len(notes) == 1
    assert notes[0].startswith("K2, 2026-05-03: 4.5 thou by feeler, but 7.5 by strip height")


def test_heights_sharpen_the_forecast() -> None:
    with_them = ClearanceWear("tip").fit(fleet())
    without = ClearanceWear("tip", heights=False).fit(fleet())
    assert (with_them.by_height, without.by_height) == (30, 0)
    _, sharp = with_them.clearance_at(["K1"], [2], [12.0])
    _, blunt = without.clearance_at(["K1"], [2], [12.0])
    assert sharp[0] < blunt[0]


def test_a_wrong_metal_reading_moves_no_rate() -> None:
    # All heights of the fleet stand 0.6 thou off: an error they share, and not wear.
    rates = [ClearanceWear("tip").fit(fleet(offset)).rate.estimate for offset in (0.0, 0.6)]
    assert rates[0] == pytest.approx(0.2, abs=0.01)
    assert rates[1] == pytest.approx(0.2, abs=0.01)


def test_a_unit_read_by_height_alone_has_a_forecast_of_its_own() -> None:
    fit = ClearanceWear("tip").fit(fleet(feelers=False))
    own = fit.forecast("K3", 1, [12.0])
    unknown = fit.forecast("K9", 1, [12.0])
    assert own["estimate"].iloc[0] == pytest.approx(6.4, abs=0.4)
    width, wide = (float((f["high"] - f["low"]).iloc[0]) for f in (own, unknown))
    assert width < wide


def test_without_metal_heights_say_nothing_of_clearance() -> None:
    frame = fleet().loc[lambda table: table["what"] != "metal"]
    fit = ClearanceWear("tip").fit(frame)
    assert fit.by_height == 0
    assert read_two_ways(frame).empty


def test_failed_strips_are_not_compared() -> None:
    assert read_two_ways(one().assign(strips="burned")).empty


def test_a_blank_build_of_a_metal_reading_still_counts_for_its_unit() -> None:
    frame = one().assign(build=[math.nan, 1.0, 1.0])
    assert len(read_two_ways(frame)) == 1

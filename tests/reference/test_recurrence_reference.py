"""Recurrence against published repair histories.

"From memory" figures were published and recalled, not looked up; "recomputed" figures come from
code written independently of this project (R 4.2.2, scipy by hand), as said.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wearstats.recurrence import (
    History,
    MeanCumulative,
    PowerLaw,
    PowerLawFit,
    handbook,
    laplace,
    lewis_robinson,
    mean_cumulative,
    reversals,
)

DATA = Path(__file__).parent / "data"

# 41 engines, valve-seat replacements, days: Nelson 1995, Technometrics 37:147-157.
V09 = "v09_valve_seats.csv"
# One system, 10 repairs to 1500 h: NIST/SEMATECH e-Handbook of Statistical Methods, chapter 8.
V10 = "v10_nist_repairs_1500h.csv"
# Three simulated systems to 200 h: Crow 1974, in Reliability and Biometry (SIAM), 379-410.
V11 = "v11_three_systems_200h.csv"
# One diesel engine, 56 repairs (1000 h), observed to the last of them: Meeker & Escobar 1998,
# Statistical Methods for Reliability Data, chapter 16; Ascher & Feingold 1984.
V12 = "v12_diesel_a_repairs.csv"


def histories(name: str) -> list[History]:
    frame = pd.read_csv(DATA / name)
    return [
        History(
            str(system),
            tuple(rows.loc[rows["event"] == 1, "time"].astype(float)),
            float(rows["time"].max()),
        )
        for system, rows in frame.groupby("system")
    ]


@pytest.fixture(scope="module")
def valve_seats() -> MeanCumulative:
    return mean_cumulative(histories(V09), level=0.95)


@pytest.mark.parametrize(
    ("age", "at_risk", "events", "mean", "error"),
    [
        # Recomputed (own R code), seven decimals. Engines 402 and 328 have two replacements on
        # one day (139, 653): both count. An engine is still at risk at the age its watch ends.
        (61, 41, 1, 0.0243902, 0.0243902),
        (98, 41, 1, 0.1463415, 0.0558851),
        (139, 41, 2, 0.2195122, 0.0741800),
        (206, 41, 1, 0.3170732, 0.0886142),
        (298, 41, 1, 0.4634146, 0.1109689),
        (377, 41, 1, 0.6585366, 0.1334795),
        (404, 40, 1, 0.6835366, 0.1376303),
        (538, 40, 1, 0.8335366, 0.1541756),
        (573, 40, 1, 0.9585366, 0.1710780),
        (604, 22, 1, 1.0597187, 0.1876389),
        (640, 16, 1, 1.2435422, 0.2308214),
        (653, 9, 2, 1.5426875, 0.3238553),
    ],
)
def test_valve_seats_mean_and_nelsons_error(
    valve_seats: MeanCumulative, *, age: int, at_risk: int, events: int, mean: float, error: float
) -> None:
    row = valve_seats.frame.set_index("runs").loc[age]
    assert (row["at_risk"], row["failed"]) == (at_risk, events)
    assert row["mean"] == pytest.approx(mean, abs=6e-8)
    assert row["standard_error"] == pytest.approx(error, abs=6e-8)
    # The interval is that of the log of the mean: exp(+-1.959964 error / mean).
    factor = np.exp(1.959963985 * row["standard_error"] / row["mean"])
    assert row["high"] == pytest.approx(row["mean"] * factor, rel=1e-9)
    assert row["low"] == pytest.approx(row["mean"] / factor, rel=1e-9)


def test_valve_seats_to_the_digits_published(valve_seats: MeanCumulative) -> None:
    # Meeker & Escobar 1998, chapter 16, table of the first eight ages (from memory).
    published = {
        61: (0.024, 0.024), 76: (0.049, 0.034), 84: (0.073, 0.041), 87: (0.098, 0.047),
        92: (0.122, 0.052), 98: (0.146, 0.056), 120: (0.171, 0.059), 139: (0.220, 0.074),
    }  # fmt: skip
    rows = valve_seats.frame.set_index("runs")[["mean", "standard_error"]].round(3)
    found = rows.loc[list(published)].to_numpy().tolist()
    assert found == [[mean, error] for mean, error in published.values()]
    assert valve_seats.failures == 48
    assert valve_seats.units == 41


def fitted(name: str) -> PowerLawFit:
    return PowerLaw().fit(histories(name))


def test_nist_repairs_power_law() -> None:
    fit = fitted(V10)
    assert fit.beta == pytest.approx(0.5372289, abs=6e-8)  # recomputed (scipy)
    assert fit.rate_constant == pytest.approx(0.1966582, abs=6e-8)  # recomputed (scipy)
    corrected = fit.beta_corrected
    assert corrected is not None
    assert corrected == pytest.approx(0.4835060, abs=6e-8)  # recomputed (scipy)
    # Handbook (from memory): growth slope 0.516495; the sixth digit recomputes as 0.516494.
    assert 1 - corrected == pytest.approx(0.516494, abs=6e-7)
    # Handbook (from memory): MTBF at 1500 h 310.234, with the corrected beta.
    assert 1500 / (10 * corrected) == pytest.approx(310.2340, abs=6e-5)
    now = fit.runs_between_at(1500).estimate
    assert now == pytest.approx(279.2106, abs=6e-5)  # recomputed, with the MLE
    # With the corrected beta lambda would be 0.2913003 (recomputed).
    assert 10 / 1500**corrected == pytest.approx(0.2913003, abs=6e-8)


def test_nist_repairs_trend_tests() -> None:
    (history,) = histories(V10)
    statistic = handbook([history])
    # Handbook (from memory): 37.23. Recomputed: 37.22808 on 20 df, upper tail 0.0109864.
    assert statistic.statistic == pytest.approx(37.22808, abs=6e-6)
    assert statistic.p_value == pytest.approx(2 * 0.0109864, abs=1.2e-7)
    assert "20 degrees" in statistic.reference
    assert laplace([history]).statistic == pytest.approx(-1.326949, abs=6e-7)  # recomputed
    counted = reversals(history)
    assert counted.statistic == 33  # Handbook (from memory): 33 of 45
    assert {each.lean for each in (statistic, laplace([history]), counted)} == {-1}


def test_three_systems_power_law() -> None:
    fit = fitted(V11)
    # Crow 1974, MIL-HDBK-189 (from memory): lambda 0.461, beta 0.615; more digits recomputed.
    assert fit.beta == pytest.approx(0.6153363, abs=6e-8)
    assert fit.rate_constant == pytest.approx(0.4605471, abs=6e-8)
    assert fit.beta_corrected == pytest.approx(0.5982436, abs=6e-8)  # recomputed
    assert fit.beta_corrected is not None
    corrected = 36 / (3 * 200**fit.beta_corrected)
    assert corrected == pytest.approx(0.5042023, abs=6e-8)  # recomputed
    interval = fit.parameters(0.95)["beta"]
    assert interval.low == pytest.approx(0.43097, abs=6e-6)  # recomputed, chi-square
    assert interval.high == pytest.approx(0.83201, abs=6e-6)  # recomputed, chi-square


def test_three_systems_pooled_handbook_statistic() -> None:
    pooled = handbook(histories(V11))
    assert pooled.statistic == pytest.approx(117.00920, abs=6e-6)  # recomputed, on 72 df
    assert "72 degrees" in pooled.reference
    assert pooled.lean == -1


def test_diesel_power_law() -> None:
    fit = fitted(V12)
    # Meeker & Escobar 1998 (from memory): beta 1.22, eta 0.553; more digits recomputed.
    assert fit.beta == pytest.approx(1.2178494, abs=6e-8)
    assert fit.eta == pytest.approx(0.5528938, abs=6e-8)
    assert fit.rate_constant == pytest.approx(2.0578967, abs=6e-8)
    assert fit.within == 55  # the last repair is where the watch ends


def test_diesel_trend_tests() -> None:
    (history,) = histories(V12)
    statistic = handbook([history])
    # Meeker & Escobar 1998 (from memory): 92; Lewis-Robinson 1.02. More digits recomputed.
    assert statistic.statistic == pytest.approx(91.965398, abs=6e-7)
    assert statistic.p_value == pytest.approx(2 * 0.106766, abs=1.2e-6)
    assert "110 degrees" in statistic.reference
    even = laplace([history])
    assert even.statistic == pytest.approx(0.999289, abs=6e-7)
    assert even.failures == 55
    assert lewis_robinson(history).statistic == pytest.approx(1.017266, abs=6e-7)
    assert {statistic.lean, even.lean, lewis_robinson(history).lean} == {1}

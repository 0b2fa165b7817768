"""Published lives that failed in two ways, and a published trial of two arms, law by law.

"Recomputed" figures come from R 4.2.2, survival 3.5-3; published ones from memory.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wearstats.life import StripLife, StripLifeFit, kaplan_meier
from wearstats.lives.observations import Observations
from wearstats.lives.strip_lives import StripLives

DATA = Path(__file__).parent / "data"
# 30 units, thousand cycles, surge and wear-out: Meeker & Escobar 1998, Table 15.1.
V08 = "v08_device_g_two_modes.csv"
# 42 patients, weeks in remission: Freireich et al. 1963; Lawless 1982.
V14 = "v14_remission_21_pairs.csv"


def device() -> StripLives:
    table = pd.read_csv(DATA / V08)
    failed = table["event"].eq(1)
    frame = pd.DataFrame(
        {
            "unit": [f"G{place}" for place in range(len(table))],
            "build": 1,
            "entry": 0.0,
            "lower": table["time"].astype(float),
            "upper": table["time"].astype(float).where(failed, np.inf),
            "mode": table["cause"].map({1: "surge", 2: "wear"}).where(failed, ""),
            "weight": 1.0,
            "left_out": False,
        }
    )
    return StripLives(frame, pd.DataFrame())


def arm(*, treated: bool) -> Observations:
    table = pd.read_csv(DATA / V14)
    table = table[table["treated"].eq(int(treated))]
    time = table["time"].to_numpy(dtype=float)
    upper = np.where(table["event"].eq(1), time, np.inf)
    labels = tuple(f"pair {pair}" for pair in table["pair"])
    return Observations(np.zeros(time.size), time, upper, np.ones(time.size), labels)


def told(fit: StripLifeFit) -> tuple[float, float, float]:
    assert fit.mu is not None
    return fit.mu, fit.sigma, fit.log_likelihood


@pytest.mark.parametrize(
    ("mode", "mu", "sigma", "errors", "log_likelihood", "published"),
    [
        ("surge", 6.1080667, 1.4903291, (0.4270458, 0.3504352), -101.364206, (6.11, 1.49)),
        ("wear", 5.8300749, 0.2305591, (0.1061711, 0.0771100), -47.162210, (5.83, 0.23)),
    ],
)
def test_v08_a_weibull_law_for_each_way_of_failing(
    *,
    mode: str,
    mu: float,
    sigma: float,
    errors: tuple[float, float],
    log_likelihood: float,
    published: tuple[float, float],
) -> None:
    # Meeker & Escobar 1998, the example on Table 15.1: mu and sigma to two decimals.
    fit = StripLife().fit(device().observations(mode))
    assert told(fit) == pytest.approx((mu, sigma, log_likelihood), abs=6e-7)
    assert (round(told(fit)[0], 2), round(fit.sigma, 2)) == published
    found = fit.standard_errors
    assert (found["mu"], found["sigma"]) == pytest.approx(errors, abs=6e-7)


def test_v08_both_ways_in_one_law() -> None:
    # recomputed: scale 242.590285, shape 0.9267892, log likelihood -142.621066
    either = device()
    frame = either.frame.assign(mode=either.frame["mode"].where(either.frame["mode"].eq(""), "any"))
    fit = StripLife().fit(StripLives(frame, either.runs).observations("any"))
    mu, sigma, value = told(fit)
    assert np.exp(mu) == pytest.approx(242.590285, abs=6e-6)
    assert 1 / sigma == pytest.approx(0.9267892, abs=6e-8)
    assert value == pytest.approx(-142.621066, abs=6e-7)


def test_v14_product_limit_of_the_treated() -> None:
    # Freireich et al. 1963; Kalbfleisch & Prentice 2002: 0.857, 0.807, 0.753, 0.690, 0.627, 0.538,
    # 0.448 at 6, 7, 10, 13, 16, 22, 23 weeks; further digits recomputed.
    curve = kaplan_meier(arm(treated=True))
    shares = [0.8571429, 0.8067227, 0.7529412, 0.6901961, 0.6274510, 0.5378151, 0.4481793]
    weeks = (6, 7, 10, 13, 16, 22, 23)
    assert [curve.at(week).estimate for week in weeks] == pytest.approx(shares, abs=6e-8)
    published = [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert [round(curve.at(week).estimate or 0.0, 3) for week in weeks] == published


@pytest.mark.parametrize(
    ("treated", "mean", "scale", "shape", "log_likelihood"),
    [
        # Published: 9 failures in 359 weeks, 21 in 182.
        (True, 359 / 9, 33.765151, 1.3537345, -41.658678),
        (False, 182 / 21, 9.482141, 1.3704999, -64.920108),
    ],
)
def test_v14_laws_of_each_arm(
    *, treated: bool, mean: float, scale: float, shape: float, log_likelihood: float
) -> None:
    lives = arm(treated=treated)
    plain = StripLife("exponential").fit(lives)
    assert np.exp(told(plain)[0]) == pytest.approx(mean, rel=1e-9)
    mu, sigma, value = told(StripLife().fit(lives))
    assert np.exp(mu) == pytest.approx(scale, abs=6e-7)
    assert 1 / sigma == pytest.approx(shape, abs=6e-8)
    assert value == pytest.approx(log_likelihood, abs=6e-7)

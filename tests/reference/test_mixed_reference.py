"""The mixed-model door against published fits."""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from wearstats.arrays import FloatArray
from wearstats.mixed import Component, MixedFit, fit_mixed

DATA = Path(__file__).parent / "data"


def growth_fit(column: FloatArray, units: tuple[str, ...], *, reml: bool) -> MixedFit:
    ones = np.ones(len(column))
    return fit_mixed(
        growth()["y"].to_numpy(float),
        np.column_stack([ones, column]),
        ("start", "rate"),
        groups=units,
        joint=[Component("start", units, ones), Component("rate", units, column)],
        reml=reml,
    )


def growth() -> pd.DataFrame:
    """27 units, 4 readings each: Potthoff & Roy 1964; Pinheiro & Bates 2000, chapters 1 and 4."""
    return pd.read_csv(DATA / "v16_orthodont_growth.csv")


class Published(NamedTuple):
    """One published fit of y ~ x with starts and rates; standard errors None where not printed."""

    centre: float
    reml: bool
    start: float
    start_error: float | None
    spreads: tuple[float, float]
    correlation: float
    residual: float
    log_likelihood: float


@pytest.mark.parametrize(
    "published",
    [
        # nlme 3.1 (its own tests and public course notes), REML.
        Published(
            0.0, True, 16.761111, 0.7752460, (2.3270341, 0.2264278), -0.609, 1.3100397, -221.318343
        ),
        # nlme 3.1, full likelihood.
        Published(
            0.0, False, 16.761111, None, (2.1940999, 0.2149245), -0.581, 1.3100399, -219.605801
        ),
        # nlme 3.1, REML, x centred at 11; the likelihood is that of the first.
        Published(
            11.0, True, 24.0231481, 0.4296601, (2.1343289, 0.2264278), 0.503, 1.3100397, -221.318343
        ),
    ],
)
def test_growth_with_starts_and_rates(published: Published) -> None:
    frame = growth()
    column = frame["x"].to_numpy(float) - published.centre
    fit = growth_fit(column, tuple(frame["unit"]), reml=published.reml)
    assert fit.coefficients == pytest.approx([published.start, 0.6601852], abs=6e-7)
    # Where the two optimisers stop, the variances agree to about 1e-5.
    spread = np.sqrt(np.diag(fit.joint_covariance))
    assert spread == pytest.approx(published.spreads, rel=1e-5)
    correlation = fit.joint_covariance[0, 1] / np.prod(spread)
    assert correlation == pytest.approx(published.correlation, abs=6e-4)
    assert fit.residual_variance**0.5 == pytest.approx(published.residual, rel=1e-5)
    assert fit.log_likelihood == pytest.approx(published.log_likelihood, abs=2e-6)
    if published.start_error is not None:
        errors = [fit.standard_error(row) for row in np.eye(2)]
        assert errors == pytest.approx([published.start_error, 0.0712533], rel=1e-5)


def test_growth_by_sex() -> None:
    # nlme 3.1, y ~ x * female, REML.
    frame = growth()
    x, female = frame["x"].to_numpy(float), frame["female"].to_numpy(float)
    ones, units = np.ones(len(frame)), tuple(frame["unit"])
    fit = fit_mixed(
        frame["y"].to_numpy(float),
        np.column_stack([ones, x, female, x * female]),
        ("start", "rate", "female", "interaction"),
        groups=units,
        joint=[Component("start", units, ones), Component("rate", units, x)],
    )
    assert fit.coefficients == pytest.approx(
        [16.3406250, 0.7843750, 1.0321023, -0.3048295], abs=6e-7
    )
    errors = [fit.standard_error(row) for row in np.eye(4)]
    assert errors == pytest.approx([1.0185320, 0.0859995, 1.5957329, 0.1347353], rel=2e-5)
    assert np.sqrt(np.diag(fit.joint_covariance)) == pytest.approx([2.4055009, 0.1803455], rel=1e-4)
    assert fit.log_likelihood == pytest.approx(-216.290831, abs=1e-5)


LASER_HOURS = (
    # Meeker & Escobar 1998, Table C.17: time at which each laser's line reaches 10 % (from memory).
    *(3702, 4194, 5847, 6172, 5301, 3592, 6051, 6538),
    *(5110, 3306, 5326, 4995, 4721, 5689, 6102),
)


def test_laser_lines_one_by_one() -> None:
    frame = pd.read_csv(DATA / "v17_laser_degradation.csv")
    reached = []
    for _, laser in frame.groupby("unit", sort=True):
        hours = laser["hours"].to_numpy(float)
        fixed = np.column_stack([np.ones(len(hours)), hours])
        line = fit_mixed(laser["increase"].to_numpy(float), fixed, ("start", "rate"))
        reached.append((10.0 - line.coefficients[0]) / line.coefficients[1])
    assert reached == pytest.approx(LASER_HOURS, abs=0.6)


def test_laser_lines_together() -> None:
    # No published mixed fit: balanced data, so by the closed form the population line is the mean
    # of the fifteen lines, and its error their standard deviation over the root of fifteen.
    frame = pd.read_csv(DATA / "v17_laser_degradation.csv").sort_values(["unit", "hours"])
    thousands = frame["hours"].to_numpy(float) / 1000.0
    ones, units = np.ones(len(frame)), tuple(frame["unit"])
    fit = fit_mixed(
        frame["increase"].to_numpy(float),
        np.column_stack([ones, thousands]),
        ("start", "rate"),
        groups=units,
        joint=[Component("start", units, ones), Component("rate", units, thousands)],
    )
    lines = np.array(
        [np.polyfit(g["hours"] / 1000.0, g["increase"], 1)[::-1] for _, g in frame.groupby("unit")]
    )
    assert fit.coefficients == pytest.approx(lines.mean(axis=0), rel=1e-8)
    error = lines.std(axis=0, ddof=1) / np.sqrt(len(lines))
    got = [fit.standard_error(row) for row in np.eye(2)]
    assert got == pytest.approx(error, rel=1e-4)

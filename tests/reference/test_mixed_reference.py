"""The mixed-model door against published fits."""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from wearstats.arrays import FloatArray
from wearstats.mixed import Component, MixedFit, fit_components, fit_lines, fit_mixed
from wearstats.wear import RunsToLimit

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


def test_our_own_equations_give_the_published_growth_at_the_published_spreads() -> None:
    # nlme 3.1, REML, as above. Builds' effects are independent in `fit_lines`; the published
    # covariance is had by turning its columns with the root of the covariance.
    frame = growth()
    x, units = frame["x"].to_numpy(float), tuple(frame["unit"])
    ones = np.ones(len(frame))
    sd, correlation, residual = np.array([2.3270341, 0.2264278]), -0.6093, 1.3100397
    covariance = np.outer(sd, sd) * np.array([[1.0, correlation], [correlation, 1.0]])
    turned = np.column_stack([ones, x]) @ np.linalg.cholesky(covariance)
    y = frame["y"].to_numpy(float)
    fit = fit_lines(
        y,
        y,
        np.column_stack([ones, x]),
        ("start", "rate"),
        units=units,
        builds=units,
        unit_columns={},
        build_columns={"first": turned[:, 0], "second": turned[:, 1]},
        held={"first": 1.0, "second": 1.0},
        penalties=(0.0, 0.0, 0.0),
    )
    assert fit.coefficients == pytest.approx([16.761111, 0.6601852], abs=6e-7)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([0.7752460, 0.0712533], rel=1e-4)
    assert fit.residual_variance**0.5 == pytest.approx(residual, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(-221.318343, abs=2e-5)


def test_lasers_reach_ten_percent_as_published() -> None:
    # Meeker & Escobar 1998, Table C.17 and chapter 13 (from memory). Theirs are lines one by one;
    # ours draw them together a little: seventeen readings a laser leave little to draw.
    frame = pd.read_csv(DATA / "v17_laser_degradation.csv").sort_values(["unit", "hours"])
    thousands = frame["hours"].to_numpy(float) / 1000.0
    ones, units = np.ones(len(frame)), tuple(frame["unit"])
    increase = frame["increase"].to_numpy(float)
    fit = fit_lines(
        increase,
        increase,
        np.column_stack([ones, thousands]),
        ("start", "rate"),
        units=units,
        builds=units,
        unit_columns={},
        build_columns={"start": ones, "rate": thousands},
    )
    lasers = sorted(set(units))
    at = np.column_stack([np.ones(3), np.arange(3.0)])
    reached = []
    for laser in lasers:
        line = fit.predicted(at, np.zeros((3, 0)), at, [laser] * 3, [laser] * 3)
        bend = float(line.variance[2] - 2.0 * line.variance[1] + line.variance[0]) / 2.0
        limit = RunsToLimit(
            short=10.0 - float(line.mean[0]),
            rate=float(line.mean[1] - line.mean[0]),
            variance=float(line.variance[0]),
            covariance=(float(line.variance[1] - line.variance[0]) - bend) / 2.0,
            rate_variance=bend,
            freedom=float(line.freedom[1]),
        )
        middle = limit.runs_at(0.5)
        assert middle is not None
        reached.append(1000.0 * middle)
    assert reached == pytest.approx(LASER_HOURS, rel=0.02)


def test_gauge_study() -> None:
    # The worked example of the Measurement Systems Analysis manual (automotive industry action
    # group), 10 parts, 3 operators, 3 trials, ANOVA with the interaction pooled: repeatability
    # 0.0399733, operator 0.0514553, part 1.0864466. Balanced data, so restricted likelihood gives
    # the same (Searle, Casella & McCulloch 1992, Variance Components, section 4.8; from memory).
    frame = pd.read_csv(DATA / "v22_gauge_10x3x3.csv")
    ones = np.ones(len(frame))
    fit = fit_components(
        frame["value"].to_numpy(float),
        ones[:, None],
        ("mean",),
        [
            Component("operator", tuple(frame["operator"]), ones),
            Component("part", tuple(frame["part"]), ones),
        ],
        penalty=0.0,
    )
    assert fit.residual_variance == pytest.approx(0.0399733, rel=2e-4)
    assert fit.variances["operator"] == pytest.approx(0.0514553, rel=2e-3)
    assert fit.variances["part"] == pytest.approx(1.0864466, rel=2e-3)

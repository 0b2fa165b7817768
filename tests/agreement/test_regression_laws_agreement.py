"""The run-by-run regression against lifelines and against a likelihood written plainly here.

lifelines fits accelerated life: for the Weibull law beta = -aft * shape. Its maximiser stops
a little short of the top, and ours must be no lower.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import WeibullAFTFitter
from scipy.optimize import minimize
from scipy.stats import norm

from wearstats.arrays import FloatArray
from wearstats.life import HazardRegression
from wearstats.lives.histories import Histories
from wearstats.lives.observations import Observations

V13 = Path(__file__).parents[1] / "reference" / "data" / "v13_recidivism_432.csv"
NAMES = ("a", "b")


def fixed(lower: FloatArray, upper: FloatArray, covariates: FloatArray) -> Histories:
    """Lives from age 0, each with covariates that stay as they are."""
    count = lower.size
    labels = tuple(f"life {place}" for place in range(count))
    names = NAMES if covariates.shape[1] == len(NAMES) else tuple("abcdefg")
    zeros, ends = np.zeros(count), np.where(np.isfinite(upper), upper, lower)
    seen = Observations(zeros, lower, upper, np.ones(count), labels)
    return Histories(seen, labels, names, np.arange(count), zeros, ends, covariates)


def same_as_lifelines(known: Histories, fitter: WeibullAFTFitter, near: float) -> None:
    ours = HazardRegression().fit(known)
    shape = float(np.exp(fitter.params_["rho_"]["Intercept"]))
    theirs = [-shape * float(fitter.params_["lambda_"][name]) for name in known.names]
    assert ours.log_likelihood == pytest.approx(fitter.log_likelihood_, abs=near)
    assert ours.log_likelihood > fitter.log_likelihood_ - 1e-8
    assert [ours.estimates[name] for name in known.names] == pytest.approx(theirs, abs=10 * near)
    assert np.exp(ours.estimates["log_shape"]) == pytest.approx(shape, rel=10 * near)


def drawn(seed: int, count: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    random = np.random.default_rng(seed)
    covariates = random.normal(size=(count, 2))
    scale = np.exp(-covariates @ np.array([0.5, -0.3]))
    fails = 12 * (random.exponential(size=count) * scale) ** 0.5
    return covariates, fails, random.uniform(6, 20, count)


@settings(max_examples=4, derandomize=True, deadline=None)
@given(st.integers(0, 10_000))
def test_right_censored_lives_agree_with_lifelines(seed: int) -> None:
    covariates, fails, ends = drawn(seed, 150)
    age, failed = np.minimum(fails, ends), fails <= ends
    frame = pd.DataFrame(covariates, columns=list(NAMES)).assign(age=age, failed=failed)
    fitter = WeibullAFTFitter().fit(frame, "age", "failed")
    same_as_lifelines(fixed(age, np.where(failed, age, np.inf), covariates), fitter, 1e-5)


@settings(max_examples=4, derandomize=True, deadline=None)
@given(st.integers(0, 10_000))
def test_interval_censored_lives_agree_with_lifelines(seed: int) -> None:
    covariates, fails, ends = drawn(seed, 150)
    # Looks after every other run; lifelines wants a lower end above nought.
    before = 2 * np.floor(np.minimum(fails, ends) / 2)
    lower = np.maximum(before, 0.01)
    upper = np.where(fails <= ends, before + 2, np.inf)
    frame = pd.DataFrame(covariates, columns=list(NAMES)).assign(low=lower, high=upper)
    fitter = WeibullAFTFitter().fit_interval_censoring(frame, "low", "high")
    same_as_lifelines(fixed(lower, upper, covariates), fitter, 1e-5)


def test_v13_432_people_agree_with_lifelines() -> None:
    # Rossi, Berk & Lenihan 1980. No parametric figure is published with our references, so
    # this is agreement with another library on published data.
    frame = pd.read_csv(V13)
    covariates = frame[["fin", "age", "race", "wexp", "mar", "paro", "prio"]].astype(float)
    covariates.columns = pd.Index(list("abcdefg"))
    time, failed = frame["week"].to_numpy(dtype=np.float64), frame["arrest"].to_numpy() == 1
    fitter = WeibullAFTFitter().fit(covariates.assign(week=time, arrest=failed), "week", "arrest")
    known = fixed(time, np.where(failed, time, np.inf), covariates.to_numpy())
    same_as_lifelines(known, fitter, 1e-5)


Hazard = Callable[[FloatArray], FloatArray]
LAWS: dict[str, Hazard] = {
    "weibull": np.exp,
    "lognormal": lambda z: -norm.logsf(z),
    "loglogistic": lambda z: np.logaddexp(0.0, z),
}


def changing(seed: int) -> tuple[Histories, list[tuple[FloatArray, int, bool]]]:
    """Lives whose load changes each run, looked at every two runs; also run by run."""
    random = np.random.default_rng(seed)
    rows: list[tuple[FloatArray, int, bool]] = []
    for _ in range(60):
        loads = random.normal(size=2 * int(random.integers(3, 9)))
        ages = np.arange(loads.size + 1)
        total = np.cumsum(np.diff((ages / 11) ** 2) * np.exp(0.6 * loads))
        fails = int(np.searchsorted(total, random.exponential()))
        failed = fails < loads.size
        sound = 2 * (fails // 2) if failed else loads.size
        rows.append((loads[: sound + 2 * failed], sound, failed))
    labels = tuple(f"life {place}" for place in range(len(rows)))
    lower = np.array([sound for _, sound, _ in rows], dtype=np.float64)
    upper = np.array([sound + 2.0 if failed else np.inf for _, sound, failed in rows])
    life = np.concatenate([np.full(loads.size, place) for place, (loads, _, _) in enumerate(rows)])
    start = np.concatenate([np.arange(loads.size, dtype=np.float64) for loads, _, _ in rows])
    seen = Observations(np.zeros(lower.size), lower, upper, np.ones(lower.size), labels)
    loads = np.concatenate([loads for loads, _, _ in rows])[:, None]
    return Histories(seen, labels, ("load",), life, start, start + 1, loads), rows


def written_out(
    theta: FloatArray, hazard: Hazard, rows: list[tuple[FloatArray, int, bool]]
) -> float:
    """The log likelihood, one life after another, one run after another."""
    value = 0.0
    for loads, sound, failed in rows:
        ages = np.log(np.arange(1, loads.size + 1))
        gathered = np.append(0.0, hazard(theta[0] + np.exp(theta[1]) * ages))
        total = np.append(0.0, np.cumsum(np.diff(gathered) * np.exp(theta[2] * loads)))
        value -= total[sound]
        if failed:
            value += np.log(-np.expm1(total[sound] - total[-1]))
    return value


@pytest.mark.parametrize("law", sorted(LAWS))
def test_loads_that_change_each_run_agree_with_a_plain_search(law: str) -> None:
    known, rows = changing(5)
    ours = HazardRegression(law).fit(known)
    found = np.array([ours.estimates[name] for name in ("intercept", "log_shape", "load")])
    assert written_out(found, LAWS[law], rows) == pytest.approx(ours.log_likelihood, abs=1e-9)

    def loss(theta: FloatArray) -> float:
        return -written_out(theta, LAWS[law], rows)

    plain = minimize(loss, [-4.0, 0.5, 0.0], method="Nelder-Mead", tol=1e-8)
    assert plain.success
    assert -plain.fun == pytest.approx(ours.log_likelihood, abs=1e-6)
    assert found == pytest.approx(plain.x, abs=1e-4)

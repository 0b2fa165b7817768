"""R's survival package as a second opinion on random lives; runs where Rscript is installed."""

import csv
import json
import math
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wearstats.life import StripLife, cox, kaplan_meier
from wearstats.lives import Histories, Observations
from wearstats_synthetic.lives import looked_at

RSCRIPT = shutil.which("Rscript")
pytestmark = pytest.mark.skipif(RSCRIPT is None, reason="no Rscript on the path")

SETS = 3
LAWS = ("weibull", "exponential", "lognormal", "loglogistic")
_SCRIPT = """
suppressMessages(library(survival))
folder <- commandArgs(TRUE)[1]
number <- function(x) paste0("[", paste(sprintf("%.15g", x), collapse = ","), "]")
said <- c()
say <- function(name, x) said <<- c(said, paste0('"', name, '":', number(x)))
for (set in 0:2) {
  looks <- read.csv(file.path(folder, paste0("looks", set, ".csv")))
  for (law in c("weibull", "exponential", "lognormal", "loglogistic")) {
    kind <- Surv(looks$lower, looks$upper, type = "interval2")
    fit <- survreg(kind ~ 1, dist = law, control = survreg.control(rel.tolerance = 1e-12))
    say(paste0(law, set), c(coef(fit), fit$scale, fit$loglik[1]))
  }
  late <- read.csv(file.path(folder, paste0("late", set, ".csv")))
  curve <- survfit(Surv(entry, exit, failed) ~ 1, data = late, start.time = late$given[1],
                   conf.type = "log-log", conf.int = 0.9)
  say(paste0("ages", set), curve$time[curve$n.event > 0])
  say(paste0("curve", set), curve$surv[curve$n.event > 0])
  inside <- curve$n.event > 0 & curve$surv > 0
  say(paste0("low", set), curve$lower[inside])
  say(paste0("high", set), curve$upper[inside])
  fit <- coxph(Surv(exit, failed) ~ x + y, data = late, ties = "efron", cluster = unit)
  say(paste0("cox", set), c(coef(fit), sqrt(diag(fit$var)), sqrt(diag(fit$naive.var))))
  say(paste0("partial", set), fit$loglik)
  alone <- coxph(Surv(exit, failed) ~ x + y, data = late, ties = "efron")
  say(paste0("drift", set), cox.zph(alone, transform = "log")$table[, "chisq"])
}
cat("{", paste(said, collapse = ","), "}", sep = "")
"""


def forty_lives(seed: int) -> Observations:
    """Forty lives looked at every one to four runs."""
    rng = np.random.default_rng(seed)
    pairs = [
        looked_at(fails, rng.uniform(6, 20), rng, last_look=False)
        for fails in (12 * rng.weibull(2.0, 40)).tolist()
    ]
    lower, upper = np.array(pairs).T
    return Observations(np.zeros(40), lower, upper, np.ones(40), tuple(f"L{n}" for n in range(40)))


def late(seed: int) -> dict[str, Any]:
    """Two hundred lives of 25 units with late entries, ties and two covariates."""
    rng = np.random.default_rng(100 + seed)
    x, y = rng.normal(size=(2, 200)).round(2)
    ages = np.ceil(12 * (rng.exponential(size=200) * np.exp(-0.5 * x)) ** 0.5) + 1
    ends = rng.integers(4, 25, 200)
    exits = np.minimum(ages, ends).astype(float)
    entries = np.where(rng.random(200) < 0.4, np.floor(exits * rng.random(200)), 0.0)
    failed = ages <= ends
    return {"entry": entries, "exit": exits, "failed": failed, "x": x, "y": y}


def seen(known: dict[str, Any]) -> Observations:
    upper = np.where(known["failed"], known["exit"], np.inf)
    labels = tuple(f"L{n}" for n in range(200))
    return Observations(known["entry"], known["exit"], upper, np.ones(200), labels)


def write(path: Path, header: str, columns: list[Any]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(header.split(","))
        out.writerows(zip(*columns, strict=True))


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[float]]:
    folder = tmp_path_factory.mktemp("r")
    for number in range(SETS):
        looks = forty_lives(number)
        # R writes left-censored lives with a missing lower end, right-censored with a missing upper
        lower = ["NA" if low == 0 else low for low in looks.lower]
        upper = ["NA" if math.isinf(high) else high for high in looks.upper]
        write(folder / f"looks{number}.csv", "lower,upper", [lower, upper])
        known = late(number)
        given = [kaplan_meier(seen(known)).given_age] * 200
        columns = [known["entry"], known["exit"], known["failed"].astype(int)]
        columns += [known["x"], known["y"], [n % 25 for n in range(200)], given]
        write(folder / f"late{number}.csv", "entry,exit,failed,x,y,unit,given", columns)
    script = folder / "script.R"
    script.write_text(_SCRIPT, encoding="utf-8")
    done = subprocess.run(
        [str(RSCRIPT), "--vanilla", str(script), str(folder)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    if "there is no package called" in done.stderr:
        pytest.skip("R is here without its survival package")
    assert done.returncode == 0, done.stderr
    found: dict[str, list[float]] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("number", range(SETS))
@pytest.mark.parametrize("law", LAWS)
def test_laws_fitted_to_looks(told: dict[str, list[float]], law: str, number: int) -> None:
    fit = StripLife(law).fit(forty_lives(number))
    mu, sigma, value = told[f"{law}{number}"]
    assert fit.mu == pytest.approx(mu, rel=1e-6)
    assert fit.sigma == pytest.approx(sigma, rel=1e-5)
    assert fit.log_likelihood == pytest.approx(value, abs=1e-7)


@pytest.mark.parametrize("number", range(SETS))
def test_product_limit_with_late_entries(told: dict[str, list[float]], number: int) -> None:
    curve = kaplan_meier(seen(late(number)))
    frame = curve.frame[curve.frame["defined"]]
    assert frame["runs"].tolist() == told[f"ages{number}"]
    assert frame["survival"].tolist() == pytest.approx(told[f"curve{number}"], abs=1e-12)
    inside = frame[frame["survival"] > 0]
    assert inside["low"].tolist() == pytest.approx(told[f"low{number}"], abs=1e-10)
    assert inside["high"].tolist() == pytest.approx(told[f"high{number}"], abs=1e-10)


def without_late_entries(number: int) -> Histories:
    known = late(number)
    known["entry"] = np.zeros(200)
    return Histories(
        seen(known),
        tuple(f"U{n % 25}" for n in range(200)),
        ("x", "y"),
        np.arange(200),
        np.zeros(200),
        known["exit"],
        np.column_stack([known["x"], known["y"]]),
    )


@pytest.mark.parametrize("number", range(SETS))
def test_cox_with_errors_by_unit(told: dict[str, list[float]], number: int) -> None:
    fit = cox(without_late_entries(number), robust=True)
    theirs = told[f"cox{number}"]
    assert list(fit.log_ratios) == pytest.approx(theirs[:2], rel=1e-6)
    assert np.sqrt(np.diag(fit.covariance)).tolist() == pytest.approx(theirs[2:4], rel=1e-6)
    assert np.sqrt(np.diag(fit.model_covariance)).tolist() == pytest.approx(theirs[4:], rel=1e-6)
    values = [fit.log_likelihood_none, fit.log_likelihood]
    assert values == pytest.approx(told[f"partial{number}"], abs=1e-8)


@pytest.mark.parametrize("number", range(SETS))
def test_drift_with_log_age(told: dict[str, list[float]], number: int) -> None:
    """R's test, since version 3 of survival, is the score test with each age's information."""
    found = cox(without_late_entries(number)).proportionality
    assert found.statistic is not None
    ours = [*(one.statistic for one in found.drifts), found.statistic]
    assert ours == pytest.approx(told[f"drift{number}"], rel=1e-6)

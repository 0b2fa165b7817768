"""Critical values of hazard ratios from simulated sets of the lives on record.

As `wearstats.life.calibration` does for a law alone: lives are simulated from the fit under the
looks on record, each set is refitted with and without the ratio held at its truth, and the
critical value is the quantile of twice the fall. It never lies below that of chi-square.

For covariates that stay as they are over each life (a lot, a height). Those that change each run
compare runs within every life; there chi-square's intervals held 90 to 92 % in simulation, where
those of a lot held 84 to 88 % (`benchmarks/ratios.py`).
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.life.calibration import MOST_FAILURES, MOST_LIVES, quantile
from wearstats.life.distributions import Jet, keeps_form
from wearstats.life.fitting import ascend
from wearstats.life.identification import LEAST_FAILURES
from wearstats.life.regression_results import HazardRegressionFit
from wearstats.life.resampling import simulate, watch_of
from wearstats.life.results import critical_value

if TYPE_CHECKING:
    from wearstats.lives.histories import Histories

SETS = 199
_FEWEST = 99
"""Sets with a maximum below which no quantile is read off."""

_STEPS = 40


def ratio_criticals(
    fit: HazardRegressionFit,
    histories: "Histories",
    level: float,
    *,
    sets: int = SETS,
    seed: int = 0,
) -> dict[str, float]:
    """Return the critical value of each hazard ratio; empty where chi-square's is to be taken.

    Parameters
    ----------
    fit : HazardRegressionFit
    histories : Histories
        What it was fitted to.
    level : float
    sets, seed : int

    Notes
    -----
    Chi-square's stays where a covariate changes within a life, where unit effects came out of the
    fit, for lognormal and loglogistic laws, for weights that are no whole numbers, from 200
    failures on, and where too few sets have a maximum. Sets that the regression would refuse are
    left out.
    """
    covariates = _fixed(fit, histories)
    if covariates is None:
        return {}
    found = fit.estimates
    slope = np.exp(found["log_shape"]) if fit.fixed_shape is None else fit.fixed_shape
    beta = np.array([found[name] for name in fit.exposures.names])
    line = (found["intercept"] + (covariates @ beta)[None, :], np.array([[slope]]))
    watch = watch_of(histories.observations)
    rng = np.random.default_rng(seed)
    lower, upper = simulate(fit.law, watch, line, sets=sets, rng=rng)
    enough = np.isfinite(upper).sum(axis=1) >= max(LEAST_FAILURES, beta.size + 2)
    some = _Sets.of(covariates, fit, watch.entry, lower[enough], upper[enough])
    start = fit.summit.theta[: 2 + beta.size]
    free = np.ones(start.size, dtype=np.bool_)
    free[1] = fit.fixed_shape is None
    top, rested = some.highest(start, free)
    least = critical_value(level)
    values = {}
    for place, name in enumerate(fit.exposures.names):
        others = free.copy()
        others[2 + place] = False
        held, down = some.highest(start, others)
        falls = np.maximum(2.0 * (top - held), 0.0)[rested & down]
        if falls.size >= _FEWEST:
            values[name] = max(quantile(falls, level)[0], least)
    return values


def _fixed(fit: HazardRegressionFit, histories: "Histories") -> FloatArray | None:
    """Return the covariates of each life that tells something, shape (n, p).

    A row of several lives alike is repeated. None where the ratios keep the plain critical value.
    """
    seen = histories.observations
    whole = bool((seen.weight == np.round(seen.weight)).all())
    few = fit.failures < MOST_FAILURES and fit.lives <= MOST_LIVES
    if not (histories.names and whole and few and keeps_form(fit.law) and fit.effects is None):
        return None
    first = np.searchsorted(histories.life, histories.life)
    if (histories.covariates != histories.covariates[first]).any():
        return None
    tells = np.flatnonzero(seen.informative)
    at = np.searchsorted(histories.life, tells)
    times = seen.weight[tells].astype(np.int64)
    rows: FloatArray = np.repeat(histories.covariates[at], times, axis=0)
    return rows


@dataclass(frozen=True, slots=True, eq=False)
class _Sets:
    """Sets of lives of one watch: log ages (b, n) in typical ages, covariates (n, p)."""

    covariates: FloatArray
    entry: FloatArray
    lower: FloatArray
    upper: FloatArray
    found: BoolArray
    exact: BoolArray

    @classmethod
    def of(
        cls,
        covariates: FloatArray,
        fit: HazardRegressionFit,
        entry: FloatArray,
        lower: FloatArray,
        upper: FloatArray,
    ) -> "_Sets":
        failed = np.isfinite(upper)
        exact = failed & (upper == lower)
        log_age = fit.exposures.log_age
        return cls(
            fit.exposures.standardised(covariates),
            log_age(np.broadcast_to(entry, lower.shape)),
            log_age(lower),
            log_age(np.where(failed, upper, lower)),
            failed & ~exact,
            exact,
        )

    def highest(self, start: FloatArray, free: BoolArray) -> tuple[FloatArray, BoolArray]:
        """Return where each set's log likelihood is highest, the rest held, and if it has a top."""
        count = len(self.lower)
        at = np.flatnonzero(free)

        def objective(part: FloatArray) -> Jet:
            theta = np.broadcast_to(start, (count, start.size)).copy()
            theta[:, at] = part
            value, gradient, hessian = self._jet(theta)
            return value, gradient[:, at], hessian[:, at[:, None], at]

        best = ascend(objective, np.broadcast_to(start[at], (count, at.size)), most_steps=_STEPS)
        return best.value, best.converged

    @np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore")
    def _jet(self, theta: FloatArray) -> Jet:
        """Log likelihoods of the sets, shape (b,), with derivatives in theta, (b, q) each."""
        slope = np.exp(theta[:, 1])[:, None]
        height = theta[:, :1] + theta[:, 2:] @ self.covariates.T
        new, low, high = (
            _Hazard.at(height, slope, age, self.covariates)
            for age in (self.entry, self.lower, self.upper)
        )
        plain = np.ones_like(height)
        added = np.where(self.found, high.amount - low.amount, 1.0)
        ratio = np.where(self.found, 1.0 / np.expm1(np.minimum(added, 700.0)), 0.0)
        value = np.sum(new.amount - low.amount - np.log1p(ratio), axis=1)
        value += np.sum(
            np.where(self.exact, height + slope * self.upper + theta[:, 1:2], 0.0), axis=1
        )
        gradient = new.first(plain) - low.first(plain + ratio) + high.first(ratio)
        hessian = new.second(plain) - low.second(plain + ratio) + high.second(ratio)
        bend = high.amount[..., None] * high.design - low.amount[..., None] * low.design
        curved = ratio * (1.0 + ratio)
        hessian -= np.einsum("bn,bnq,bnr->bqr", curved, bend, bend)
        last = np.where(self.exact, 1.0, 0.0)
        gradient += np.einsum("bn,bnq->bq", last, high.design)
        gradient[:, 1] += last.sum(axis=1)
        hessian[:, 1, 1] += np.sum(last * high.design[..., 1], axis=1)
        value = np.where(np.isfinite(value), value, -np.inf)
        return value, np.nan_to_num(gradient), np.nan_to_num(hessian)


@dataclass(frozen=True, slots=True, eq=False)
class _Hazard:
    """Cumulative hazard of each life at one age, with d log H/d theta: (b, n) and (b, n, q)."""

    amount: FloatArray
    design: FloatArray

    @classmethod
    def at(
        cls, height: FloatArray, slope: FloatArray, age: FloatArray, covariates: FloatArray
    ) -> "_Hazard":
        old = np.isfinite(age)
        step = np.where(old, slope * np.where(old, age, 0.0), 0.0)
        amount = np.where(old, np.exp(height + step), 0.0)
        shape = (*amount.shape, covariates.shape[1])
        parts = [np.ones_like(step)[..., None], step[..., None], np.broadcast_to(covariates, shape)]
        return cls(amount, np.concatenate(parts, axis=2))

    def first(self, weight: FloatArray) -> FloatArray:
        """Sum weight times the gradient of H."""
        total: FloatArray = np.einsum("bn,bnq->bq", weight * self.amount, self.design)
        return total

    def second(self, weight: FloatArray) -> FloatArray:
        """Sum weight times the Hessian of H."""
        weighted = weight * self.amount
        total: FloatArray = np.einsum("bn,bnq,bnr->bqr", weighted, self.design, self.design)
        total[:, 1, 1] += np.sum(weighted * self.design[..., 1], axis=1)
        return total

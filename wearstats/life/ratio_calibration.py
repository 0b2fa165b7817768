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
from wearstats.life.fitting import Ascent, ascend
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
    top = some.highest(start, free)
    least = critical_value(level)
    values = {}
    for place, name in enumerate(fit.exposures.names):
        others = free.copy()
        others[2 + place] = False
        # From the truth, not from where a parabola foretells: its far starts lose sets.
        held = some.highest(start, others)
        found_both = top.converged & held.converged
        falls = np.maximum(2.0 * (top.value - held.value), 0.0)[found_both]
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

    def highest(self, start: FloatArray, free: BoolArray) -> Ascent:
        """Climb to where each set's log likelihood is highest, what is not free being held.

        From one point, shape (q,), or one a set, (b, q); `converged` says which have a top.
        """
        first = np.broadcast_to(start, (len(self.lower), free.size))
        at = np.flatnonzero(free)

        def objective(part: FloatArray) -> Jet:
            theta = first.copy()
            theta[:, at] = part
            value, gradient, hessian = self._jet(theta)
            return value, gradient[:, at], hessian[:, at[:, None], at]

        return ascend(objective, first[:, at], most_steps=_STEPS)

    @np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore")
    def _jet(self, theta: FloatArray) -> Jet:
        """Log likelihoods of the sets, shape (b,), with derivatives in theta, (b, q) each.

        A life's log hazard has the gradient (1, s, x) in theta, x its covariates and s slope
        times log age: sums over lives of 1, s and s squared, some of them times x, are enough.
        """
        slope = np.exp(theta[:, 1:2])
        height = theta[:, :1] + theta[:, 2:] @ self.covariates.T
        new, low, high = (
            _Hazard.at(height, slope, age) for age in (self.entry, self.lower, self.upper)
        )
        added = np.where(self.found, high.amount - low.amount, 1.0)
        ratio = np.where(self.found, 1.0 / np.expm1(np.minimum(added, 700.0)), 0.0)
        last = self.exact.astype(np.float64)
        value = np.sum(new.amount - low.amount - np.log1p(ratio), axis=1)
        value += np.sum(last * (height + high.step + theta[:, 1:2]), axis=1)
        parts = (new, new.amount), (low, -(1.0 + ratio) * low.amount), (high, ratio * high.amount)
        plain, turned, squared = (
            sum(amount * age.step**power for age, amount in parts) for power in range(3)
        )
        curved = ratio * (1.0 + ratio)
        wider = high.amount - low.amount
        steeper = high.amount * high.step - low.amount * low.step
        first = plain + last, turned + last * high.step
        second = (
            plain - curved * wider * wider,
            turned - curved * wider * steeper,
            squared - curved * steeper * steeper,
        )
        gradient = np.hstack(
            [
                first[0].sum(axis=1, keepdims=True),
                (first[1] + last).sum(axis=1, keepdims=True),
                first[0] @ self.covariates,
            ]
        )
        value = np.where(np.isfinite(value), value, -np.inf)
        hessian = self._gathered(second, first[1].sum(axis=1))
        return value, np.nan_to_num(gradient), np.nan_to_num(hessian)

    def _gathered(
        self, second: tuple[FloatArray, FloatArray, FloatArray], by_slope: FloatArray
    ) -> FloatArray:
        """Return Hessians (b, q, q) from each life's part in (1, 1), (1, s) and (s, s)."""
        x = self.covariates
        size = 2 + x.shape[1]
        hessian = np.empty((len(by_slope), size, size))
        hessian[:, 0, 0] = second[0].sum(axis=1)
        hessian[:, 0, 1] = hessian[:, 1, 0] = second[1].sum(axis=1)
        hessian[:, 1, 1] = second[2].sum(axis=1) + by_slope
        hessian[:, 0, 2:] = hessian[:, 2:, 0] = second[0] @ x
        hessian[:, 1, 2:] = hessian[:, 2:, 1] = second[1] @ x
        both = (x[:, :, None] * x[:, None, :]).reshape(len(x), -1)
        hessian[:, 2:, 2:] = (second[0] @ both).reshape(-1, size - 2, size - 2)
        return hessian


@dataclass(frozen=True, slots=True, eq=False)
class _Hazard:
    """Cumulative hazard of each life at one age, and slope times log age: (b, n) both."""

    amount: FloatArray
    step: FloatArray

    @classmethod
    def at(cls, height: FloatArray, slope: FloatArray, age: FloatArray) -> "_Hazard":
        old = np.isfinite(age)
        step = np.where(old, slope * np.where(old, age, 0.0), 0.0)
        return cls(np.where(old, np.exp(height + step), 0.0), step)

"""The Bayesian fit: a weakly informative prior, integrals as sums over a lattice of points."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.estimates import Estimate
from wearstats.life.distributions import Law, law_named
from wearstats.life.lattice import Target, lattice
from wearstats.life.likelihood import gather
from wearstats.life.prior import Prior, PriorDict
from wearstats.life.results import (
    HELD,
    certain,
    check_runs,
    check_share,
    critical_value,
    curve_columns,
)

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives.observations import Observations

PRIOR_BOUND = "no failure: a lower bound only, with this chance by the prior and the records"
PRIOR_ONLY = "no failure: rests on the prior"
PRIOR_HEAVY = 0.7
PRIOR_LIGHT = 0.3


@dataclass(frozen=True, slots=True)
class LifePosterior:
    """A posterior as weighted points; answers are medians with equal-tailed intervals.

    Parameters
    ----------
    baseline : str
    fixed_shape : float or None
    prior : Prior
        With `median_runs` filled in.
    log_likelihood : float
        The highest among the heaviest points.
    lives, failures : float
    log_median : ndarray, shape (m,)
        Log of the median life in runs.
    log_slope : ndarray, shape (m,)
        Log of the shape, 1/sigma of log life.
    weights : ndarray, shape (m,)
        Posterior weights; they sum to 1.
    """

    baseline: str
    fixed_shape: float | None
    prior: Prior
    log_likelihood: float
    lives: float
    failures: float
    log_median: FloatArray = field(repr=False, compare=False)
    log_slope: FloatArray = field(repr=False, compare=False)
    weights: FloatArray = field(repr=False, compare=False)

    @property
    def aicc(self) -> None:
        """Not defined for a fit that rests on a prior."""
        return

    @property
    def law(self) -> Law:
        """The law fitted."""
        held = self.fixed_shape if self.baseline == "weibull" else None
        return law_named(self.baseline, held)

    def _log_life(self, z: float) -> FloatArray:
        step = z - self.law.quantile(0.5)
        life: FloatArray = self.log_median + step * np.exp(-self.log_slope)
        return life

    def _z(self, runs: float) -> FloatArray:
        slope = np.exp(self.log_slope)
        z: FloatArray = self.law.quantile(0.5) + slope * (np.log(runs) - self.log_median)
        return z

    def parameters(self, level: float = 0.9) -> dict[str, Estimate]:
        """Return shape and scale; for the lognormal law mu and sigma."""
        scale = self._log_life(0.0)
        if self.baseline == "lognormal":
            sigma = np.exp(-self.log_slope)
            return {"mu": self._life(scale, level), "sigma": self.summary(sigma, level)}
        if self.fixed_shape is not None:
            shape = Estimate(self.fixed_shape, None, None, level, note=HELD)
        else:
            shape = self.summary(np.exp(self.log_slope), level)
        return {"shape": shape, "scale": self._life(np.exp(scale), level, "runs")}

    def life_at(self, failed: float, level: float = 0.9) -> Estimate:
        """Return the runs by which this share of strips has failed."""
        z = self.law.quantile(check_share(failed))
        return self._life(np.exp(self._log_life(z)), level, "runs")

    def _life(self, values: FloatArray, level: float, unit: str = "") -> Estimate:
        """Return the summary, or where no strip failed the bound that holds at this chance."""
        if self.failures > 0:
            return self.summary(values, level, unit)
        low = self.quantiles(values, [1 - level])[0]
        return Estimate(None, float(low), None, level, unit, PRIOR_BOUND)

    def lives_at(self, failed: Sequence[float], level: float = 0.9) -> list[Estimate]:
        """Return `life_at` for several shares."""
        return [self.life_at(share, level) for share in failed]

    def survival(self, runs: float, level: float = 0.9) -> Estimate:
        """Return the chance that new strips last this many runs."""
        if check_runs(runs) == 0:
            return certain(level)
        return self.summary(np.exp(-self.law.hazard(self._z(runs))[0]), level)

    def survivals(self, runs: Sequence[float], level: float = 0.9) -> list[Estimate]:
        """Return `survival` for several ages."""
        return [self.survival(age, level) for age in runs]

    def chance(self, age: float, more: float, level: float = 0.9) -> Estimate:
        """Return the chance that strips sound at this age last `more` runs."""
        if check_runs(age) == 0 or check_runs(more) == 0:
            return self.survival(more, level)
        passed = self.law.hazard(self._z(age))[0]
        ahead = self.law.hazard(self._z(age + more))[0]
        return self.summary(np.exp(-(ahead - passed)), level)

    def curve(self, ages: Sequence[float] | FloatArray, level: float = 0.9) -> "pd.DataFrame":
        """Return runs, survival, low and high for a drawing."""
        import pandas as pd

        grid = [float(age) for age in ages]
        return pd.DataFrame(curve_columns(grid, self.survivals(grid, level)))

    def survival_matrix(self, ages: Sequence[float] | FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return survival at each age (columns) for each point (rows), and the weights.

        Parameters
        ----------
        ages : array, shape (k,), runs
            0 gives 1.

        Returns
        -------
        survival : ndarray, shape (m, k)
        weights : ndarray, shape (m,)
            Sum to 1; `weights @ survival` is the predictive survival.
        """
        grid = np.asarray([check_runs(float(age)) for age in ages])
        logs = np.log(np.where(grid > 0, grid, 1.0))
        slope = np.exp(self.log_slope)[:, None]
        z = self.law.quantile(0.5) + slope * (logs - self.log_median[:, None])
        return np.where(grid > 0, np.exp(-self.law.hazard(z)[0]), 1.0), self.weights

    def summary(self, values: FloatArray, level: float = 0.9, unit: str = "") -> Estimate:
        """Return median and equal-tailed interval of a quantity given at every point.

        Parameters
        ----------
        values : ndarray, shape (m,)
        """
        critical_value(level)
        tail = (1 - level) / 2
        low, middle, high = self.quantiles(values, [tail, 0.5, 1 - tail])
        note = "" if self.failures > 0 else PRIOR_ONLY
        return Estimate(float(middle), float(low), float(high), level, unit, note)

    def quantiles(self, values: FloatArray, shares: Sequence[float]) -> FloatArray:
        """Return posterior quantiles of a quantity given at every point, shape (m,)."""
        order = np.argsort(values, kind="stable")
        weights = self.weights[order]
        below = np.cumsum(weights) - weights / 2
        return np.interp(shares, below, values[order])

    def prior_share(self) -> dict[str, float]:
        """Return how much of the prior's spread is left, per quantity, on the log scale.

        1: the records said nothing; near 0: the prior is forgotten. Quantities: `shape`
        (where not held), `median` and `life_at_0.1`.
        """
        prior = self.prior
        step = self.law.quantile(0.1) - self.law.quantile(0.5)
        inverse_variance = 0.0
        shares = {}
        if self.fixed_shape is None:
            spread = prior.log_shape_sd**2
            inverse_variance = np.expm1(spread) * np.exp(spread) / prior.shape**2
            shares["shape"] = self._sd(self.log_slope) / prior.log_shape_sd
        life_sd = float(np.sqrt(prior.log_median_sd**2 + step**2 * inverse_variance))
        shares["median"] = self._sd(self.log_median) / prior.log_median_sd
        shares["life_at_0.1"] = self._sd(self._log_life(self.law.quantile(0.1))) / life_sd
        return shares

    def _sd(self, values: FloatArray) -> float:
        mean = self.weights @ values
        return float(np.sqrt(self.weights @ (values - mean) ** 2))

    @property
    def words(self) -> str:
        """One sentence on how much the prior does."""
        shares = self.prior_share()
        rests: dict[str, list[str]] = {"mostly": [], "partly": []}
        for name, said in (("shape", "the shape"), ("life_at_0.1", "the life at 10 % failed")):
            share = shares.get(name, 0.0)
            if share > PRIOR_LIGHT:
                rests["mostly" if share > PRIOR_HEAVY else "partly"].append(said)
        parts = [
            f"{' and '.join(said)} rest{'s' if len(said) == 1 else ''} {how} on the prior"
            for how, said in rests.items()
            if said
        ]
        if not parts:
            return "The records outweigh the prior."
        sentence = "; ".join(parts)
        return sentence[0].upper() + sentence[1:] + "."

    def prior_dict(self) -> PriorDict:
        """Return the prior, and how much of its spread is left, as plain data."""
        prior = self.prior
        middle = 1.0 if prior.median_runs is None else prior.median_runs
        return {
            "log_shape": {"mean": float(np.log(prior.shape)), "sd": prior.log_shape_sd},
            "log_median_runs": {"mean": float(np.log(middle)), "sd": prior.log_median_sd},
            "spread_left": self.prior_share(),
            "words": self.words,
        }


def posterior(
    observations: "Observations",
    baseline: str = "weibull",
    prior: Prior | None = None,
    shape: float | None = None,
) -> LifePosterior:
    """Fit by Bayes' rule on a deterministic grid.

    Parameters
    ----------
    observations : Observations
    baseline : str
    prior : Prior or None
        None takes `Prior()`.
    shape : float or None
        Hold the Weibull shape at this value.

    Raises
    ------
    TooFewError
        No informative life: the answer would be the prior and nothing else.
    NotConvergedError
        The grid could not be laid around the mass.

    Examples
    --------
    Three units, no failure yet: a bound that leans on the prior, and says so.

    >>> from wearstats.lives.observations import Observations
    >>> sound = Observations(np.zeros(3), np.array([4.0, 6, 9]), np.full(3, np.inf), np.ones(3),
    ...                      ("K1 build 1", "K2 build 1", "K3 build 1"))
    >>> posterior(sound).words
    'The shape and the life at 10 % failed rest mostly on the prior.'
    """
    law = law_named(baseline, shape)
    sample = gather(observations)
    believed = Prior() if prior is None else prior
    if believed.median_runs is None:
        believed = Prior(
            believed.shape, believed.log_shape_sd, sample.typical_age, believed.log_median_sd
        )
    target = Target(law, sample, believed)
    log_median, log_slope, weights = lattice(target)
    heavy = np.argsort(weights)[-200:]
    heights = target.log_likelihood(log_median[heavy], log_slope[heavy])
    return LifePosterior(
        baseline=baseline,
        fixed_shape=law.fixed_slope,
        prior=believed,
        log_likelihood=float(heights.max()),
        lives=sample.lives,
        failures=sample.failures,
        log_median=log_median + np.log(sample.typical_age),
        log_slope=log_slope,
        weights=weights,
    )

"""The multiplier of all leakage: what boost says of it, what was believed, and both together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.estimates import Estimate

PRIOR_LOG_SD = 0.35
"""Of the multiplier about 1: discharge 15 %, share of the turn 25 %, end length and bending."""
DRIFT_SD = 3e-4
"""Of what else fades for each run on the strips (belt, engine, fuel), as a log ratio about 0."""

_GRID = 4001
_REACH = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Multiplier:
    """Posterior of the multiplier on a grid.

    Parameters
    ----------
    values, chances : ndarray
        Multiplier and probability of each grid cell.
    prior_middle, prior_log_sd : float
    """

    values: FloatArray
    chances: FloatArray
    prior_middle: float
    prior_log_sd: float

    @staticmethod
    def of(
        found: Sequence[tuple[float, float, float]],
        before: tuple[float, float],
        middle: float = 1.0,
        log_sd: float = PRIOR_LOG_SD,
    ) -> "Multiplier":
        """Take a regression's normal prior off its answer and put a lognormal one on.

        Parameters
        ----------
        found : sequence of (chance, mean, sd)
            The regression's posterior: a mixture of normals, one for each variance it tried.
        before : (float, float)
            Mean and standard deviation of the normal prior it used.
        middle, log_sd : float
            Prior to put on: ln multiplier normal about ln middle.
        """
        steps = np.linspace(-_REACH, _REACH, _GRID) * log_sd
        values = middle * np.exp(steps)
        parts = [
            np.log(chance) - np.log(sd) - 0.5 * ((values - mean) / sd) ** 2
            for chance, mean, sd in found
            if chance > 0.0
        ]
        posterior = np.logaddexp.reduce(np.stack(parts), axis=0)
        off = 0.5 * ((values - before[0]) / before[1]) ** 2
        # The grid is even in the logarithm, so the lognormal prior is a normal one on it.
        log_chance = posterior + off - 0.5 * (steps / log_sd) ** 2
        chance = np.exp(log_chance - log_chance.max())
        return Multiplier(values, chance / chance.sum(), middle, log_sd)

    @property
    def log_sd(self) -> float:
        """Standard deviation of the logarithm."""
        logs = np.log(self.values)
        mean = float(self.chances @ logs)
        return float(np.sqrt(self.chances @ (logs - mean) ** 2))

    @property
    def width_over_prior(self) -> float:
        """How far boost narrowed what was believed: 1 where it said nothing."""
        return self.log_sd / self.prior_log_sd

    def quantiles(self, shares: FloatArray) -> FloatArray:
        """Return the multipliers at given shares of the posterior."""
        cumulated = np.cumsum(self.chances) - 0.5 * self.chances
        return np.asarray(np.interp(shares, cumulated, self.values))

    def before(self, level: float) -> Estimate:
        """Return what was believed before any boost was seen.

        Parameters
        ----------
        level : float
        """
        from scipy.special import ndtri

        reach = float(np.exp(self.prior_log_sd * ndtri(0.5 + level / 2.0)))
        middle = self.prior_middle
        return Estimate(middle, middle / reach, middle * reach, level)

    def draws(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Draw evenly over the posterior, in random order."""
        shares = (np.arange(count) + 0.5) / count
        return np.asarray(rng.permutation(self.quantiles(shares)))

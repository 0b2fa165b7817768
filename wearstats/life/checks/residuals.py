"""Cox-Snell residuals: lives on the scale on which, if the law is right, they are unit exponential.

A life's residual is the cumulative hazard it was spent by. What is known of a life to intervals is
known of its residual to intervals; `CoxSnell.curve` lays the curve without a model over them, to be
held against exp(-r). The adjusted residual is what the residual comes to on average, given what was
seen (Cox & Snell 1968, JRSS B 30:248-275; Farrington 2000, Biometrics 56:473-482, for intervals;
from memory). Their mean is 1 at the maximum of a Weibull likelihood, whatever the lives.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.errors import TooFewError
from wearstats.life.results import StripLifeFit
from wearstats.life.seen import seen_curve

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.arrays import FloatArray
    from wearstats.life.nonparametric import SurvivalCurve
    from wearstats.life.turnbull import IntervalCurve
    from wearstats.lives.observations import Observations


@dataclass(frozen=True, slots=True, eq=False)
class CoxSnell:
    """Residuals of the informative lives.

    Parameters
    ----------
    known : Observations
        Lives on the scale of cumulative hazard.
    adjusted : ndarray, shape (n,)
        Mean residual past entry given what was seen of the life.
    """

    known: "Observations"
    adjusted: "FloatArray"

    @property
    def mean(self) -> float:
        """Mean adjusted residual; 1 for a Weibull law."""
        return float(np.average(self.adjusted, weights=self.known.weight))

    def curve(self, level: float = 0.9) -> "SurvivalCurve | IntervalCurve":
        """Return the curve without a model of the residuals, to be held against exp(-r)."""
        return seen_curve(self.known, level)

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns life, entry, lower, upper (cumulative hazard), adjusted, weight."""
        import pandas as pd

        known = self.known
        return pd.DataFrame(
            {
                "life": known.labels,
                "entry": known.entry,
                "lower": known.lower,
                "upper": known.upper,
                "adjusted": self.adjusted,
                "weight": known.weight,
            }
        )


def cox_snell(fit: StripLifeFit, observations: "Observations") -> CoxSnell:
    """Return the residuals of lives under a fitted law.

    Raises
    ------
    TooFewError
        The fit has no estimate, because nothing failed.
    """
    if fit.mu is None:
        message = "residuals take an estimate, and nothing failed"
        raise TooFewError(message, have=0, need=1)
    tells = np.flatnonzero(observations.informative)
    mu, sigma = fit.mu, fit.sigma

    def spent(ages: "FloatArray") -> "FloatArray":
        some = (ages > 0) & np.isfinite(ages)
        z = (np.log(np.where(some, ages, 1.0)) - mu) / sigma
        return np.where(some, fit.law.hazard(z)[0], np.where(ages > 0, np.inf, 0.0))

    known = type(observations)(
        spent(observations.entry[tells]),
        spent(observations.lower[tells]),
        spent(observations.upper[tells]),
        observations.weight[tells],
        tuple(observations.labels[place] for place in tells),
    )
    return CoxSnell(known, _mean_given(known.lower, known.upper) - known.entry)


def _mean_given(lower: "FloatArray", upper: "FloatArray") -> "FloatArray":
    """Return the mean of a unit exponential known to lie in (lower, upper]."""
    wide = np.where(np.isfinite(upper), upper - lower, 1.0)
    # 1 - w/(exp(w) - 1), by its series where w is small.
    small = wide < 1e-4  # noqa: PLR2004 - the next term is of the order of w to the fourth
    ratio = np.where(small, 1 - wide / 2 + wide**2 / 12, 0.0)
    held = np.where(small, 1.0, np.minimum(wide, 700.0))
    ratio = np.where(small, ratio, held / np.expm1(held))
    return lower + np.where(np.isfinite(upper), 1 - ratio, 1.0)

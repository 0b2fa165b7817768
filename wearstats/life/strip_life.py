"""`StripLife`: which law of life to fit, and the fitting of it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.errors import NotIdentifiedError, TooFewError
from wearstats.life.distributions import law_named
from wearstats.life.existence import Limit, finite_maximum
from wearstats.life.fitting import Ascent
from wearstats.life.likelihood import Sample, gather
from wearstats.life.results import StripLifeFit

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations

_WAYS_OUT = (
    "hold the shape (2 is usual for wear) for a bound or an estimate, "
    "or take the Bayesian fit, which rests on its prior"
)


@dataclass(frozen=True, slots=True)
class StripLife:
    """A law of strip life.

    Parameters
    ----------
    baseline : str
        weibull, exponential, lognormal or loglogistic.
    shape : float or None
        Hold the Weibull shape at this value: for one failure, or none.

    Examples
    --------
    Complete lives of 23 ball bearings are in the tests; here five strips:

    >>> import numpy as np
    >>> from wearstats.lives.observations import Observations
    >>> looks = Observations(np.zeros(5), np.array([3.0, 5, 6, 8, 9]),
    ...                      np.array([4.0, 7, np.inf, 10, np.inf]), np.ones(5), tuple("abcde"))
    >>> round(StripLife().fit(looks).life_at(0.1).estimate, 2)
    4.05
    """

    baseline: str = "weibull"
    shape: float | None = None

    def __post_init__(self) -> None:
        """Refuse a law that does not exist."""
        law_named(self.baseline, self.shape)

    def fit(self, observations: "Observations") -> StripLifeFit:
        """Fit by maximum likelihood.

        Parameters
        ----------
        observations : Observations

        Returns
        -------
        StripLifeFit

        Raises
        ------
        TooFewError
            No informative life; or no failure and no held shape.
        NotIdentifiedError
            The likelihood has no finite maximum; `direction` says where it rises.
        NotConvergedError
            A maximum exists and was not found.
        """
        law = law_named(self.baseline, self.shape)
        sample = gather(observations)
        if sample.failures == 0:
            return self._bound(sample)
        outcome, edges = finite_maximum(law, observations, sample)
        if isinstance(outcome, Limit):
            message = (
                f"{sample.lives:g} lives with {sample.failures:g} failures do not settle a "
                f"{law.name} law: {outcome.direction}"
            )
            raise NotIdentifiedError(message, direction=outcome.direction, hint=_WAYS_OUT)
        return self._result(sample, outcome, edges)

    def _bound(self, sample: Sample) -> StripLifeFit:
        slope = law_named(self.baseline, self.shape).fixed_slope
        if slope is None:
            who = "the one life has not" if sample.lives == 1 else f"none of {sample.lives:g} lives"
            message = f"{who} ended in failure: a shape cannot be fitted"
            raise TooFewError(message, have=0, need=1, hint=_WAYS_OUT)
        return StripLifeFit(
            baseline=self.baseline,
            fixed_shape=slope,
            mu=None,
            sigma=1.0 / slope,
            covariance=(),
            log_likelihood=0.0,
            aicc=None,
            lives=sample.lives,
            failures=0.0,
            edges=(-np.inf, -np.inf),
            sample=sample,
        )

    def _result(self, sample: Sample, best: Ascent, edges: tuple[float, float]) -> StripLifeFit:
        fixed = law_named(self.baseline, self.shape).fixed_slope
        intercept, log_slope = float(best.theta[0]), float(best.theta[1])
        sigma = float(np.exp(-log_slope)) if fixed is None else 1.0 / fixed
        turn = np.array([[-sigma, intercept * sigma], [0.0, -1.0]])
        free = best.hessian.shape[-1]
        turn = turn[:free, :free]
        covariance = turn @ np.linalg.inv(-best.hessian) @ turn.T
        return StripLifeFit(
            baseline=self.baseline,
            fixed_shape=fixed,
            mu=float(np.log(sample.typical_age) - intercept * sigma),
            sigma=sigma,
            covariance=tuple(tuple(float(cell) for cell in row) for row in covariance),
            log_likelihood=float(best.value),
            aicc=aicc(float(best.value), free, sample.lives),
            lives=sample.lives,
            failures=sample.failures,
            edges=edges,
            sample=sample,
        )


def aicc(log_likelihood: float, parameters: int, lives: float) -> float | None:
    """Return Akaike's criterion corrected for small samples, or None where it is not defined.

    Source: Hurvich & Tsai 1989, Biometrika 76:297-307 (from memory); `lives` is the number
    of informative lives.
    """
    room = lives - parameters - 1
    if room <= 0:
        return None
    return -2 * log_likelihood + 2 * parameters + 2 * parameters * (parameters + 1) / room

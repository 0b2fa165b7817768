"""How far answers that rest on a prior move when the prior does."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

from wearstats.estimates import Estimate, EstimateDict
from wearstats.life.posterior import LifePosterior, posterior
from wearstats.life.prior import Prior

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations

WIDTHS = (0.5, 1.0, 2.0)
"""Times the prior's standard deviations of log shape and log median life."""


class UnderPriorDict(TypedDict):
    """The stable JSON form of answers under one prior."""

    width: float
    life_at: EstimateDict
    chance: EstimateDict


class PriorSensitivityDict(TypedDict):
    """The stable JSON form of answers under several priors."""

    failed: float
    age: float
    more: float
    under: list[UnderPriorDict]
    words: str


@dataclass(frozen=True, slots=True)
class UnderPrior:
    """The answers under one prior.

    Parameters
    ----------
    width : float
        Times the width of the prior as given.
    life_at : Estimate, runs
    chance : Estimate
    """

    width: float
    life_at: Estimate
    chance: Estimate

    def as_dict(self) -> UnderPriorDict:
        """Return the answers as plain data."""
        life, chance = self.life_at.as_dict(), self.chance.as_dict()
        return {"width": self.width, "life_at": life, "chance": chance}


@dataclass(frozen=True, slots=True)
class PriorSensitivity:
    """Answers under half, once and twice the prior's width.

    Parameters
    ----------
    failed : float
        The share of `life_at`.
    age, more : float, runs
        Of `chance`.
    under : tuple of UnderPrior
        By width.
    """

    failed: float
    age: float
    more: float
    under: tuple[UnderPrior, ...]

    @property
    def words(self) -> str:
        """One sentence."""
        lives, bound = _said([each.life_at for each in self.under])
        chances, _ = _said([each.chance for each in self.under])
        least = "least " if bound else ""
        life = f"the {least}life" if bound else "life"
        return (
            f"Under half to twice the prior's width, {life} at {100 * self.failed:g} % failed goes "
            f"from {min(lives):.3g} to {max(lives):.3g} runs, the {least}chance of {self.more:g} "
            f"more runs at age {self.age:g} from {100 * min(chances):.0f} % to "
            f"{100 * max(chances):.0f} %."
        )

    def as_dict(self) -> PriorSensitivityDict:
        """Return the answers as plain data."""
        return {
            "failed": self.failed,
            "age": self.age,
            "more": self.more,
            "under": [each.as_dict() for each in self.under],
            "words": self.words,
        }


def _said(answers: list[Estimate]) -> tuple[list[float], bool]:
    """Return the estimates; their lower ends, and True, where there are bounds only."""
    ends = [each.low if each.estimate is None else each.estimate for each in answers]
    bound = any(each.estimate is None for each in answers)
    return [end for end in ends if end is not None], bound


def prior_sensitivity(
    observations: "Observations",
    baseline: str = "weibull",
    prior: Prior | None = None,
    *,
    shape: float | None = None,
    failed: float = 0.1,
    age: float = 0.0,
    more: float = 4.0,
    level: float = 0.9,
) -> PriorSensitivity:
    """Fit by Bayes' rule under half, once and twice the prior's width.

    Parameters
    ----------
    observations : Observations
    baseline : str
    prior : Prior or None
        None takes `Prior()`; its middle stays, both standard deviations are scaled.
    shape : float or None
        Hold the Weibull shape.
    failed : float
        Share failed at which to state the age.
    age, more : float, runs
        The chance that strips sound at `age` last `more` runs.
    level : float

    Raises
    ------
    TooFewError
        No informative life.

    Examples
    --------
    >>> import numpy as np
    >>> from wearstats.lives.observations import Observations
    >>> sound = Observations(np.zeros(3), np.array([4.0, 6, 9]), np.full(3, np.inf), np.ones(3),
    ...                      ("K1 build 1", "K2 build 1", "K3 build 1"))
    >>> moved = prior_sensitivity(sound)
    >>> [round(each.width, 1) for each in moved.under]
    [0.5, 1.0, 2.0]
    """
    believed = Prior() if prior is None else prior

    def under(width: float) -> UnderPrior:
        fit: LifePosterior = posterior(observations, baseline, _scaled(believed, width), shape)
        return UnderPrior(width, fit.life_at(failed, level), fit.chance(age, more, level))

    return PriorSensitivity(failed, age, more, tuple(under(width) for width in WIDTHS))


def _scaled(prior: Prior, width: float) -> Prior:
    return Prior(
        prior.shape, prior.log_shape_sd * width, prior.median_runs, prior.log_median_sd * width
    )

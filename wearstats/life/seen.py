"""The curve without a model that the lives allow."""

from typing import TYPE_CHECKING

from wearstats.life import risk_sets
from wearstats.life.nonparametric import SurvivalCurve, kaplan_meier
from wearstats.life.turnbull import IntervalCurve, npmle

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations


def seen_curve(
    observations: "Observations", level: float = 0.9, *, given_age: float | None = None
) -> SurvivalCurve | IntervalCurve:
    """Return the product-limit curve where there is one, else the curve for intervals.

    Raises
    ------
    TooFewError, ObservationError, NotConvergedError
        As `kaplan_meier` and `npmle`.
    """
    tells = observations.informative
    entry, lower = observations.entry[tells], observations.lower[tells]
    if risk_sets.straddled(entry, lower, observations.upper[tells]) is None:
        return kaplan_meier(observations, level, given_age=given_age)
    return npmle(observations, level, given_age=given_age)

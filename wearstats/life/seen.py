"""The curve without a model that the lives allow."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.life import risk_sets
from wearstats.life.nonparametric import SurvivalCurve, kaplan_meier
from wearstats.life.turnbull import IntervalCurve, npmle

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations

MOST_INTERVALS = 24
"""Falls of a curve for intervals whose own interval is found; it takes a while each."""


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Share of strips still good after `runs` runs, 0 to 1.

    Parameters
    ----------
    since : float or None, runs
        The curve comes down to this share somewhere after `since` and not later than `runs`;
        None where it does at `runs`, or has a value all along.
    """

    runs: float
    share: float
    low: float | None
    high: float | None
    since: float | None = None


def falls_of(seen: SurvivalCurve | IntervalCurve) -> tuple[CurvePoint, ...]:
    """Return the points to which a curve without a model falls."""
    if isinstance(seen, SurvivalCurve):
        return _steps(seen)
    places = np.flatnonzero(seen.defined)
    few = min(places.size, MOST_INTERVALS)
    told = set(np.linspace(0, places.size - 1, few).astype(int).tolist())
    falls = []
    for number, place in enumerate(places):
        lower, upper = float(seen.lower[place]), float(seen.upper[place])
        chance = seen.at(upper) if number in told else None
        low, high = (None, None) if chance is None else (chance.low, chance.high)
        since = lower if lower < upper else None
        falls.append(CurvePoint(upper, float(seen.after[place]), low, high, since))
    return tuple(falls)


def _steps(seen: SurvivalCurve) -> tuple[CurvePoint, ...]:
    there = seen.defined & np.isfinite(seen.survival)
    rows = np.column_stack([seen.age, seen.survival, seen.low, seen.high])[there].tolist()
    return tuple(
        CurvePoint(runs, share, *(end if math.isfinite(end) else None for end in ends))
        for runs, share, *ends in rows
    )


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

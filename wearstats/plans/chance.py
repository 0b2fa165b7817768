"""Chances of one unit, given its age and when somebody last saw sound strips.

With survival S, age a, last sound look at age b and N runs ahead:

    sound now                       S(a) / S(b)
    last N more, as known           S(a + N) / S(b)
    last N more, if found sound     S(a + N) / S(a)
    last N, if new strips go on     S(N)

A look that finds strips sound also says something about the curve itself: the third chance
weighs each draw anew by how likely it made that outcome, so that the second is exactly the
product of the first and the third.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError
from wearstats.estimates import Estimate
from wearstats.plans.draws import SurvivalDraws, estimate_over, sound

MEAN_NOTE = "mean over the draws: the chance to bet on"
"""What the middle number of a chance is."""


@dataclass(frozen=True, slots=True, eq=False)
class RunsAhead:
    """What the draws say of the runs ahead of strips that are sound now.

    Attributes
    ----------
    lasting : ndarray, shape (n,)
        Chance of lasting them.
    starting : ndarray, shape (n, runs)
        Chance that each of the whole runs starts on sound strips.
    weights : ndarray, shape (n,)
        Each draw by how likely it made it that they are sound now.
    """

    lasting: FloatArray
    starting: FloatArray
    weights: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Chances:
    """Three chances of one unit, and what new strips would do; see the module.

    Attributes
    ----------
    sound_now, ahead, ahead_if_sound, ahead_if_new : Estimate
        Mean over the draws with the equal-tailed interval of the draws.
    by_draw : RunsAhead
        The runs ahead under each draw, if the strips are sound now.
    """

    sound_now: Estimate
    ahead: Estimate
    ahead_if_sound: Estimate
    ahead_if_new: Estimate
    by_draw: RunsAhead = field(repr=False)

    @property
    def starting_sound(self) -> FloatArray:
        """Chance that each of the runs ahead starts on sound strips, if they are sound now."""
        return np.asarray(self.by_draw.weights @ self.by_draw.starting)


def chances(
    draws: SurvivalDraws, *, age: float, last_look: float, runs_ahead: float, level: float
) -> Chances:
    """Return the chances.

    Parameters
    ----------
    draws : SurvivalDraws
    age, last_look : float
        Load-weighted runs since the restrip; `last_look` is not after `age`.
    runs_ahead : float
        Full runs.
    level : float
        Nominal coverage of the intervals.

    Raises
    ------
    PlanError
        Ages that make no sense, or no draw under which these strips could have come this far.
    """
    if not (0 <= last_look <= age and math.isfinite(age)):
        message = f"the last look, at {last_look} runs, does not lie between 0 and the age, {age}"
        raise PlanError(message)
    starts = age + np.arange(math.ceil(runs_ahead))
    sounding = sound(draws, np.array([last_look, age + runs_ahead, runs_ahead, *starts]))
    at_look, now, then = (sounding.at(each) for each in (last_look, age, age + runs_ahead))
    seen = at_look > 0
    weights = _reweighed(sounding.weights * seen, f"sound strips at {last_look:g} runs")
    sound_now = _share(now, at_look)
    if_sound = _reweighed(weights * sound_now, f"sound strips at {age:g} runs")
    ahead = RunsAhead(
        lasting=_share(then, now),
        starting=np.column_stack([_share(sounding.at(start), now) for start in starts]),
        weights=if_sound,
    )
    return Chances(
        estimate_over(sound_now, weights, level, note=MEAN_NOTE),
        estimate_over(_share(then, at_look), weights, level, note=MEAN_NOTE),
        estimate_over(ahead.lasting, if_sound, level, note=MEAN_NOTE),
        estimate_over(sounding.at(runs_ahead), sounding.weights, level, note=MEAN_NOTE),
        ahead,
    )


def _share(later: FloatArray, earlier: FloatArray) -> FloatArray:
    return np.divide(later, earlier, out=np.zeros_like(later), where=earlier > 0)


def _reweighed(weights: FloatArray, what: str) -> FloatArray:
    total = float(weights.sum())
    if not total > 0:
        message = f"the fitted life rules out {what}: the fit and this unit's records disagree"
        raise PlanError(message)
    return weights / total

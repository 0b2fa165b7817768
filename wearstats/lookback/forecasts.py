"""What would have been said of each unit on the morning of a meet, by the model and without it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import FitError, ObservationError
from wearstats.estimates import Estimate
from wearstats.life import IntervalCurve, SurvivalCurve, seen_curve
from wearstats.lives import Observations, StripLives
from wearstats.lookback.calibration import CountForecast, count_forecast
from wearstats.lookback.strips import LivesByRun, Start, outcome_of
from wearstats.plans.draws import estimate_over, sound
from wearstats.plans.in_use import InUse


@dataclass(frozen=True, slots=True)
class Rule:
    """The shop's own rule: restrip after so many runs.

    Attributes
    ----------
    runs : float or None
        None: the records told of no planned restrip yet.
    planned : int
        Planned restrips it is the median of; 0 where it was given.
    """

    runs: float | None
    planned: int = 0


def rule_of(lives: StripLives, given: float | None) -> Rule:
    """Return the rule: as given, else the median age at planned restrips in these lives."""
    if given is not None:
        return Rule(given)
    frame = lives.usable
    ages = frame.loc[frame["ending"] == "planned", "age"].to_numpy(dtype=np.float64)
    return Rule(float(np.median(ages)), ages.size) if ages.size else Rule(None)


def model_chances(
    in_use: InUse, starts: list[Start], level: float
) -> tuple[tuple[Estimate, ...], CountForecast]:
    """Return each unit's chance of burned strips by the meet's end, and the meet's number.

    The chance is 1 - S(age + load) / S(last look), over the draws of the unit's strips.
    """
    columns = []
    for start in starts:
        sounding = sound(
            in_use.of_strips(start.unit, start.build), np.array([start.last_look, start.end])
        )
        looked, ending = sounding.at(start.last_look), sounding.at(start.end)
        columns.append(np.divide(ending, looked, out=np.zeros_like(ending), where=looked > 0))
    lasting, weights = np.column_stack(columns), sounding.weights
    each = tuple(_other_way(estimate_over(column, weights, level)) for column in lasting.T)
    return each, count_forecast(1.0 - lasting, weights, level)


def _other_way(lasting: Estimate) -> Estimate:
    """Turn the chance of lasting, as a plan says it, into that of burning."""
    burned, high, low = (
        1.0 - (each or 0.0) for each in (lasting.estimate, lasting.low, lasting.high)
    )
    return Estimate(burned, low, high, lasting.level)


def rule_chances(
    starts: list[Start], rule: Rule, earlier: Sequence[Start], known: LivesByRun
) -> list[float | None]:
    """Return what the shop's rule says, put as a chance it has earned.

    The rule trusts strips that end the meet with no more runs than it allows and no others. Its
    chance is the share that burned through among earlier meets' strips on the same side of it,
    as known that morning, with half a case of either outcome added.
    """
    if rule.runs is None:
        return [None] * len(starts)
    sides: dict[bool, list[bool]] = {False: [], True: []}
    for start in earlier:
        outcome = outcome_of(start, known).burned
        if outcome is not None:
            sides[start.end > rule.runs].append(outcome)
    return [
        (sum(sides[start.end > rule.runs]) + 0.5) / (len(sides[start.end > rule.runs]) + 1.0)
        for start in starts
    ]


def curve_chances(starts: list[Start], observations: Observations) -> list[float | None]:
    """Return what the fleet's curve without a model says; None where it says nothing.

    Between two looks the curve is drawn straight; past its end it stays level. It is kept half a
    life away from chances of 0 and 1, which no number of lives can earn.
    """
    try:
        curve = seen_curve(observations)
    except (FitError, ObservationError):
        return [None] * len(starts)
    edge = 0.5 / (curve.lives + 1.0)
    looked = _read(curve, np.array([start.last_look for start in starts]))
    ending = _read(curve, np.array([start.end for start in starts]))
    return [
        float(np.clip(1.0 - end / look, edge, 1.0 - edge)) if look > 0 else None
        for look, end in zip(looked, ending, strict=True)
    ]


def _read(curve: SurvivalCurve | IntervalCurve, ages: FloatArray) -> FloatArray:
    used = curve.defined
    if isinstance(curve, IntervalCurve):
        at = np.column_stack([curve.lower[used], curve.upper[used]]).ravel()
        values = np.column_stack([curve.before[used], curve.after[used]]).ravel()
        # Where it falls at one age, the value after the fall counts at that age.
        return np.asarray(np.interp(ages, at, values, left=1.0)) if at.size else np.ones(ages.size)
    values = np.concatenate([[1.0], curve.survival[used]])
    return np.asarray(values[np.searchsorted(curve.age[used], ages, side="right")])

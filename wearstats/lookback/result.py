"""How past forecasts came out: plain numbers, and the sentences that say what they tell."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wearstats.estimates import Estimate
from wearstats.lookback.boost_scores import BoostLookback
from wearstats.lookback.calibration import CalibrationRow
from wearstats.lookback.rolling import Forecast, MeetForecast
from wearstats.lookback.savings import Savings
from wearstats.lookback.strips import Outcome
from wearstats.shown import Column, Readable, Summary, counted, intervals

LEAST_BURNED = 5
"""Known burn-throughs below which nothing is told."""


@dataclass(frozen=True, slots=True)
class Scored:
    """A forecast and what came of it.

    Attributes
    ----------
    forecast : Forecast
    outcome : Outcome
    share : float
        1 burned, 0 sound; between where not known: the chance of it by today's records.
    """

    forecast: Forecast
    outcome: Outcome
    share: float

    @property
    def known(self) -> bool:
        """Whether the outcome is known."""
        return self.outcome.burned is not None


@dataclass(frozen=True, slots=True)
class MeetScore:
    """One meet: what was said of it, and what came.

    Attributes
    ----------
    said : MeetForecast
    burned, not_known : int
        Known burn-throughs among its forecasts; outcomes not known.
    held : bool or None
        The number that burned through lies in the interval said; None: cannot be told.
    """

    said: MeetForecast
    burned: int
    not_known: int
    held: bool | None

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        said = self.said
        return {
            "meet": said.meet.name,
            "first_day": f"{said.meet.first:%Y-%m-%d}",
            "last_day": f"{said.meet.last:%Y-%m-%d}",
            "lives": said.lives,
            "failures": said.failures,
            "forecasts": len(said.forecasts),
            "expected": None if said.count is None else said.count.count.as_dict(),
            "chance_inside": None if said.count is None else said.count.inside,
            "burned": self.burned,
            "not_known": self.not_known,
            "held": self.held,
            "rule_runs": said.rule.runs,
            "plan_runs": {
                unit: runs if np.isfinite(runs) else None for unit, runs in said.plan_runs.items()
            },
            "without": [{"unit": each.unit, "why": each.why} for each in said.without],
        }


@dataclass(frozen=True, slots=True)
class Comparison:
    """The forecasts beside another way to say the same, on the forecasts that both made.

    Attributes
    ----------
    other : str
        "rule" or "curve".
    forecasts : int
    brier, log_score : Estimate
        Of the other; smaller is better.
    own_brier, own_log_score : float
        Of the forecasts, on the same cases.
    brier_gain, log_gain : Estimate
        The other's less ours; above 0: ours are better.
    """

    other: str
    forecasts: int
    brier: Estimate
    log_score: Estimate
    own_brier: float
    own_log_score: float
    brier_gain: Estimate
    log_gain: Estimate

    @property
    def told(self) -> str:
        """`better`, `worse` or `cannot be told`: ours against the other, by the Brier score."""
        return told_by(self.brier_gain)

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "other": self.other,
            "told": self.told,
            "forecasts": self.forecasts,
            "brier": self.brier.as_dict(),
            "log_score": self.log_score.as_dict(),
            "own_brier": self.own_brier,
            "own_log_score": self.own_log_score,
            "brier_gain": self.brier_gain.as_dict(),
            "log_gain": self.log_gain.as_dict(),
        }


def told_by(gain: Estimate) -> str:
    """Return what an interval of a gain tells."""
    if gain.low is not None and gain.low > 0:
        return "better"
    if gain.high is not None and gain.high < 0:
        return "worse"
    return "cannot be told"


@dataclass(frozen=True, slots=True)
class Scores:
    """The scores of the forecasts themselves.

    Attributes
    ----------
    brier, log_score : Estimate
        Outcomes not known shared out by today's records.
    brier_bounds : (float, float)
        Whatever the outcomes not known were.
    brier_reweighed : float or None
        Known outcomes only, weighed up for the others (inverse chance of being watched).
    """

    brier: Estimate
    log_score: Estimate
    brier_bounds: tuple[float, float]
    brier_reweighed: float | None

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "brier": self.brier.as_dict(),
            "log_score": self.log_score.as_dict(),
            "brier_least": self.brier_bounds[0],
            "brier_most": self.brier_bounds[1],
            "brier_reweighed": self.brier_reweighed,
        }


@dataclass(frozen=True, slots=True)
class Total:
    """All burn-throughs expected and found.

    Attributes
    ----------
    expected : Estimate
        With the interval in which the number should lie if the chances were right.
    burned, not_known : int
    shared : float
        Burn-throughs, the outcomes not known shared out.
    """

    expected: Estimate
    burned: int
    not_known: int
    shared: float

    @property
    def told(self) -> str:
        """`as said`, `more than said`, `fewer than said` or `cannot be told`."""
        low, high = self.expected.low, self.expected.high
        if low is None or high is None:
            return "cannot be told"
        if low <= self.burned and self.burned + self.not_known <= high:
            return "as said"
        if self.burned > high:
            return "more than said"
        if self.burned + self.not_known < low:
            return "fewer than said"
        return "as said" if low <= self.shared <= high else "cannot be told"


@dataclass(frozen=True, slots=True, repr=False)
class Lookback(Readable):
    """How past forecasts came out.

    Attributes
    ----------
    meets : tuple of MeetScore
    scored : tuple of Scored
    total : Total or None
        None where nothing was forecast.
    calibration : tuple of CalibrationRow
        Of forecasts made with three burn-throughs on record, or more.
    by_prior : int
        The other forecasts: the prior had most of the say.
    scores : Scores or None
    comparisons : tuple of Comparison
    savings : Savings or None
    no_savings : str
        Why there is none, or empty.
    rule_given : bool
    level : float
    simulated : bool
    boost : BoostLookback or None
        None unless asked for.
    """

    meets: tuple[MeetScore, ...]
    scored: tuple[Scored, ...]
    total: Total | None
    calibration: tuple[CalibrationRow, ...]
    by_prior: int
    scores: Scores | None
    comparisons: tuple[Comparison, ...]
    savings: Savings | None
    no_savings: str
    rule_given: bool
    level: float
    simulated: bool
    boost: BoostLookback | None = None

    @property
    def tells(self) -> bool:
        """Whether there are burn-throughs enough to say anything."""
        return self.total is not None and self.total.burned >= LEAST_BURNED

    def not_known(self) -> dict[str, int]:
        """Return how many outcomes are not known, by reason."""
        found: dict[str, int] = {}
        for each in self.scored:
            if not each.known:
                found[each.outcome.why] = found.get(each.outcome.why, 0) + 1
        return found

    def without(self) -> dict[str, int]:
        """Return how many units at meets had no forecast, by reason."""
        found: dict[str, int] = {}
        for meet in self.meets:
            for each in meet.said.without:
                found[each.why] = found.get(each.why, 0) + 1
        return found

    def comparison(self, other: str) -> Comparison | None:
        """Return the comparison with "rule" or "curve", None where there is none."""
        return next((each for each in self.comparisons if each.other == other), None)

    def summary(self) -> Summary:
        """Return the verdict, and meet by meet what was said and what came."""
        from wearstats.lookback.words import savings_sentence, verdict

        unknown = sum(self.not_known().values())
        return Summary(
            title=f"{'SIMULATED. ' * self.simulated}How past forecasts came out",
            basis=(
                f"{verdict(self)} {counted(len(self.scored), 'forecast')}, {unknown} of them with "
                f"no outcome known; {intervals(self.level)}."
            ),
            columns=(
                Column("meet"),
                Column("units", "number"),
                Column("said", "estimate"),
                Column("burned", "number"),
                Column("not_known", "number"),
            ),
            rows=tuple(
                (
                    each.said.meet.name,
                    len(each.said.forecasts),
                    None if each.said.count is None else each.said.count.count,
                    each.burned,
                    each.not_known,
                )
                for each in self.meets
                if each.said.forecasts
            ),
            notes=(f"Had the plan been followed: {savings_sentence(self)}",),
        )

    def to_frame(self) -> pd.DataFrame:
        """Return `frame`: every forecast, what was said and what came."""
        return self.frame

    @property
    def frame(self) -> pd.DataFrame:
        """One row for each forecast: what was said and what came."""
        return pd.DataFrame(
            [_row(self.meets, each) for each in self.scored],
            columns=list(_COLUMNS),
        )

    @property
    def calibration_frame(self) -> pd.DataFrame:
        """The calibration table for a drawing: said, happened, low, high, forecasts."""
        rows = [
            (row.said, row.happened.estimate, row.happened.low, row.happened.high, row.forecasts)
            for row in self.calibration
        ]
        return pd.DataFrame(rows, columns=["said", "happened", "low", "high", "forecasts"])

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        from wearstats.lookback.words import savings_told, verdict

        total = self.total
        saved = self.savings
        return {
            "level": self.level,
            "verdict": verdict(self),
            "tells": self.tells,
            "forecasts": len(self.scored),
            "burned": 0 if total is None else total.burned,
            "not_known": self.not_known(),
            "without": self.without(),
            "expected": None if total is None else total.expected.as_dict(),
            "told": "cannot be told" if total is None or not self.tells else total.told,
            "meets": [meet.as_dict() for meet in self.meets],
            "calibration": [row.as_dict() for row in self.calibration],
            "by_prior": self.by_prior,
            "scores": None if self.scores is None else self.scores.as_dict(),
            "against": [each.as_dict() for each in self.comparisons],
            "savings": None if saved is None else saved.as_dict(savings_told(self)),
            "no_savings": self.no_savings,
            "boost": None if self.boost is None else self.boost.as_dict(),
            "simulated": self.simulated,
        }


_COLUMNS = (
    "meet",
    "first_day",
    "unit",
    "age",
    "last_look",
    "load",
    "chance",
    "chance_low",
    "chance_high",
    "by_rule",
    "by_curve",
    "burned",
    "share",
    "why_not_known",
)


def _row(meets: tuple[MeetScore, ...], each: Scored) -> dict[str, Any]:
    forecast, start = each.forecast, each.forecast.start
    meet = meets[start.meet].said.meet
    values = (
        meet.name,
        meet.first,
        start.unit,
        start.age,
        start.last_look,
        start.load,
        forecast.chance.estimate,
        forecast.chance.low,
        forecast.chance.high,
        forecast.by_rule,
        forecast.by_curve,
        each.outcome.burned,
        each.share,
        each.outcome.why,
    )
    return dict(zip(_COLUMNS, values, strict=True))

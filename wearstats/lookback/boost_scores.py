"""Boost said against boost logged: intervals that held, errors, and the last meet's beside it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.estimates import Estimate
from wearstats.leakage import normalise_boost
from wearstats.lives import StripLives, boost_rows
from wearstats.lookback.boosts import BoostForecast, MeetBoosts
from wearstats.lookback.calibration import exact_share
from wearstats.lookback.meets import Meet
from wearstats.lookback.scores import mean_by_group
from wearstats.lookback.strips import RunKey
from wearstats.records.season import Season
from wearstats.units import INHG_PA

LEAST_BOOSTS = 10
"""Forecasts of boost that were compared, below which nothing is told."""

NOT_LOGGED = "no boost above 0 was logged"
NO_BAROMETER = "no barometer was logged"
NOT_SOUND = "the strips had failed, or nobody saw them sound since"
SET_ASIDE = "the records of these strips contradict each other"


@dataclass(frozen=True, slots=True)
class ScoredBoost:
    """A forecast of boost and what was logged, on the runs that can be compared.

    Attributes
    ----------
    meet : int
        Place among the meets.
    forecast : BoostForecast
    runs : int
        Compared.
    said : Estimate, psi
        Mean over them as said that morning; its interval is for as many runs.
    logged : float, psi
    """

    meet: int
    forecast: BoostForecast
    runs: int
    said: Estimate
    logged: float

    @property
    def held(self) -> bool:
        """Whether what was logged lies in the interval said."""
        return _low(self.said) <= self.logged <= _high(self.said)

    @property
    def error(self) -> float:
        """Said less logged, psi."""
        return (self.said.estimate or 0.0) - self.logged

    @property
    def error_as_last(self) -> float:
        """The last meet's less logged, psi."""
        return self.forecast.as_last - self.logged


@dataclass(frozen=True, slots=True)
class BoostMeet:
    """One meet: means over its units of what was said and logged, psi."""

    meet: Meet
    units: int
    said: float
    logged: float
    held: int

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "meet": self.meet.name,
            "first_day": f"{self.meet.first:%Y-%m-%d}",
            "units": self.units,
            "said": self.said,
            "logged": self.logged,
            "held": self.held,
        }


@dataclass(frozen=True, slots=True)
class BoostScores:
    """How the forecasts came out.

    Attributes
    ----------
    coverage : Estimate
        Share of intervals that held (exact interval; each forecast counted for itself).
    error : Estimate, psi
        Mean of said less logged; errors of one meet belong together.
    absolute, absolute_as_last : Estimate, psi
        Mean absolute error of the forecasts, and of the unit's mean at its last meet.
    gain : Estimate, psi
        The latter less the former: above 0 the forecasts are better.
    """

    coverage: Estimate
    error: Estimate
    absolute: Estimate
    absolute_as_last: Estimate
    gain: Estimate

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "coverage": self.coverage.as_dict(),
            "error": self.error.as_dict(),
            "absolute_error": self.absolute.as_dict(),
            "absolute_error_as_last_meet": self.absolute_as_last.as_dict(),
            "gain": self.gain.as_dict(),
        }


@dataclass(frozen=True, slots=True)
class BoostLookback:
    """Boost as said and as logged, at 29.921 inHg.

    Attributes
    ----------
    level : float
    scored : tuple of ScoredBoost
    meets : tuple of BoostMeet
    scores : BoostScores or None
        None where nothing could be compared.
    runs_left_out : dict of str to int
        Runs forecast that cannot be compared, by reason.
    not_compared : int
        Forecasts of which no run can be.
    without : dict of str to int
        Units at meets of which nothing was said, by reason.
    """

    level: float
    scored: tuple[ScoredBoost, ...]
    meets: tuple[BoostMeet, ...]
    scores: BoostScores | None
    runs_left_out: dict[str, int]
    not_compared: int
    without: dict[str, int]

    @property
    def tells(self) -> bool:
        """Whether there are forecasts enough to say anything."""
        return len(self.scored) >= LEAST_BOOSTS

    @property
    def held(self) -> int:
        """Forecasts whose interval held."""
        return sum(each.held for each in self.scored)

    @property
    def told(self) -> str:
        """`as said`, `too narrow`, `too wide` or `cannot be told`: the intervals."""
        if self.scores is None or not self.tells:
            return "cannot be told"
        if _high(self.scores.coverage) < self.level:
            return "too narrow"
        return "too wide" if _low(self.scores.coverage) > self.level else "as said"

    @property
    def frame(self) -> pd.DataFrame:
        """One row for each forecast compared, psi: said with its ends, logged, and as_last."""
        rows = [
            (
                each.meet,
                each.forecast.unit,
                each.runs,
                each.said.estimate,
                each.said.low,
                each.said.high,
                each.logged,
                each.forecast.as_last,
            )
            for each in self.scored
        ]
        columns = ["meet", "unit", "runs", "said", "low", "high", "logged", "as_last"]
        return pd.DataFrame(rows, columns=columns)

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        from wearstats.lookback.words import boost_sentence

        return {
            "unit": "psi",
            "sentence": boost_sentence(self),
            "tells": self.tells,
            "told": self.told,
            "forecasts": len(self.scored),
            "held": self.held,
            "scores": None if self.scores is None else self.scores.as_dict(),
            "meets": [meet.as_dict() for meet in self.meets],
            "runs_left_out": self.runs_left_out,
            "not_compared": self.not_compared,
            "without": self.without,
        }


def score_boosts(
    said: Sequence[tuple[Meet, MeetBoosts]], season: Season, lives: StripLives, level: float
) -> BoostLookback:
    """Hold what was said of boost against what was logged.

    Runs whose strips had failed or that nobody has seen sound since are left out and counted:
    the forecast is of strips that last.

    Parameters
    ----------
    said : sequence of (Meet, MeetBoosts)
    season : Season
    lives : StripLives
        Of all records.
    level : float
    """
    logged = _logged(season, lives)
    left_out: Counter[str] = Counter()
    without: Counter[str] = Counter()
    scored: list[ScoredBoost] = []
    meets = []
    for number, (meet, boosts) in enumerate(said):
        without.update(each.why for each in boosts.without)
        here = []
        for forecast in boosts.forecasts:
            values = [_value(logged.get(key), barometer=boosts.barometer) for key in forecast.runs]
            left_out.update(value for value in values if isinstance(value, str))
            one = _scored(number, forecast, values, level)
            here += [] if one is None else [one]
        scored += here
        if here:
            meets.append(_meet(meet, here))
    return BoostLookback(
        level=level,
        scored=tuple(scored),
        meets=tuple(meets),
        scores=_scores(scored, level) if scored else None,
        runs_left_out=dict(left_out),
        not_compared=sum(len(boosts.forecasts) for _, boosts in said) - len(scored),
        without=dict(without),
    )


def _logged(season: Season, lives: StripLives) -> dict[RunKey, dict[Any, Any]]:
    rows = boost_rows(season, lives)
    return {
        (str(row["unit"]), row["date"], int(row["run"])): row for row in rows.to_dict("records")
    }


def _value(row: dict[Any, Any] | None, *, barometer: bool) -> float | str:
    """Return the boost of a run at 29.921 inHg, or why it cannot be compared."""
    if row is None or not row["boost_psi"] > 0.0:
        return NOT_LOGGED
    if row["left_out"]:
        return SET_ASIDE
    if not row["known_sound"]:
        return NOT_SOUND
    if not barometer:
        return float(row["boost_psi"])
    if np.isnan(row["barometer_inhg"]):
        return NO_BAROMETER
    return float(normalise_boost(row["boost_psi"], row["barometer_inhg"] * INHG_PA))


def _scored(
    meet: int, forecast: BoostForecast, values: Sequence[float | str], level: float
) -> ScoredBoost | None:
    compared = np.array([not isinstance(value, str) for value in values])
    if not compared.any():
        return None
    mean = float(np.mean([value for value in values if not isinstance(value, str)]))
    said = forecast.ahead.mean_psi(level, compared)
    return ScoredBoost(meet, forecast, int(compared.sum()), said, mean)


def _meet(meet: Meet, here: Sequence[ScoredBoost]) -> BoostMeet:
    said = float(np.mean([each.said.estimate or 0.0 for each in here]))
    logged = float(np.mean([each.logged for each in here]))
    return BoostMeet(meet, len(here), said, logged, sum(each.held for each in here))


def _scores(scored: Sequence[ScoredBoost], level: float) -> BoostScores:
    held, count = sum(each.held for each in scored), len(scored)
    meets = np.array([each.meet for each in scored])

    def mean(values: FloatArray) -> Estimate:
        found = mean_by_group(values, meets, level)
        return Estimate(found.estimate, found.low, found.high, level, "psi")

    own = np.array([each.error for each in scored])
    last = np.array([each.error_as_last for each in scored])
    return BoostScores(
        coverage=Estimate(held / count, *exact_share(held, count, level), level),
        error=mean(own),
        absolute=mean(np.abs(own)),
        absolute_as_last=mean(np.abs(last)),
        gain=mean(np.abs(last) - np.abs(own)),
    )


def _low(estimate: Estimate) -> float:
    return -np.inf if estimate.low is None else estimate.low


def _high(estimate: Estimate) -> float:
    return np.inf if estimate.high is None else estimate.high

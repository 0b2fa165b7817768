"""How past forecasts came out: meet by meet, on what was known that morning, and no later."""

from wearstats.lookback.boost_scores import BoostLookback, BoostMeet, BoostScores, ScoredBoost
from wearstats.lookback.boosts import BoostForecast, MeetBoosts
from wearstats.lookback.calibration import CalibrationRow, CountForecast
from wearstats.lookback.looking import look_back
from wearstats.lookback.result import Comparison, Lookback, MeetScore, Scored, Scores, Total
from wearstats.lookback.rolling import Forecast, LookBack, MeetForecast
from wearstats.lookback.savings import Savings
from wearstats.lookback.scores import brier, inverse_chance_weights, log_score
from wearstats.lookback.words import (
    apart_sentence,
    boost_sentence,
    savings_sentence,
    savings_told,
    verdict,
)

__all__ = [
    "BoostForecast",
    "BoostLookback",
    "BoostMeet",
    "BoostScores",
    "CalibrationRow",
    "Comparison",
    "CountForecast",
    "Forecast",
    "LookBack",
    "Lookback",
    "MeetBoosts",
    "MeetForecast",
    "MeetScore",
    "Savings",
    "Scored",
    "ScoredBoost",
    "Scores",
    "Total",
    "apart_sentence",
    "boost_sentence",
    "brier",
    "inverse_chance_weights",
    "log_score",
    "look_back",
    "savings_sentence",
    "savings_told",
    "verdict",
]

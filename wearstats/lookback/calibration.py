"""What was said against what happened: shares by size of the chance, counts by meet."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.estimates import Estimate

EDGES = (0.0, 0.1, 0.2, 0.4, 0.6, 1.0)
"""Chances that are looked at together."""


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """Forecasts of about the same chance.

    Attributes
    ----------
    low, high : float
        The chance lay in [low, high).
    forecasts : int
    said : float
        Their mean chance.
    burned, not_known : int
        Known to have burned through; outcome not known.
    happened : Estimate
        Share that burned through, the outcomes not known shared out by chance. The interval
        also holds the ones these could make of it (Jeffreys at either extreme).
    """

    low: float
    high: float
    forecasts: int
    said: float
    burned: int
    not_known: int
    happened: Estimate

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "from": self.low,
            "to": self.high,
            "forecasts": self.forecasts,
            "said": self.said,
            "burned": self.burned,
            "not_known": self.not_known,
            "happened": self.happened.as_dict(),
        }


def calibration_table(
    chance: FloatArray, shares: FloatArray, known: np.ndarray, level: float
) -> tuple[CalibrationRow, ...]:
    """Return a row for each group of chances in which there is a forecast.

    Parameters
    ----------
    chance, shares : ndarray, shape (n,)
        Chance said; 1 burned, 0 sound, between where not known.
    known : ndarray of bool, shape (n,)
    level : float
    """
    place = np.searchsorted(np.array(EDGES[1:-1]), chance, side="right")
    rows = []
    for number in range(len(EDGES) - 1):
        own = place == number
        if not own.any():
            continue
        burned, unknown = int(shares[own & known].sum()), int((own & ~known).sum())
        count = int(own.sum())
        low, _ = jeffreys(burned, count, level)
        _, high = jeffreys(burned + unknown, count, level)
        middle = float(shares[own].mean())
        rows.append(
            CalibrationRow(
                EDGES[number],
                EDGES[number + 1],
                count,
                float(chance[own].mean()),
                burned,
                unknown,
                Estimate(middle, min(low, middle), max(high, middle), level),
            )
        )
    return tuple(rows)


def jeffreys(hits: float, of: float, level: float) -> tuple[float, float]:
    """Return Jeffreys' interval of a share, with its ends at 0 and 1 where all or none hit.

    Source: Brown, Cai & DasGupta 2001, Statistical Science 16:101-133 (from memory).

    Examples
    --------
    >>> [round(end, 3) for end in jeffreys(2, 10, 0.95)]
    [0.044, 0.503]
    """
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    low = 0.0 if hits <= 0 else float(betaincinv(hits + 0.5, of - hits + 0.5, tail))
    high = 1.0 if hits >= of else float(betaincinv(hits + 0.5, of - hits + 0.5, 1 - tail))
    return low, high


def exact_share(hits: int, of: int, level: float) -> tuple[float, float]:
    """Return the exact interval of a share, which holds it at least as often as `level` says.

    Source: Clopper & Pearson 1934, Biometrika 26:404-413 (from memory).

    Examples
    --------
    >>> [round(end, 3) for end in exact_share(2, 10, 0.95)]
    [0.025, 0.556]
    """
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    low = 0.0 if hits == 0 else float(betaincinv(hits, of - hits + 1, tail))
    high = 1.0 if hits == of else float(betaincinv(hits + 1, of - hits, 1 - tail))
    return low, high


@dataclass(frozen=True, slots=True)
class CountForecast:
    """How many of a meet's strips were expected to burn through.

    Attributes
    ----------
    count : Estimate
        Mean, and the interval of whole numbers.
    inside : float
        Chance that the number falls within the interval; above its level, as numbers are whole.
    deviation : float
        Standard deviation of the number.
    """

    count: Estimate
    inside: float
    deviation: float


def count_forecast(chances: FloatArray, weights: FloatArray, level: float) -> CountForecast:
    """Return the forecast of a number of burn-throughs.

    Parameters
    ----------
    chances : ndarray, shape (draws, units)
        Independent within a draw.
    weights : ndarray, shape (draws,)
        Add up to one.
    level : float

    Examples
    --------
    >>> count_forecast(np.array([[0.5, 0.5]]), np.ones(1), 0.9).count.as_dict()
    {'estimate': 1.0, 'low': 0.0, 'high': 2.0, 'level': 0.9}
    """
    draws, units = chances.shape
    number = np.zeros((draws, units + 1))
    number[:, 0] = 1.0
    for unit in range(units):
        chance = chances[:, unit, None]
        moved = np.concatenate([np.zeros((draws, 1)), number[:, :-1]], axis=1)
        number = number * (1 - chance) + moved * chance
    mass = weights @ number
    total, tail = np.cumsum(mass), (1 - level) / 2
    low = int(np.searchsorted(total, tail - 1e-12))
    high = min(int(np.searchsorted(total, 1 - tail - 1e-12)), units)
    numbers = np.arange(units + 1)
    mean = float(mass @ numbers)
    return CountForecast(
        Estimate(mean, float(min(low, mean)), float(max(high, mean)), level),
        float(min(mass[low : high + 1].sum(), 1.0)),
        float(np.sqrt(mass @ (numbers - mean) ** 2)),
    )

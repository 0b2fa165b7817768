"""How past chances came out."""

from dataclasses import dataclass

from wearstats.estimates import Estimate
from wearstats.lookback import apart_sentence, look_back, savings_sentence, verdict
from wearstats.records.season import Season
from wearstats_reports import numbers


@dataclass(frozen=True, slots=True)
class CameTrue:
    """Forecasts of about the same chance.

    Parameters
    ----------
    chance : str
        In words: "20 to 40 %".
    forecasts : int
    said : float
        Their mean chance.
    burned, not_known : int
    happened : Estimate
        The share that came true.
    """

    chance: str
    forecasts: int
    said: float
    burned: int
    not_known: int
    happened: Estimate


@dataclass(frozen=True, slots=True)
class PastChances:
    """What looking back tells.

    Parameters
    ----------
    verdict : str
        One sentence.
    rows : tuple of CameTrue
        Empty where nothing was forecast.
    apart : str
        Which forecasts the rows leave out; empty where none.
    savings : str
        What following the plan would have saved, one sentence; empty where nothing can be told.
    """

    verdict: str
    rows: tuple[CameTrue, ...]
    apart: str
    savings: str


def past_chances(season: Season, *, level: float, seed: int) -> PastChances:
    """Return how the chances said before each past meet came out."""
    found = look_back(season, level=level, seed=seed)
    rows = tuple(
        CameTrue(
            f"{100 * row.low:.0f} to {100 * row.high:.0f}{numbers.PERCENT}",
            row.forecasts,
            row.said,
            row.burned,
            row.not_known,
            row.happened,
        )
        for row in found.calibration
    )
    savings = f"Had the plan been followed: {savings_sentence(found)}" if found.tells else ""
    return PastChances(verdict(found), rows, apart_sentence(found), savings)

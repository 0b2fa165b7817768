"""What boost would have been said on the morning of a meet, on what was known by then."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from wearstats.errors import FitError, ObservationError, TooFewError
from wearstats.estimates import Estimate
from wearstats.leakage import BoostAhead, LeakFit, LeakModel
from wearstats.leakage.ahead import LEAST_MEETS
from wearstats.lives import StripLives, boost_rows, clearance_readings
from wearstats.lookback.meets import Meet, known_before
from wearstats.lookback.strips import NoStart, RunKey, Start, through_meet
from wearstats.records.season import Season
from wearstats.wear import fit_paths

TOO_LITTLE = "too few meets with boost, or too few clearances, were on record"
_DRAWS = 50
"""Of losses, which no forecast needs."""
_DAYS = 14
"""Runs of one name further apart are of two meets."""
_CONDITIONS = ("overdrive_pct", "engine_speed_rpm", "air_temperature_f")


@dataclass(frozen=True, slots=True)
class BoostForecast:
    """What would have been said of one unit's boost at a meet, at 29.921 inHg.

    Attributes
    ----------
    unit : str
    runs : tuple of (unit, day, run)
        Made on the strips it starts the meet with.
    psi : Estimate
        Mean over these runs, should the strips last.
    as_last : float, psi
        Mean at the unit's last meet on record, on strips known sound.
    ahead : BoostAhead
        The same run by run.
    """

    unit: str
    runs: tuple[RunKey, ...]
    psi: Estimate
    as_last: float
    ahead: BoostAhead = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class MeetBoosts:
    """Everything said of boost on the morning of one meet.

    Attributes
    ----------
    forecasts : tuple of BoostForecast
    without : tuple of NoStart
        Units of which nothing could be said, and why.
    barometer : bool
        Whether any boost on record had a barometer; else all is taken at 29.921 inHg.
    """

    forecasts: tuple[BoostForecast, ...]
    without: tuple[NoStart, ...]
    barometer: bool


def meet_boosts(
    season: Season,
    meet: Meet,
    known: StripLives,
    starts: Sequence[Start],
    level: float,
) -> MeetBoosts:
    """Say each unit's boost at a meet, on records dated before it.

    Which runs a unit makes on which strips, and their overdrive, engine speed and air, is taken
    as planned that morning.

    Parameters
    ----------
    season : Season
        All records.
    meet : Meet
    known : StripLives
        Of the records dated before it.
    starts : sequence of Start
    level : float
    """
    fit = _fit(known_before(season, meet.first), known)
    said: dict[str, BoostAhead | str] = {}
    rows = _rows(season, meet, starts)
    if not isinstance(fit, str):
        try:
            said = fit.boost_ahead(rows) if len(rows) else {}
        except TooFewError:
            fit = TOO_LITTLE
    if isinstance(fit, str):
        without = tuple(NoStart(start.meet, start.unit, fit) for start in starts)
        return MeetBoosts((), without, barometer=True)
    keys = {
        str(unit): tuple(zip(own["unit"], own["date"], own["run"], strict=True))
        for unit, own in rows.groupby("unit", sort=False)
    }
    last = _last_means(fit)
    forecasts = tuple(
        BoostForecast(unit, keys[unit], ahead.mean_psi(level), last[unit], ahead)
        for unit, ahead in said.items()
        if not isinstance(ahead, str)
    )
    without = tuple(
        NoStart(starts[0].meet, unit, why) for unit, why in said.items() if isinstance(why, str)
    )
    barometer = bool(fit.corrected["barometer_inhg"].notna().any())
    return MeetBoosts(forecasts, without, barometer)


def _fit(known: Season, lives: StripLives) -> LeakFit | str:
    rows = boost_rows(known, lives)
    if rows["meet"].fillna(rows["date"].astype(str)).nunique() < LEAST_MEETS:
        return TOO_LITTLE
    try:
        readings = clearance_readings(known, lives)
        wears = fit_paths(readings)
        return LeakModel(draws=_DRAWS).fit(rows, wears, known.units, readings=readings)
    except TooFewError:
        return TOO_LITTLE
    except (FitError, ObservationError) as error:
        return str(error)


def _rows(season: Season, meet: Meet, starts: Sequence[Start]) -> pd.DataFrame:
    """Return the runs each unit makes on the strips it starts with, and what is given of them."""
    through = through_meet(season, meet)
    runs = season.runs.iloc[meet.rows].sort_values(["date", "run"], kind="stable")
    runs = runs.assign(unit=runs["unit"].astype(str))
    parts = []
    for start in starts:
        own = runs[runs["unit"] == start.unit]
        places = [through.at(key) for key in _keys(own)]
        builds = np.array([np.nan if place is None else place[0] for place in places])
        same = np.cumprod(builds == builds[0]).astype(bool)
        age = start.age + np.cumsum(own["load"].fillna(1.0).to_numpy(dtype=np.float64))
        parts.append(own.assign(build=builds, age=age)[same])
    columns = ["unit", "date", "run", "build", "age", *_CONDITIONS]
    if not parts:
        return pd.DataFrame(columns=columns)
    return pd.concat(parts, ignore_index=True)[columns]


def _keys(runs: pd.DataFrame) -> list[RunKey]:
    return [
        (str(unit), day, int(run))
        for unit, day, run in zip(runs["unit"], runs["date"], runs["run"], strict=True)
    ]


def _last_means(fit: LeakFit) -> dict[str, float]:
    """Return each unit's mean boost at its last meet on record."""
    used = fit.corrected[fit.corrected["why"] == ""]
    used = used.assign(meet=used["meet"].fillna(used["date"].astype(str)))
    found = {}
    for unit, own in used.groupby(used["unit"].astype(str), sort=False):
        last = own.iloc[-1]
        near = (last["date"] - own["date"]) <= pd.Timedelta(days=_DAYS)
        at = own[(own["meet"] == last["meet"]) & near]
        found[str(unit)] = float(at["boost_norm_psi"].mean())
    return found

"""From a fitted multiplier and uncertain clearances to boost lost, by draws."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError
from wearstats.leakage.balance import NEVER_NOUGHT, REFERENCE_PSI, Balance, makes_no_boost
from wearstats.leakage.gaps import Gaps, running_gaps
from wearstats.leakage.multiplier import Multiplier
from wearstats.leakage.running import Warmth

_NODES = 3


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """The runs that were fitted.

    Parameters
    ----------
    rows : DataFrame
    balance : Balance
    gaps : Gaps
    warmth : Warmth
    unit_level : ndarray, shape (rows,)
        Factor on the pressure ratio of each row's unit.
    """

    rows: pd.DataFrame
    balance: Balance
    gaps: Gaps
    warmth: Warmth
    unit_level: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Losses:
    """Draws of boost at 29.921 inHg, psi.

    Parameters
    ----------
    since, total : ndarray, shape (3, draws, units)
        Lost since the restrip and against a blower that leaks nothing, by path.
    worth : ndarray, shape (3, draws, units)
        Lost with one thou more.
    fleet_since, fleet_total : ndarray, shape (draws,)
        Means over all runs fitted.
    """

    since: FloatArray
    total: FloatArray
    worth: FloatArray
    fleet_since: FloatArray
    fleet_total: FloatArray


def losses(  # noqa: PLR0917 - what the loss is drawn from
    season: Season,
    now: pd.DataFrame,
    gaps: Gaps,
    multiplier: Multiplier,
    draws: int,
    rng: np.random.Generator,
) -> Losses:
    """Draw the multiplier, the clearances and what heat does to them.

    Parameters
    ----------
    season : Season
    now : DataFrame
        Each unit's `place` among the season's rows.
    gaps : Gaps
        Of each unit now.
    multiplier : Multiplier
    draws : int
    rng : numpy.random.Generator
    """
    places = now["place"].to_numpy(np.int64)
    machines = season.balance.machines.take(places)
    balance = Balance(
        machines, season.balance.table, season.balance.heat_share, season.balance.none[places]
    )
    each, warm, cold = _drawn(gaps, multiplier, draws, rng)
    grown = rng.standard_normal(cold.shape)
    growth = gaps.growth[:, np.newaxis] + gaps.growth_sd[:, np.newaxis] * grown
    hot = running_gaps(cold, machines, season.warmth, warm)
    fresh = running_gaps(cold - growth, machines, season.warmth, warm)
    scale = REFERENCE_PSI * season.unit_level[places]
    area, before = balance.openings(hot), balance.openings(fresh)
    full = each * np.maximum(area.sum(axis=0), NEVER_NOUGHT)
    ratio = balance.ratio(full)
    change = each * (area - before)
    whole = balance.ratio(np.maximum(full - change.sum(axis=0), 0.0)) - ratio
    slope = balance.slope(full)
    moved = change.sum(axis=0)
    small = np.abs(moved) < 1e-3 * full
    rate = np.where(small, slope, whole / np.where(small, 1.0, moved))
    fleet_since, fleet_total = _fleet(season, each[:, 0], rng)
    return Losses(
        since=scale * rate * change,
        total=scale * (balance.none - ratio) * (each * area / full),
        worth=scale * slope * each * balance.opening_per_thou(hot),
        fleet_since=fleet_since,
        fleet_total=fleet_total,
    )


def worth_at(  # noqa: PLR0917 - as `losses`
    season: Season,
    now: pd.DataFrame,
    gaps: Gaps,
    multiplier: Multiplier,
    draws: int,
    rng: np.random.Generator,
    *,
    overdrive_pct: float,
) -> FloatArray:
    """Draw what a thou more would cost each unit at another overdrive, the rest as last run.

    Parameters
    ----------
    season, now, gaps, multiplier, draws, rng
        As `losses`.
    overdrive_pct : float
        Percent, whatever its size.

    Returns
    -------
    ndarray, shape (3, draws, units), psi per thou

    Raises
    ------
    ObservationError
        A unit gives no boost at this overdrive, or heats its charge without end.
    """
    places = now["place"].to_numpy(np.int64)
    asked = pd.DataFrame({"drive": np.full(len(now), 1.0 + overdrive_pct / 100.0)})
    machines = season.balance.machines.take(places).as_run(asked)
    share = season.balance.heat_share
    if np.any(makes_no_boost(machines, share)):
        message = f"{overdrive_pct:g} % over gives no boost, or heat without end, on some unit"
        raise ObservationError(message)
    balance = Balance.of(machines, season.balance.table, share)
    each, warm, cold = _drawn(gaps, multiplier, draws, rng)
    hot = running_gaps(cold, machines, season.warmth, warm)
    full = each * np.maximum(balance.openings(hot).sum(axis=0), NEVER_NOUGHT)
    scale = REFERENCE_PSI * season.unit_level[places]
    return np.asarray(scale * balance.slope(full) * each * balance.opening_per_thou(hot))


def _drawn(
    gaps: Gaps, multiplier: Multiplier, draws: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Draw multiplier and heat, shape (draws, 1), and cold clearances, shape (3, draws, units)."""
    theta = multiplier.draws(draws, rng)
    heat = rng.standard_normal(draws)
    stray = rng.standard_normal((len(gaps.mean), draws, gaps.mean.shape[1]))
    cold = gaps.mean[:, np.newaxis] + gaps.sd[:, np.newaxis] * stray
    return theta[:, np.newaxis], heat[:, np.newaxis], cold


def _fleet(
    season: Season, theta: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Mean loss over all runs: a curve in the multiplier, and what clearances add to its spread.

    An error of clearance is taken as one for each build, growing as its standard error does.
    """
    balance, gaps = season.balance, season.gaps
    machines, warmth = balance.machines, season.warmth
    scale = REFERENCE_PSI * season.unit_level
    hot = running_gaps(gaps.mean, machines, warmth)
    fresh = running_gaps(gaps.mean - gaps.growth, machines, warmth)
    area = np.maximum(balance.openings(hot).sum(axis=0), NEVER_NOUGHT)
    before = balance.openings(fresh).sum(axis=0)
    nodes = np.geomspace(theta.min(), theta.max() * 1.001, _NODES)
    total, since = np.zeros(_NODES), np.zeros(_NODES)
    for place, node in enumerate(nodes):
        ratio = balance.ratio(node * area)
        total[place] = float(np.mean(scale * (balance.none - ratio)))
        since[place] = float(np.mean(scale * (balance.ratio(node * before) - ratio)))
    middle = float(np.median(theta))
    per_area = scale * balance.slope(middle * area) * middle
    per_thou = per_area * balance.opening_per_thou(hot)
    spread_since = _by_build(season.rows, (per_thou * gaps.growth_sd).sum(axis=0), theta, rng)
    by_heat = running_gaps(gaps.mean, machines, warmth, 1.0)
    heat = float(np.mean((balance.openings(by_heat).sum(axis=0) - area) * per_area))
    by_gauge = _by_build(season.rows, (per_thou * gaps.sd).sum(axis=0), theta, rng)
    spread_total = by_gauge + heat * rng.standard_normal(len(theta))
    logs = np.log(nodes)
    at = np.log(theta)
    share = theta / middle
    return (
        np.polyval(np.polyfit(logs, since / nodes, _NODES - 1), at) * theta + spread_since * share,
        np.polyval(np.polyfit(logs, total / nodes, _NODES - 1), at) * theta + spread_total * share,
    )


def _by_build(
    rows: pd.DataFrame, error: FloatArray, theta: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Draws of the mean over rows of errors that are one standard normal for each build."""
    of_build = pd.Series(error).groupby([rows["unit"].to_numpy(), rows["build"].to_numpy()]).sum()
    sd = float(np.sqrt(np.sum(of_build.to_numpy() ** 2))) / len(rows)
    return np.asarray(sd * rng.standard_normal(len(theta)))

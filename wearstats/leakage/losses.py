"""From a fitted multiplier and uncertain clearances to boost lost, by draws."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import ObservationError
from wearstats.leakage.balance import NEVER_NOUGHT, REFERENCE_PSI, Balance
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


@dataclass(frozen=True, slots=True, eq=False)
class LossDraws:
    """What the loss is drawn from: multiplier, clearances and what heat does to them.

    Parameters
    ----------
    season : Season
    places : ndarray of int64, shape (units,)
        Where each unit's last run stands among the season's rows.
    gaps : Gaps
        Of each unit now.
    multiplier : Multiplier
    draws, seed : int
        The same seed gives the same draws to whatever is asked.
    """

    season: Season
    places: IntArray
    gaps: Gaps
    multiplier: Multiplier
    draws: int
    seed: int

    def losses(self) -> Losses:
        """Draw what each unit has lost, and what the runs fitted lost on average."""
        season, gaps = self.season, self.gaps
        balance = season.balance.take(self.places)
        rng = np.random.default_rng(self.seed)
        each, warm, cold = self._drawn(rng)
        growth = gaps.growth_sd[:, np.newaxis] * rng.standard_normal(cold.shape)
        growth = gaps.growth[:, np.newaxis] + growth
        hot = running_gaps(cold, balance.machines, season.warmth, warm)
        fresh = running_gaps(cold - growth, balance.machines, season.warmth, warm)
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
            since=self._scale * rate * change,
            total=self._scale * (balance.none - ratio) * (each * area / full),
            worth=self._scale * slope * each * balance.opening_per_thou(hot),
            fleet_since=fleet_since,
            fleet_total=fleet_total,
        )

    def worth_at(self, overdrive_pct: float) -> FloatArray:
        """Draw what a thou more would cost each unit at another overdrive, the rest as last run.

        Parameters
        ----------
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
        drive = np.full(len(self.places), 1.0 + overdrive_pct / 100.0)
        balance = self.season.balance.as_run(self.places, pd.DataFrame({"drive": drive}))
        if balance is None:
            message = f"{overdrive_pct:g} % over gives no boost, or heat without end, on some unit"
            raise ObservationError(message)
        each, warm, cold = self._drawn(np.random.default_rng(self.seed))
        hot = running_gaps(cold, balance.machines, self.season.warmth, warm)
        full = each * np.maximum(balance.openings(hot).sum(axis=0), NEVER_NOUGHT)
        worth = self._scale * balance.slope(full) * each * balance.opening_per_thou(hot)
        return np.asarray(worth)

    @property
    def _scale(self) -> FloatArray:
        """Psi for each unit of pressure ratio, shape (units,)."""
        return np.asarray(REFERENCE_PSI * self.season.unit_level[self.places])

    def _drawn(self, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Draw multiplier and heat, (draws, 1), and cold clearances, (3, draws, units)."""
        theta = self.multiplier.draws(self.draws, rng)
        heat = rng.standard_normal(self.draws)
        mean, sd = self.gaps.mean, self.gaps.sd
        stray = rng.standard_normal((len(mean), self.draws, mean.shape[1]))
        cold = mean[:, np.newaxis] + sd[:, np.newaxis] * stray
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

"""Boost a unit should show at a meet to come, from a fit of leakage."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.leakage.balance import REFERENCE_PSI
from wearstats.leakage.boost_data import Wear
from wearstats.leakage.crossed import CrossedFit, Groups, builds_of
from wearstats.leakage.crossed_ahead import rows_ahead
from wearstats.leakage.expected import ExpectedLoss
from wearstats.leakage.gaps import gaps_at, running_gaps
from wearstats.leakage.losses import Season
from wearstats.shown import counted

MEET_SD = 0.015
"""Half-Cauchy prior of what meets differ by beyond weather, as a log ratio: 1 psi at 50 psi
absolute (engineering estimate). Without one, three meets allow any spread at all (Gelman
2006, Bayesian Analysis 1:515-534, from memory)."""

LEAST_MEETS = 3
"""Of two, all that differs may be the one or the other, or the age of the strips."""

NOT_BEFORE = "no usable boost of it was on record"
NO_BOOST = "displacements and overdrive as entered give no boost"
_HALVINGS = 60
_REACH = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class BoostAhead:
    """Boost of one unit's runs at a meet to come, at 29.921 inHg, as a mixture of normals.

    Parameters
    ----------
    unit : str
    chances : ndarray, shape (k,)
        Of each variance between meets that the past allows.
    log_ratio : ndarray, shape (k, runs)
        Mean of ln of the pressure ratio, at each of them.
    covariance : ndarray, shape (k, runs, runs)
    """

    unit: str
    chances: FloatArray
    log_ratio: FloatArray
    covariance: FloatArray

    def mean_psi(self, level: float, runs: BoolArray | None = None) -> Estimate:
        """Return the mean boost over these runs, and the interval it should come within.

        Parameters
        ----------
        level : float
        runs : ndarray of bool, shape (runs,), or None
            None: all of them.

        Raises
        ------
        UsageError
            No run, or a level that is no share.
        """
        chosen = np.ones(self.log_ratio.shape[1], dtype=bool) if runs is None else runs
        if not chosen.any() or not 0.0 < level < 1.0:
            message = "a mean needs a run and its interval a level between 0 and 1"
            raise UsageError(message)
        ratio = np.exp(self.log_ratio[:, chosen])
        share = ratio / ratio.sum(axis=1, keepdims=True)
        part = self.covariance[:, chosen][:, :, chosen]
        sd = np.sqrt(np.einsum("ki,kij,kj->k", share, part, share))
        shares = np.array([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
        logs = _quantiles(self.chances, np.log(ratio.mean(axis=1)), sd, shares)
        low, middle, high = (REFERENCE_PSI * np.expm1(logs)).tolist()
        return Estimate(middle, low, high, level, "psi")


def _quantiles(
    chances: FloatArray, means: FloatArray, sds: FloatArray, shares: FloatArray
) -> FloatArray:
    """Quantiles of a mixture of normals, by halving."""
    from scipy.special import ndtr

    low = np.full(shares.shape, (means - _REACH * sds).min())
    high = np.full(shares.shape, (means + _REACH * sds).max())
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        below = ndtr((middle[:, np.newaxis] - means) / sds) @ chances < shares
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2.0)


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What a fit of leakage keeps to speak of runs to come.

    Parameters
    ----------
    line : CrossedFit
    groups : mapping of str to Groups
        Of the runs fitted.
    season : Season
        The runs fitted.
    wears : mapping of str to Wear
    readings : DataFrame or None
    middle, at : float
        Prior middle of the multiplier, and where the line of the loss was laid.
    centres : mapping of str to float
        Mean logarithm of each quantity of the machines that stands in the regression, in order.
    """

    line: CrossedFit
    groups: Mapping[str, Groups]
    season: Season
    wears: Mapping[str, Wear]
    readings: pd.DataFrame | None
    middle: float
    at: float
    centres: Mapping[str, float]

    def boost_ahead(self, rows: pd.DataFrame) -> "dict[str, BoostAhead | str]":
        """Return each unit's boost at one new meet; parameters as `LeakFit.boost_ahead`."""
        meets = len(self.groups["meet"].labels) if "meet" in self.groups else 1
        if meets < LEAST_MEETS:
            message = f"boost of {counted(meets, 'meet')} cannot tell how the next one may differ"
            raise TooFewError(message, have=meets, need=LEAST_MEETS)
        fitted = self.season.rows["unit"].astype(str)
        last = dict(zip(fitted, range(len(fitted)), strict=True))
        found: dict[str, BoostAhead | str] = {}
        for name, own in rows.groupby(rows["unit"].astype(str), sort=True):
            unit = str(name)
            if unit not in last:
                found[unit] = NOT_BEFORE
                continue
            found[unit] = self._of_unit(unit, last[unit], own.reset_index(drop=True))
        return found

    def _of_unit(self, unit: str, place: int, rows: pd.DataFrame) -> "BoostAhead | str":
        balance = self.season.balance.as_run(np.full(len(rows), place, dtype=np.int64), rows)
        if balance is None:
            return NO_BOOST
        machines = balance.machines
        gaps = gaps_at(rows, self.wears, self.readings)
        expected = ExpectedLoss.about(
            self.at, balance, running_gaps(gaps.mean, machines, self.season.warmth)
        )
        columns = [np.ones(len(rows)), -expected.slope, rows["age"].to_numpy(float)]
        columns += [np.log(getattr(machines, name)) - mean for name, mean in self.centres.items()]
        without = np.log(balance.none) - expected.with_multiplier(self.middle)
        # An error of clearance is one for all runs of the meet.
        stray = expected.per_thou * self._unknown_thou(unit, rows, gaps.sd[0])
        design, codes = np.column_stack(columns), self._codes(unit, rows)
        each = [rows_ahead(solved, design, codes) for solved in self.line.solved]
        return BoostAhead(
            unit=unit,
            chances=self._chances(),
            log_ratio=np.stack([without + mean for mean, _ in each]),
            covariance=np.stack([covariance + np.outer(stray, stray) for _, covariance in each]),
        )

    def _unknown_thou(self, unit: str, rows: pd.DataFrame, sd: FloatArray) -> FloatArray:
        """Return how far the tip clearance may be off, as far as no level has taken it up.

        What was off at the last run fitted on these strips is in the build's level; what came
        since is taken to come by steps of its own, so variances differ by it.
        """
        rows_fitted = self.season.rows
        fitted = rows_fitted[rows_fitted["unit"].astype(str) == unit]
        last = fitted.groupby("build", sort=False).tail(1).reset_index(drop=True)
        before = gaps_at(last, self.wears, self.readings).sd[0]
        taken_up = pd.Series(before**2, index=last["build"].to_numpy(float))
        level = taken_up.reindex(rows["build"].to_numpy(float)).fillna(0.0).to_numpy()
        return np.asarray(np.sqrt(np.abs(sd**2 - level)))

    def _chances(self) -> FloatArray:
        likely = np.array([solved.chance for solved in self.line.solved])
        variance = np.array([solved.variances["meet"] for solved in self.line.solved])
        chances = likely / (1.0 + variance / MEET_SD**2)
        return np.asarray(chances / chances.sum())

    def _codes(self, unit: str, rows: pd.DataFrame) -> dict[str, IntArray]:
        """Give the rows' groups the numbers they had in the fit; the meet is new."""
        new = np.full(len(rows), -1, dtype=np.int64)
        codes = {"meet": new}
        if "unit" in self.groups:
            codes["unit"] = new * 0 + self.groups["unit"].labels.index(unit)
        if "build" in self.groups:
            labels = self.groups["build"].labels
            numbers = {build: place for place, build in enumerate(labels)}
            # A build not on record is new: its own by its number, whichever that is.
            codes["build"] = np.array(
                [
                    numbers.get(build, -1 - int(build[1]))
                    for build in builds_of(rows["unit"].astype(str), rows["build"])
                ],
                dtype=np.int64,
            )
        return codes

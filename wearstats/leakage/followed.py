"""Clearance between services: the readings followed, the wear forecast where there are none.

A build starts near the forecast for its unit, wears at a rate of its own about the unit's, and
strays from any straight line (a burned strip opens a gap at once). Between two readings the
clearance so runs nearly straight from one to the other, after the last it goes on at the rate of
wear, and its spread grows with the runs since anyone measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import NotConvergedError
from wearstats.feeler import BLADE_STEP_THOU, FEEL_U_THOU, feeler
from wearstats.leakage.boost_data import Wear
from wearstats.leakage.geometry import END_STATION_WEIGHT

_FAILED = ("burned", "pulled", "cut", "rubbed")
_LOOK = ["unit", "build", "age"]
_END_STATIONS = ("front", "rear")
_LEAST = 1e-4
_LEAST_LOOKS = 6
_NOT_READ = 1e8


@dataclass(frozen=True, slots=True, eq=False)
class _Looks:
    """Readings by build, padded; shape (builds, most looks)."""

    age: FloatArray
    off: FloatArray
    noise: FloatArray
    read: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """A wear fit that follows the readings of each build.

    Parameters
    ----------
    wear : Wear
        Gives the expected clearance of each unit's builds.
    builds : MultiIndex
        Unit and build of each row of `looks`.
    looks : _Looks
    spreads : ndarray, shape (3,)
        Variances: of a build's start (thou^2), of its rate (thou^2 per run^2), and of what it
        strays (thou^2 per run).
    mean, mean_covariance : ndarray, shape (2,) and (2, 2)
        Start and rate the readings add to the wear fit's, and their covariance.
    """

    wear: Wear
    builds: pd.MultiIndex
    looks: _Looks
    spreads: FloatArray
    mean: FloatArray
    mean_covariance: FloatArray

    @staticmethod
    def of(wear: Wear, readings: pd.DataFrame, what: str) -> Wear:
        """Follow the readings of `what`; the wear fit itself where there are too few.

        Parameters
        ----------
        wear : Wear
        readings : DataFrame
            As `wearstats.lives.clearance_readings` gives.
        what : str

        Raises
        ------
        NotConvergedError
            The spreads could not be fitted.
        """
        table = _usable(readings, what, wear)
        if len(table) < _LEAST_LOOKS or table["age"].nunique() < 2:  # noqa: PLR2004 - a rate
            return wear
        expected, _ = _of_unit(wear, table["unit"].to_numpy(), table["age"].to_numpy(float))
        table = table.assign(off=table["middle"].to_numpy(float) - expected)
        looks, builds = _padded(table)
        spreads = _fit(looks)
        _, mean, covariance = _likelihood(looks, spreads)
        return Followed(wear, builds, looks, spreads, mean, covariance)

    def clearance_at(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return the clearance expected and its standard error, thou; shapes as `Wear`."""
        ages = np.asarray(age, float)
        return self._at(unit, build, ages, since=None)

    def growth(
        self, unit: Sequence[str], build: Sequence[float], age: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return its change since age 0 and its standard error, thou; shapes as `Wear`."""
        ages = np.asarray(age, float)
        return self._at(unit, build, ages, since=np.zeros(len(ages)))

    def _at(
        self,
        unit: Sequence[str],
        build: Sequence[float],
        age: FloatArray,
        since: FloatArray | None,
    ) -> tuple[FloatArray, FloatArray]:
        expected = _of_unit(self.wear, np.asarray(unit, dtype=object), age)[0]
        columns = np.stack([np.ones(len(age)), age], axis=-1)
        places = self._places(unit, build)
        known = places >= 0
        spot = np.where(known, places, 0)
        at = self.looks.age[spot]
        cover = _covariance(age[:, np.newaxis], at, self.spreads)
        variance = _covariance(age, age, self.spreads)
        if since is not None:
            expected = expected - _of_unit(self.wear, np.asarray(unit, dtype=object), since)[0]
            columns = columns - np.stack([np.ones(len(age)), since], axis=-1)
            cover = cover - _covariance(since[:, np.newaxis], at, self.spreads)
            variance = (
                variance
                + _covariance(since, since, self.spreads)
                - 2.0 * _covariance(age, since, self.spreads)
            )
        cover = cover * self.looks.read[spot] * known[:, np.newaxis]
        inverse = np.linalg.inv(_matrices(self.looks, self.spreads))
        weight = np.einsum("nk,nkl->nl", cover, inverse[spot])
        design = _design(self.looks)
        left = self.looks.off - design @ self.mean
        mean = expected + columns @ self.mean + np.sum(weight * left[spot], axis=1)
        open_columns = columns - np.einsum("nk,nkp->np", weight, design[spot])
        variance = variance - np.sum(weight * cover, axis=1)
        variance += np.sum((open_columns @ self.mean_covariance) * open_columns, axis=1)
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def strays(
        self,
        unit: Sequence[str],
        build: Sequence[float],
        age: ArrayLike,
        draws: int,
        rng: np.random.Generator,
    ) -> FloatArray:
        """Draw how far each clearance is from the one expected, runs of a build together.

        What the wear of all builds has in common is taken as known.

        Returns
        -------
        ndarray, shape (n, draws), thou
            0 for a build that was never read.
        """
        ages, places = np.asarray(age, float), self._places(unit, build)
        inverse = np.linalg.inv(_matrices(self.looks, self.spreads))
        found = np.zeros((len(ages), draws))
        for place in np.unique(places[places >= 0]):
            rows = np.flatnonzero(places == place)
            mine = ages[rows, np.newaxis]
            cover = _covariance(mine, self.looks.age[place], self.spreads) * self.looks.read[place]
            left = _covariance(mine, mine.T, self.spreads) - cover @ inverse[place] @ cover.T
            values, vectors = np.linalg.eigh(left)
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            found[rows] = root @ rng.standard_normal((len(rows), draws))
        return found

    def _places(self, unit: Sequence[str], build: Sequence[float]) -> IntArray:
        """Where each row's build stands; -1 for one that was never read."""
        names = np.asarray(unit, dtype=object).astype(str)
        asked = pd.MultiIndex.from_arrays([names, np.asarray(build, float)])
        return np.asarray(self.builds.get_indexer(asked), dtype=np.int64)


def _usable(readings: pd.DataFrame, what: str, wear: Wear) -> pd.DataFrame:
    """One row for each unit, build and age: mean of the middles along the rotor, its variance."""
    mine = readings.loc[(readings["what"] == what) & readings["build"].notna()]
    mine = mine.loc[mine["age"].notna() & ~mine["strips"].isin(_FAILED)]
    if "left_out" in mine:
        mine = mine.loc[~mine["left_out"].astype(bool)]
    read = feeler(
        mine["low_thou"].to_numpy(float),
        mine["high_thou"].to_numpy(float),
        step_thou=BLADE_STEP_THOU,
    )
    table = pd.DataFrame(
        {
            "unit": mine["unit"].astype(str).to_numpy(),
            "build": mine["build"].to_numpy(float),
            "age": mine["age"].to_numpy(float),
            "middle": read.mean_thou,
            "variance": read.u_thou**2,
            "weight": _station_weights(mine),
        }
    )
    open_above = read.censoring == "right"
    if open_above.any():
        least = mine["low_thou"].to_numpy(float)[open_above]
        expected = _of_unit(
            wear, table["unit"].to_numpy()[open_above], table["age"].to_numpy(float)[open_above]
        )
        table.loc[open_above, ["middle", "variance"]] = _stands_for(least, *expected)
    known = np.isfinite(table["middle"]) & np.isfinite(table["variance"])
    # One open above knows little of its place: it is weighed by what it says, not by its station.
    table["part"] = np.where(open_above, np.arange(len(table)), -1)
    parts = _averaged(table.loc[known], table.loc[known, "weight"], [*_LOOK, "part"])
    return _averaged(parts, 1.0 / parts["variance"], _LOOK)


def _averaged(table: pd.DataFrame, weight: pd.Series, by: list[str]) -> pd.DataFrame:
    """Weighted mean of `middle` and its `variance` for each group."""
    sums = (
        table.assign(
            weight=weight,
            middle=weight * table["middle"],
            variance=weight**2 * table["variance"],
        )
        .groupby(by, sort=True)[["weight", "middle", "variance"]]
        .sum()
    )
    whole = sums["weight"]
    found = pd.DataFrame(
        {"middle": sums["middle"] / whole, "variance": sums["variance"] / whole**2}
    )
    return found.reset_index()


def _station_weights(mine: pd.DataFrame) -> FloatArray:
    """Weight of each reading along the rotor: half at the first and last place of a look.

    Gaps side by side add, and an end station stands for half as much rotor as one between.
    """
    if "station" not in mine:
        return np.ones(len(mine))
    inches = pd.to_numeric(mine["station"], errors="coerce")
    look = inches.groupby([mine["unit"], mine["build"], mine["age"]])
    at_end = mine["station"].isin(_END_STATIONS)
    at_end |= (inches == look.transform("min")) | (inches == look.transform("max"))
    return np.where(at_end, END_STATION_WEIGHT, 1.0)


def _stands_for(least: FloatArray, expected: FloatArray, sd: FloatArray) -> FloatArray:
    """Return the number, and its variance, that a clearance of at least so much stands for.

    Together with what the wear fit expects it gives the mean and variance that the clearance has
    beyond the thickest blade (one step of expectation propagation, Minka 2001). A reading that
    was sure anyway says nothing: its variance is infinite.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    from scipy.special import log_ndtr

    variance, whole = sd**2, sd**2 + FEEL_U_THOU**2
    z = (expected - least) / np.sqrt(whole)
    ratio = np.exp(-0.5 * z**2 - 0.5 * np.log(2.0 * np.pi) - log_ndtr(z))
    # Of the log chance: slope and curvature with the mean, which give the site they stand for.
    slope, bend = ratio / np.sqrt(whole), ratio * (z + ratio) / whole
    with np.errstate(divide="ignore", invalid="ignore"):
        middle = np.where(bend > 0.0, expected + slope / bend, np.nan)
        spread = np.where(bend > 0.0, 1.0 / bend - variance, np.inf)
    return np.stack([middle, np.maximum(spread, _LEAST)], axis=-1)


def _of_unit(wear: Wear, unit: np.ndarray, age: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Clearance the wear fit expects of a unit's builds before any of theirs is read."""
    return wear.clearance_at([str(name) for name in unit], [np.nan] * len(age), age)


def _padded(table: pd.DataFrame) -> tuple[_Looks, pd.MultiIndex]:
    builds = pd.MultiIndex.from_frame(table[["unit", "build"]].drop_duplicates())
    row = table.groupby(["unit", "build"], sort=False).ngroup().to_numpy()
    column = table.groupby(["unit", "build"], sort=False).cumcount().to_numpy()
    shape = (len(builds), int(column.max()) + 1)
    age, off, read = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    noise = np.full(shape, _NOT_READ)
    age[row, column] = table["age"]
    off[row, column] = table["off"]
    noise[row, column] = table["variance"]
    read[row, column] = 1.0
    return _Looks(age, off, noise, read), builds


def _covariance(first: FloatArray, second: FloatArray, spreads: FloatArray) -> FloatArray:
    start, rate, strays = spreads
    return np.asarray(start + rate * first * second + strays * np.minimum(first, second))


def _matrices(looks: _Looks, spreads: FloatArray) -> FloatArray:
    both = looks.read[:, :, np.newaxis] * looks.read[:, np.newaxis, :]
    between = _covariance(looks.age[:, :, np.newaxis], looks.age[:, np.newaxis, :], spreads)
    count = looks.age.shape[1]
    noise = np.where(looks.read > 0.0, looks.noise, 1.0)
    return np.asarray(between * both + noise[:, :, np.newaxis] * np.eye(count))


def _design(looks: _Looks) -> FloatArray:
    return np.stack([looks.read, looks.age * looks.read], axis=-1)


def _likelihood(looks: _Looks, spreads: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """Restricted log likelihood but for constants, and start and rate with their covariance."""
    factor = np.linalg.cholesky(_matrices(looks, spreads))
    design = _design(looks)
    both = np.linalg.solve(factor, np.concatenate([design, looks.off[..., np.newaxis]], axis=-1))
    products = np.einsum("bki,bkj->ij", both, both)
    precision = products[:2, :2]
    covariance = np.linalg.inv(precision)
    mean = covariance @ products[:2, 2]
    squares = float(products[2, 2] - products[:2, 2] @ mean)
    spread = float(np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2))))
    half = 0.5 * float(np.linalg.slogdet(precision)[1])
    return -0.5 * squares - spread - half, mean, covariance


def _fit(looks: _Looks) -> FloatArray:
    from scipy.optimize import minimize

    last = float(np.max(looks.age))
    size = max(float(np.var(looks.off[looks.read > 0.0])), _LEAST)
    scale = size / np.array([1.0, last**2, last])

    def loss(logs: FloatArray) -> float:
        # Times each standard deviation, so that no spread is taken for nought (Chung et al. 2013,
        # Psychometrika 78:685-709): without it growth was held in 74 to 89 %, not 87 to 89 %.
        return -_likelihood(looks, scale * np.exp(logs))[0] - 0.5 * float(logs.sum())

    best = minimize(loss, np.log([0.5, 0.2, 0.5]), method="L-BFGS-B", bounds=[(-9.0, 4.0)] * 3)
    if not np.isfinite(best.fun):
        message = "how far a clearance strays from its line could not be fitted"
        raise NotConvergedError(message, last=tuple(best.x))
    return np.asarray(scale * np.exp(best.x))

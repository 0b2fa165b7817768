"""Lives with covariates, sorted by what is known of them: what the regression likelihood sums."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import TooFewError
from wearstats.life.likelihood import typical_age

if TYPE_CHECKING:
    from wearstats.lives.histories import Histories, Indicator


@dataclass(frozen=True, slots=True, eq=False)
class Segments:
    """Stretches of unchanging covariates over which hazard gathers.

    Parameters
    ----------
    start, stop : ndarray, shape (s,)
        Log ages, scaled; start is -inf at age 0.
    covariates : ndarray, shape (s, p)
        Standardised.
    group : ndarray of int, shape (s,)
        What the hazard is summed for (a unit, or a life), in rising order.
    weight : ndarray, shape (s,)
    """

    start: FloatArray
    stop: FloatArray
    covariates: FloatArray
    group: IntArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Exposures:
    """The lives of a regression, sorted by unit and by kind of knowledge.

    Parameters
    ----------
    names : tuple of str, length p
    indicators : tuple of (Indicator or None), length p
        As in `Histories`.
    centre, spread : ndarray, shape (p,)
        Covariates below are (x - centre)/spread.
    mean, deviation : ndarray, shape (p,)
        Mean and standard deviation of each covariate over the runs watched.
    typical_age : float, runs
        Ages below are in these.
    units : tuple of str
    sure : Segments
        Surely survived, or survived up to an exact failure; group is the unit.
    entered : Segments
        Survived before the entry, taken to have had the covariates of the first stretch;
        group is the unit.
    between : Segments
        Between the last look that found a strip sound and the first that found it failed; group
        is the place in `looked_unit`.
    looked_unit, looked_weight : ndarray, shape (m,)
        Lives that failed between two looks.
    exact : Segments
        Failures at a known age, `stop`; group is the unit.
    lives, failures : float
        Informative lives and failures, by weight.
    """

    names: tuple[str, ...]
    indicators: "tuple[Indicator | None, ...]"
    centre: FloatArray
    spread: FloatArray
    mean: FloatArray
    deviation: FloatArray
    typical_age: float
    units: tuple[str, ...]
    sure: Segments
    entered: Segments
    between: Segments
    looked_unit: IntArray
    looked_weight: FloatArray
    exact: Segments
    lives: float
    failures: float

    @property
    def columns(self) -> int:
        """Number of covariates."""
        return len(self.names)

    def standardised(self, values: FloatArray) -> FloatArray:
        """Return covariates of shape (..., p) as the likelihood takes them."""
        scaled: FloatArray = (np.asarray(values, dtype=np.float64) - self.centre) / self.spread
        return scaled

    def log_age(self, age: FloatArray) -> FloatArray:
        """Return log(age/typical age), -inf at 0."""
        with np.errstate(divide="ignore"):
            return np.log(np.asarray(age, dtype=np.float64) / self.typical_age)


def watched(histories: "Histories") -> tuple[FloatArray, FloatArray]:
    """Return mean and standard deviation of each covariate over the runs watched, shape (p,)."""
    runs = (histories.stop - histories.start) * histories.observations.weight[histories.life]
    if not runs.size or not histories.names:
        return np.zeros(len(histories.names)), np.ones(len(histories.names))
    share = runs / runs.sum()
    mean = share @ histories.covariates
    return mean, np.sqrt(share @ (histories.covariates - mean) ** 2)


def expose(histories: "Histories", *, centred: bool) -> Exposures:
    """Sort the lives of a regression.

    Parameters
    ----------
    histories : Histories
    centred : bool
        Take the covariates from their means. For a Weibull law that is the same model, better
        conditioned; for another law the baseline would be another one, so there it is False.

    Raises
    ------
    TooFewError
        No life says anything.
    """
    seen = histories.observations
    if not histories.life.size:
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise TooFewError(message, have=0, need=1)
    mean, deviation = watched(histories)
    spread = np.where(deviation > 0, deviation, 1.0)
    centre = mean if centred else np.zeros_like(mean)
    covariates = (histories.covariates - centre) / spread
    units = tuple(dict.fromkeys(histories.units))
    place = {name: at for at, name in enumerate(units)}
    unit_of = np.array([place[name] for name in histories.units], dtype=np.intp)
    typical = typical_age(seen)
    exact = seen.failed & (seen.lower == seen.upper)
    looked = seen.failed & ~exact
    life, start, stop = histories.life, histories.start, histories.stop
    first = np.flatnonzero(np.diff(life, prepend=-1) > 0)
    last = np.append(first[1:], life.size) - 1

    def segments(rows: IntArray, begin: FloatArray, end: FloatArray, group: IntArray) -> Segments:
        order = np.argsort(group, kind="stable")
        with np.errstate(divide="ignore"):
            begin_log, end_log = np.log(begin / typical), np.log(end / typical)
        weight = seen.weight[life[rows]]
        return Segments(
            begin_log[order],
            end_log[order],
            covariates[rows[order]],
            group[order],
            weight[order],
        )

    lower = np.where(exact, seen.upper, seen.lower)[life]
    sure = np.flatnonzero(start < lower)
    after = np.flatnonzero(looked[life] & (stop > lower))
    looked_lives = np.flatnonzero(looked)
    looked_lives = looked_lives[np.argsort(unit_of[looked_lives], kind="stable")]
    place_of = np.full(looked.size, -1, dtype=np.intp)
    place_of[looked_lives] = np.arange(looked_lives.size)
    late = first[start[first] > 0]
    ends = last[exact[life[last]]]
    known = np.zeros(looked.size, dtype=np.bool_)
    known[life] = True
    return Exposures(
        names=histories.names,
        indicators=histories.indicators,
        centre=centre,
        spread=spread,
        mean=mean,
        deviation=deviation,
        typical_age=typical,
        units=units,
        sure=segments(sure, start[sure], np.minimum(stop, lower)[sure], unit_of[life[sure]]),
        entered=segments(late, np.zeros(late.size), start[late], unit_of[life[late]]),
        between=segments(
            after, np.maximum(start, lower)[after], stop[after], place_of[life[after]]
        ),
        looked_unit=unit_of[looked_lives],
        looked_weight=seen.weight[looked_lives],
        exact=segments(ends, start[ends], stop[ends], unit_of[life[ends]]),
        lives=float(seen.weight[known].sum()),
        failures=seen.failures,
    )

"""How many strips have failed in each way by an age, all ways at work (Aalen-Johansen).

Ours and not a library's: lifelines separates lives that fail at one age by random shifts, so that
two calls give two answers, and none conditions on an age with a real risk set. Runs are whole
numbers, so lives that fail at one age are the rule here; they are counted together, exactly.

A failure in one way takes the strips out before they can fail in another, so the shares failed
in each way and the share still sound add up to 1. The complement of a Kaplan-Meier curve for one
way alone does not answer this: it says how many would fail if no other way existed.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.life import risk_sets
from wearstats.life.results import check_runs, critical_value

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives.observations import Observations
    from wearstats.lives.strip_lives import StripLives

_ROUNDING = 1e-12

AS_FOUND = (
    "failures count at the age at which they were found; the strips failed earlier, so the curves "
    "lag by up to the runs between looks"
)

TextArray: TypeAlias = NDArray[np.object_]


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeIncidence:
    """Shares failed by age in each way, given sound at `given_age`.

    Parameters
    ----------
    given_age, last_age : float, runs
        From where the curves run, and to where: nobody was watched longer.
    level : float
    lives : float
        Informative lives.
    failures : dict of str to float
        Failures after `given_age` in each way.
    modes : tuple of str
        Ways of failing, sorted.
    age, at_risk, sound : ndarray, shape (m,)
        Ages after `given_age` at which any failed, lives at risk just before, share still sound.
    failed : ndarray, shape (modes, m)
        Share failed in each way by each age.
    standard_error, low, high : ndarray, shape (modes, m)
        Greenwood-type (delta-method) errors and log(-log) intervals, which stay in [0, 1]. Low
        is 0 and high NaN before the first failure in that way: nothing bounds it there.
    notes : tuple of str

    Notes
    -----
    The variance is that of Dinse & Larson 1986, Biometrika 73:379-386, and Gaynor et al. 1993,
    J. American Statistical Association 88:400-409 (both from memory). Where nobody is lost or
    late it is the binomial one, as that of R's survival; R's cmprsk prints the variance of
    another estimator.
    """

    given_age: float
    last_age: float
    level: float
    lives: float
    failures: dict[str, float]
    modes: tuple[str, ...]
    age: FloatArray
    at_risk: FloatArray
    sound: FloatArray
    failed: FloatArray
    standard_error: FloatArray
    low: FloatArray
    high: FloatArray
    notes: tuple[str, ...]

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns mode, runs, at_risk, failed, standard_error, low, high: a row a mode and age."""
        import pandas as pd

        count = len(self.modes)
        return pd.DataFrame(
            {
                "mode": np.repeat(np.array(self.modes, dtype=object), self.age.size),
                "runs": np.tile(self.age, count),
                "at_risk": np.tile(self.at_risk, count),
                "failed": self.failed.ravel(),
                "standard_error": self.standard_error.ravel(),
                "low": self.low.ravel(),
                "high": self.high.ravel(),
            }
        )

    def at(self, mode: str, runs: float) -> Estimate:
        """Return the share failed in this way by this age, given sound at `given_age`.

        Raises
        ------
        UsageError
            Nothing is known of this way of failing.
        ObservationError
            The age lies before `given_age` or after `last_age`.
        """
        row, place = self._where(mode, runs)
        if place < 0 or self.failed[row, place] == 0:
            note = f"no strips {mode} between {self.given_age:g} and {runs:g} runs"
            return Estimate(0.0, 0.0, None, self.level, note=note)
        value, low, high = (part[row, place] for part in (self.failed, self.low, self.high))
        return Estimate(float(value), float(low), float(high), self.level)

    def error_at(self, mode: str, runs: float) -> float:
        """Return the standard error of `at`; raises as `at` does."""
        row, place = self._where(mode, runs)
        return float(self.standard_error[row, place]) if place >= 0 else 0.0

    def _where(self, mode: str, runs: float) -> tuple[int, int]:
        if mode not in self.modes:
            message = f"no strips are known to have failed as {mode!r}; there is "
            raise UsageError(message + (", ".join(self.modes) or "no failure"))
        if not self.given_age <= check_runs(runs) <= self.last_age:
            message = (
                f"the curves run from {self.given_age:g} to {self.last_age:g} runs; "
                f"nothing is known of {runs:g}"
            )
            raise ObservationError(message)
        return self.modes.index(mode), int(np.searchsorted(self.age, runs, side="right")) - 1


def cumulative_incidence(
    lives: "StripLives",
    level: float = 0.9,
    *,
    given_age: float | None = None,
    as_found: bool = False,
) -> CumulativeIncidence:
    """Return the share failed in each way by age.

    Parameters
    ----------
    lives : StripLives
    level : float
    given_age : float or None, runs
        Condition on being sound at this age; None takes 0, or with late entries the first age
        with a real risk set (see `risk_sets.LEAST_AT_RISK`).
    as_found : bool
        Where looks are apart, count each failure at the age at which it was found, and say so:
        the curves then lag behind the truth by up to the time between looks. False refuses
        lives whose interval holds an age of another life, since in which order the two failed
        is not known; where no interval does, counting at the upper end is exact.

    Raises
    ------
    TooFewError
        No informative life.
    ObservationError
        Intervals overlap and `as_found` is False (names the first life); or nobody was at risk
        after `given_age`.
    """
    critical_value(level)
    observations, modes = _any_failure(lives)
    tells = observations.informative
    if not tells.any():
        message = "no life says anything: none was seen to last past its entry, or to fail"
        raise TooFewError(message, have=0, need=1)
    entry, weight = observations.entry[tells], observations.weight[tells]
    lower, upper, mode = observations.lower[tells], observations.upper[tells], modes[tells]
    labels = [observations.labels[place] for place in np.flatnonzero(tells)]
    notes = _placed(entry, lower, upper, labels, as_found=as_found)
    failed = np.isfinite(upper)
    leaves = np.where(failed, upper, lower)
    ages = np.unique(upper[failed])
    names = tuple(sorted({str(word) for word in mode[failed]}))
    deaths = _deaths(ages, names, upper[failed], mode[failed], weight[failed])
    at_risk = risk_sets.at_risk(entry, leaves, weight, ages)
    everyone = deaths.sum(axis=0)
    # All that were at risk failed, whatever the rounding of weights summed in another order.
    at_risk = np.where(at_risk <= everyone * (1 + _ROUNDING), everyone, at_risk)
    begin = risk_sets.first_real_age(entry, leaves, weight, ages[at_risk == everyone])
    given = begin if given_age is None else check_runs(given_age)
    last = float(leaves.max())
    if given >= last:
        message = f"nobody was watched past {given:g} runs"
        raise ObservationError(message)
    after = ages > given
    at_risk, deaths = at_risk[after], deaths[:, after]
    sound, shares, errors = _shares(at_risk, deaths)
    low, high = _ends(shares, errors, level)
    return CumulativeIncidence(
        given_age=given,
        last_age=last,
        level=level,
        lives=float(weight.sum()),
        failures=dict(zip(names, deaths.sum(axis=1).tolist(), strict=True)),
        modes=names,
        age=ages[after],
        at_risk=at_risk,
        sound=sound,
        failed=shares,
        standard_error=errors,
        low=low,
        high=high,
        notes=notes + _notes(given, begin, int((~after).sum())),
    )


def _any_failure(lives: "StripLives") -> tuple["Observations", TextArray]:
    """Return the usable lives with failures in any way, and the way of each; empty if sound."""
    from wearstats.lives.observations import Observations

    rows = lives.usable
    modes = rows["mode"].to_numpy(dtype=object)
    upper = np.where(modes == "", np.inf, rows["upper"].to_numpy(dtype=np.float64))
    labels = tuple(
        f"{unit} build {build}" for unit, build in zip(rows["unit"], rows["build"], strict=True)
    )
    entry, lower, weight = (
        rows[name].to_numpy(dtype=np.float64) for name in ("entry", "lower", "weight")
    )
    return Observations(entry, lower, upper, weight, labels), modes


def _placed(
    entry: FloatArray, lower: FloatArray, upper: FloatArray, labels: list[str], *, as_found: bool
) -> tuple[str, ...]:
    """Refuse failures whose order is not known, or say that they count as found."""
    found = risk_sets.straddled(entry, lower, upper)
    if found is None:
        return ()
    if as_found:
        return (AS_FOUND,)
    place, age = found
    message = (
        f"no shares by way of failing: {labels[place]} failed between {lower[place]:g} and "
        f"{upper[place]:g} runs, and another life is known to {age:g}, so that their order is "
        "not known"
    )
    raise ObservationError(message, hint="as_found=True counts failures when they were found")


def _deaths(
    ages: FloatArray, names: tuple[str, ...], at: FloatArray, mode: TextArray, weight: FloatArray
) -> FloatArray:
    """Failures by way and age, shape (modes, m)."""
    deaths = np.zeros((len(names), ages.size))
    for row, name in enumerate(names):
        so = mode == name
        deaths[row] = np.bincount(np.searchsorted(ages, at[so]), weight[so], ages.size)
    return deaths


def _shares(at_risk: FloatArray, deaths: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the share sound, the shares failed and their errors."""
    everyone = deaths.sum(axis=0)
    sound = np.cumprod(1 - everyone / at_risk)
    before = np.concatenate([[1.0], sound[:-1]])
    failed = np.cumsum(before * deaths / at_risk, axis=1)
    left = at_risk - everyone
    # Where none is left nothing later depends on it: the terms it enters are nought.
    lost = np.where(left > 0, everyone / (at_risk * np.where(left > 0, left, 1.0)), 0.0)
    joint = before * deaths / at_risk**2
    alone = before**2 * deaths * (at_risk - deaths) / at_risk**3
    variance = (
        failed**2 * np.cumsum(lost)
        - 2 * failed * (np.cumsum(failed * lost, axis=1) + np.cumsum(joint, axis=1))
        + np.cumsum(failed**2 * lost + alone + 2 * failed * joint, axis=1)
    )
    # Differences of running sums: nought comes out as rounding.
    return sound, failed, np.sqrt(np.where(variance > _ROUNDING * failed, variance, 0.0))


def _ends(failed: FloatArray, errors: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    """Return log(-log) limits, which stay in [0, 1]."""
    some = (failed > 0) & (failed < 1)
    inner = np.where(some, failed, 0.5)
    width = np.sqrt(critical_value(level)) * errors / (inner * -np.log(inner))
    low = np.where(some, inner ** np.exp(width), failed)
    high = np.where(some, inner ** np.exp(-width), np.where(failed == 0, np.nan, failed))
    return low, high


def _notes(given: float, begin: float, left: int) -> tuple[str, ...]:
    notes = []
    if given > 0:
        notes.append(f"the shares are of strips sound at {given:g} runs")
    if given < begin:
        few = f"{risk_sets.LEAST_AT_RISK:g}"
        notes.append(f"fewer than {few} lives, or none, were watched before {begin:g}")
    if left:
        notes.append(f"failures at {left} ages, up to {given:g} runs, are not in the shares")
    return tuple(notes)

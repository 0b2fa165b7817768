"""New sets of lives like those on record: drawn again, or simulated under the same looks.

**Cases.** Lives drawn with replacement: weights over the distinct rows.

**Simulated.** Each life keeps its entry and the looks that are known of it: its last sound look
and the look that found it failed. A failing age is drawn from the fitted law, given that the
life was sound at its entry. What a life's record cannot show is filled in anew for every set:

- looks between entry and last sound look, and looks past a failure, follow one another at gaps
  drawn from those seen between a sound look and the one that found a failure. A long gap is the
  likelier to catch a failure, so a gap is drawn with a chance inverse to its length;
- how long a failed life would have been watched is drawn from the product-limit curve of the
  watches' ends (those of unfinished lives), given that it lasted to the failure. No life is
  watched past the oldest age on record, unless every life failed: then watch is kept until
  failure, for up to a thousand times that age. The watch of an unfinished life ends where it did;
- failures of lives watched without gaps stay exact. An unfinished life counts as watched so in
  as many sets as failures on record are exact.

A row of several lives alike is simulated as so many lives.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.life.distributions import Law, Loglogistic, Lognormal

if TYPE_CHECKING:
    from wearstats.lives.observations import Observations


Line: TypeAlias = tuple[float, float] | tuple[FloatArray, FloatArray]

_UNTIL_FAILURE = 1000.0

_MOST_LOOKS = 200
"""Looks filled in one after another; further out only the two about a failure are drawn."""


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """How lives were watched: what simulated lives keep of the records.

    Parameters
    ----------
    entry, lower, upper, weight : ndarray, shape (n,)
        Of informative lives; a row of several lives alike repeated.
    gaps, gap_reached : ndarray
        Gaps between looks, sorted, and the chance that a gap is no longer.
    ends, end_reached : ndarray
        Ages at which watches end, sorted, and the chance that one ended by then.
    """

    entry: FloatArray
    lower: FloatArray
    upper: FloatArray
    weight: FloatArray
    gaps: FloatArray
    gap_reached: FloatArray
    ends: FloatArray
    end_reached: FloatArray

    @property
    def size(self) -> int:
        """Number of lives in a simulated set."""
        return len(self.entry)


def watch_of(observations: "Observations") -> Watch:
    """Read off how lives were watched."""
    tells = observations.informative
    weight = observations.weight[tells]
    whole = bool((weight == np.round(weight)).all())
    times = np.round(weight).astype(np.int64) if whole else np.ones(weight.size, dtype=np.int64)
    entry, lower, upper = (
        np.repeat(ages[tells], times)
        for ages in (observations.entry, observations.lower, observations.upper)
    )
    each = np.ones(entry.size) if whole else weight
    found = np.isfinite(upper) & (upper > lower)
    gaps, place = np.unique(upper[found] - lower[found], return_inverse=True)
    chance = np.bincount(place.ravel(), each[found], gaps.size) / gaps
    ends, reached = _watch_ends(lower, upper, each)
    return Watch(
        entry=entry,
        lower=lower,
        upper=upper,
        weight=each,
        gaps=gaps,
        gap_reached=np.cumsum(chance) / max(float(chance.sum()), 1e-300),
        ends=ends,
        end_reached=reached,
    )


def _watch_ends(
    lower: FloatArray, upper: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the product-limit curve of the ends of watches, whole at the oldest age.

    Unfinished lives end it, failures leave it open; late entries are counted from the start,
    because a watch that ended before entry left no record either way.
    """
    failed = np.isfinite(upper)
    reached = np.where(failed, upper, lower)
    if failed.all():
        return np.array([_UNTIL_FAILURE * float(reached.max(initial=1.0))]), np.ones(1)
    ends = np.unique(lower[~failed])
    at_risk = np.array([weight[(reached > end) | (reached == end)].sum() for end in ends])
    ended = np.array([weight[~failed & (lower == end)].sum() for end in ends])
    left = np.cumprod(1.0 - ended / at_risk)
    oldest = float(reached.max())
    if ends[-1] < oldest:
        ends, left = np.append(ends, oldest), np.append(left, 0.0)
    return ends, 1.0 - left


def simulate(
    law: Law, watch: Watch, line: Line, *, sets: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Simulate sets of lives under the same watch.

    Parameters
    ----------
    law : Law
    watch : Watch
    line : (float, float) or (ndarray, ndarray), shape (sets, 1) each
        Intercept and slope: z = intercept + slope * log(age), age in runs (not scaled).
    sets : int
    rng : numpy.random.Generator

    Returns
    -------
    lower, upper : ndarray, shape (sets, n), runs
    """
    shape = (sets, watch.size)
    intercept, slope = line
    before = _hazard_at(law, intercept + slope * _log(watch.entry)) * (watch.entry > 0)
    lived = before - np.log1p(-rng.random(shape))
    fails = np.exp((position(law, lived) - intercept) / slope)
    fails = np.maximum(fails, np.nextafter(watch.entry, np.inf))
    ends = _ends(watch, shape, rng)
    plain = _without_gaps(watch, shape, rng)
    lower, upper = _looked(watch, fails, ends, plain, rng)
    exact = plain & (fails <= ends)
    lower = np.where(plain, np.minimum(fails, ends), lower)
    return lower, np.where(plain, np.where(exact, fails, np.inf), upper)


def position(law: Law, hazard: FloatArray) -> FloatArray:
    """Return the z at which the law's cumulative hazard has this value."""
    from scipy import special

    if isinstance(law, Lognormal):
        upside_down: FloatArray = -special.ndtri_exp(-hazard)
        return upside_down
    log_hazard = np.log(np.maximum(hazard, 1e-300))
    if isinstance(law, Loglogistic):
        return np.where(hazard > 30.0, hazard, np.log(np.expm1(np.minimum(hazard, 30.0))))  # noqa: PLR2004 - exp(-30) is lost in rounding
    return log_hazard


def _hazard_at(law: Law, z: FloatArray) -> FloatArray:
    return law.hazard(z)[0]


def _log(age: FloatArray) -> FloatArray:
    return np.log(np.where(age > 0, age, 1.0))


def _drawn(values: FloatArray, reached: FloatArray, share: FloatArray) -> FloatArray:
    places = np.minimum(np.searchsorted(reached, share, side="right"), values.size - 1)
    return values[places]


def _ends(watch: Watch, shape: tuple[int, int], rng: np.random.Generator) -> FloatArray:
    """Draw where each watch ends; that of an unfinished life ends where it did."""
    failed = np.isfinite(watch.upper)
    ends = np.broadcast_to(watch.lower, shape).copy()
    known = watch.upper[failed]
    gone = np.searchsorted(watch.ends, known, side="left") - 1
    before = np.where(gone >= 0, watch.end_reached[np.maximum(gone, 0)], 0.0)
    share = before + rng.random((shape[0], known.size)) * (1.0 - before)
    ends[:, failed] = np.maximum(_drawn(watch.ends, watch.end_reached, share), known)
    return ends


def _without_gaps(watch: Watch, shape: tuple[int, int], rng: np.random.Generator) -> BoolArray:
    """Draw which lives are watched without gaps."""
    failed = np.isfinite(watch.upper)
    exact = failed & (watch.upper == watch.lower)
    share = float(watch.weight[exact].sum() / watch.weight[failed].sum()) if failed.any() else 1.0
    plain = np.broadcast_to(exact, shape).copy()
    if 0.0 < share < 1.0:
        unfinished = ~failed
        plain[:, unfinished] = rng.random((shape[0], int(unfinished.sum()))) < share
    elif share == 1.0:
        plain[:] = True
    return plain


def _looked(
    watch: Watch, fails: FloatArray, ends: FloatArray, plain: BoolArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return the looks about each failure: last sound, first failed."""
    if not watch.gaps.size:
        return ends, np.full(ends.shape, np.inf)
    lower = np.broadcast_to(watch.lower, fails.shape)
    upper = np.broadcast_to(watch.upper, fails.shape)
    early = fails <= lower
    late = fails > np.where(np.isfinite(upper), upper, lower)
    # From where looks are filled in, and the look that closes the stretch.
    before = np.where(late, np.minimum(upper, ends), np.broadcast_to(watch.entry, fails.shape))
    last = np.where(early, lower, ends)
    low = np.where(early | late, before, lower)
    high = np.where(early | late, before, upper)
    going = np.flatnonzero((early | late) & ~plain)
    here, goal, close = before.flat[going], fails.flat[going], last.flat[going]
    low, high = low.ravel(), high.ravel()
    for look in range(_MOST_LOOKS + 2):
        if not going.size:
            break
        gap = _drawn(watch.gaps, watch.gap_reached, rng.random(going.size))
        if look == _MOST_LOOKS:
            here = np.maximum(here, np.minimum(goal, close) - gap * rng.random(going.size))
        ahead = here + gap
        ahead = np.minimum(ahead, close)
        caught, over = ahead >= goal, ahead >= close
        low[going] = np.where(caught, here, ahead)
        high[going] = np.where(caught, ahead, np.inf)
        stay = ~(caught | over)
        going, here, goal, close = going[stay], ahead[stay], goal[stay], close[stay]
    return low.reshape(fails.shape), high.reshape(fails.shape)


def drawn_again(
    observations: "Observations", sets: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Draw lives with replacement.

    Returns
    -------
    entry, lower, upper : ndarray, shape (m,), runs
        Distinct informative rows.
    weight : ndarray, shape (sets, m)
        How often each was drawn; sums to the number of lives (by weight) on record.
    """
    tells = observations.informative
    parts = [observations.entry, observations.lower, observations.upper]
    rows, place = np.unique(np.stack(parts, axis=1)[tells], axis=0, return_inverse=True)
    weight = np.bincount(place.ravel(), observations.weight[tells], len(rows))
    total = float(weight.sum())
    draws = max(round(total), 1)
    times = rng.multinomial(draws, weight / total, size=sets).astype(np.float64)
    return rows[:, 0], rows[:, 1], rows[:, 2], times * (total / draws)

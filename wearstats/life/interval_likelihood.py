"""The hazard that suits lives known to intervals best, and the chances that suit them well enough.

Pointwise intervals are likelihood-ratio intervals: all chances S(t) whose best curve lies no
further below the best of all than half the chi-square(1) quantile (Thomas & Grunkemeier 1975,
J. American Statistical Association 70:865-871, for right-censored lives; from memory). They
stay in [0, 1], need no variance, and hold where nothing failed yet. Where looks fall at shared
ages the limit law is that chi-square; where every life is looked at by ages of its own it is
smaller (Banerjee & Wellner 2001, Annals of Statistics 29:1699-1731: 2.27 for 3.84 at 95 %; from
memory), so the intervals are then wider than their level asks.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import NotConvergedError
from wearstats.life.hazard_steps import Climb, climb, information
from wearstats.life.innermost import Innermost, innermost

_NEARLY_ALL = 1e-5
_FLAT = 1e-7
_MOST_TRIPLINGS = 60
_MOST_TURNS = 200
_SLOW = 8


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """Informative lives, as in `Observations`; each array of shape (n,)."""

    entry: FloatArray
    lower: FloatArray
    upper: FloatArray
    weight: FloatArray

    def intervals(self, marks: tuple[float, ...] = ()) -> Innermost:
        """Return the innermost intervals, divided at the marks."""
        return innermost(self.entry, self.lower, self.upper, self.weight, marks)


@dataclass(frozen=True, slots=True, eq=False)
class Hazard:
    """Hazard on innermost intervals.

    Parameters
    ----------
    steps : ndarray, shape (m,)
        Increments of the cumulative hazard; infinite where all who were watched failed.
    log_likelihood : float
        Of the lives, each given that it was sound at its entry.
    gap : float
        Largest relative excess of failures expected over lives at risk.
    """

    steps: FloatArray
    log_likelihood: float
    gap: float


def best_hazard(
    intervals: Innermost, tilt: FloatArray | None = None, near: Hazard | None = None
) -> Hazard:
    """Return the hazard of greatest likelihood.

    Parameters
    ----------
    intervals : Innermost
    tilt : ndarray, shape (m,), or None
        Weight added to the lives at risk, infinite where no hazard may stand; the log
        likelihood is that of the lives as they are.
    near : Hazard or None
        On the same intervals, to begin with.

    Raises
    ------
    NotConvergedError
    """
    risk = intervals.at_risk if tilt is None else intervals.at_risk + tilt
    certain, kept, lives = _posed(intervals, risk)
    if lives.weight.size and (lives.after == lives.first).any():
        return Hazard(np.zeros_like(risk), -np.inf, 0.0)
    found, gap = climb(lives, None if near is None else near.steps[kept])
    steps = np.where(certain, np.inf, 0.0)
    steps[kept] = found
    reached = lives.value(found) - float((intervals.at_risk[kept] - lives.risk) @ found)
    return Hazard(steps, reached, gap)


def settled(intervals: Innermost, hazard: Hazard) -> bool:
    """Tell whether no other sharing of hazard among the intervals does as well.

    The masses that serve equally well differ along a line that no failure notices; there is
    none where the failures tie all intervals worth using together (Gentleman & Vandal 2002,
    Canadian J. Statistics 30:557-571; from memory).
    """
    _, kept, lives = _posed(intervals, intervals.at_risk, thin=False)
    steps = hazard.steps[kept]
    worth = (steps > 0) | (lives.slope(steps) >= -_FLAT * lives.scale)
    tied = lives.on(np.flatnonzero(worth))
    return _in_one_piece(int(worth.sum()) + 1, tied.first, tied.after)


def _in_one_piece(size: int, ends: IntArray, others: IntArray) -> bool:
    """Tell whether edges tie so many points together."""
    leads = list(range(size))

    def lead(point: int) -> int:
        while leads[point] != point:
            leads[point] = leads[leads[point]]
            point = leads[point]
        return point

    pieces = size
    for end, other in zip(ends.tolist(), others.tolist(), strict=True):
        here, there = lead(end), lead(other)
        pieces -= here != there
        leads[here] = there
    return pieces == 1


def variance(intervals: Innermost, hazard: Hazard, since: float, until: float) -> float:
    """Return the inverse-information variance of the cumulative hazard between two ages."""
    _, kept, lives = _posed(intervals, intervals.at_risk)
    about, within = information(lives, hazard.steps[kept])
    upper = intervals.upper[kept][within]
    contrast = np.zeros(upper.size)
    for age, sign in ((until, 1.0), (since, -1.0)):
        passed = int(np.searchsorted(upper, age, side="right"))
        if passed:
            contrast[passed - 1] += sign
    return float(contrast @ np.linalg.solve(about, contrast)) if upper.size else 0.0


def chance_ends(
    watched: Watched, best: float, since: float, until: float, threshold: float
) -> tuple[float, float]:
    """Return the likelihood-ratio interval for the chance to outlast `until` given `since`.

    Parameters
    ----------
    watched : Watched
    best : float
        Greatest log likelihood.
    since, until : float, runs
    threshold : float
        Critical value of twice the drop of the log likelihood.

    Returns
    -------
    low, high : float

    Notes
    -----
    The best curve among those with one chance S(until) is the best of all with so many lives
    more (or fewer) at risk between the two ages: the multiplier of the constraint.
    """
    search = _Search(watched, best, since, until, threshold)
    return search.low_end(), search.high_end()


class _Search:
    """The search for both ends; each best curve begins the climb to the next."""

    def __init__(
        self, watched: Watched, best: float, since: float, until: float, threshold: float
    ) -> None:
        self.best, self.threshold = best, threshold
        self.intervals = watched.intervals((since, until))
        self.between = (self.intervals.upper > since) & (self.intervals.upper <= until)
        self.last = best_hazard(self.intervals)
        self.begin()

    def begin(self) -> None:
        """Forget the points passed on the way to the other end."""
        self.known: dict[float, float] = {}
        self.inside, self.outside = (-np.inf, np.nan), (np.inf, np.nan)

    def low_end(self) -> float:
        self.begin()
        fewest = float(self.intervals.at_risk[self.between].min())
        if fewest <= 0:
            return 0.0
        # Three quarters of the fewest fewer, at first, and ever nearer to all of them.
        less, left = 0.0, 0.25
        while self.too_far(-fewest * (1 - left)) < 0:
            if left < _NEARLY_ALL:
                # Where no failure needs it, further hazard costs the fewest at risk, no more.
                to_spare = self.threshold - self.drop(self.last)
                return self.chance() * float(np.exp(-to_spare / 2 / fewest))
            less, left = 1 - left, left / 8
        return self._between(-fewest * (1 - left), -fewest * less)

    def high_end(self) -> float:
        self.begin()
        none = best_hazard(self.intervals, np.where(self.between, np.inf, 0.0))
        if self.drop(none) <= self.threshold:
            return 1.0
        # Some weight, also where all who were watched have failed and nobody is at risk.
        weight = self.intervals.at_risk.max() + self.intervals.weight.sum()
        less, more = 0.0, float(np.sqrt(self.threshold * weight))
        for _ in range(_MOST_TRIPLINGS):
            if self.too_far(more) >= 0:
                return self._between(less, more)
            less, more = more, 3 * more
        message = f"no chance to outlast an age is too great for the lives, up to {self.chance():g}"
        raise NotConvergedError(message, last=[self.chance()])

    def too_far(self, lives: float) -> float:
        """Return how far beyond the threshold; nearly straight in the lives, unlike the drop."""
        if lives in self.known:  # anew it may come out on the other side of a leap
            return self.known[lives]
        tilt = np.where(self.between, lives, 0.0)
        self.last = best_hazard(self.intervals, tilt, self.last)
        drop, hazard = self.drop(self.last), float(self.last.steps[self.between].sum())
        if drop < self.threshold and drop >= self.inside[0]:
            self.inside = (drop, hazard)
        if drop >= self.threshold and drop < self.outside[0]:
            self.outside = (drop, hazard)
        self.known[lives] = float(np.sqrt(max(drop, 0.0)) - np.sqrt(self.threshold))
        return self.known[lives]

    def _between(self, low: float, high: float) -> float:
        """Return the chance at the threshold, reached between these numbers of lives.

        Where failures leave it open to which of two intervals hazard belongs, the best curve
        leaps from one to the other at one number of lives; between them the best likelihood is
        straight in the hazard, as it is concave and has this number for its slope at both.
        """
        _root(self.too_far, low, high)
        (near, here), (far, there) = self.inside, self.outside
        if np.isinf(here):  # nobody was left at the last point inside: the one outside is close
            return float(np.exp(-there))
        share = (self.threshold - near) / (far - near)
        return float(np.exp(-(here + share * (there - here))))

    def drop(self, hazard: Hazard) -> float:
        return 2 * (self.best - hazard.log_likelihood)

    def chance(self) -> float:
        return float(np.exp(-self.last.steps[self.between].sum()))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a function, nearly straight but for leaps, crosses nought between two points.

    By inverse interpolation through the last three points, kept between a point before and one
    past it; by halves too where that is slow.
    """
    close = 1e-9 * (high - low)
    points = [(low, function(low)), (high, function(high))]
    rises = points[0][1] < points[1][1]
    for turn in range(_MOST_TURNS):
        here = points[-1][0]
        ahead = _foreseen(points[-3:])
        if not low < ahead < high or (turn >= _SLOW and turn % 2):
            ahead = (low + high) / 2
        near = close + 1e-8 * abs(here)
        if abs(ahead - here) <= near / 10:
            break
        found = function(ahead)
        points.append((ahead, found))
        low, high = (ahead, high) if (found < 0) == rises else (low, ahead)
        if found == 0 or high - low <= near:
            break
    return points[-1][0]


def _foreseen(points: list[tuple[float, float]]) -> float:
    """Return where the parabola (or line) through points, laid on its side, crosses nought."""
    if len({value for _, value in points}) < len(points):
        return np.nan
    return sum(
        place * math.prod(other / (other - value) for at, other in points if at != place)
        for place, value in points
    )


def _posed(
    intervals: Innermost, risk: FloatArray, *, thin: bool = True
) -> tuple[BoolArray, IntArray, Climb]:
    """Return where failure is certain, where hazard may stand, and the lives on these places."""
    covered = intervals.covered
    certain = covered & (risk <= 0)
    passed = np.concatenate([[0], np.cumsum(certain)])
    open_still = passed[intervals.after] == passed[intervals.first]
    first, after = intervals.first[open_still], intervals.after[open_still]
    size = risk.size + 1
    begun, ended = np.bincount(first, minlength=size), np.bincount(after, minlength=size)
    useful = (np.cumsum(begun - ended)[:-1] > 0) & ~certain & np.isfinite(risk)
    kept = np.flatnonzero(useful)
    if thin:
        # Of intervals that the same failures share, the one that fewest have outlasted.
        alike = np.cumsum((begun + ended)[:-1] > 0)[kept]
        order = np.lexsort((risk[kept], alike))
        kept = np.sort(kept[order][np.diff(alike, prepend=-1) > 0])
    lives = Climb(
        risk, np.maximum(risk, intervals.at_risk), first, after, intervals.weight[open_still]
    )
    return certain, kept, lives.on(kept)

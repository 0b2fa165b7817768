"""Profile-likelihood intervals of any quantity of a regression.

With a quantity held at c its pivot follows from the other parameters, so the likelihood is
maximised over the others alone, by Newton's method with the derivatives of the implicit
function. The interval ends where twice the fall reaches the critical value. Newton steps in all
parameters at once find most ends (Venzon & Moolgavkar 1988, Applied Statistics 37:87-94; from
memory); bracketed Newton steps on the signed root of the fall find the others, or that there is
no end.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import NotConvergedError
from wearstats.life.distributions import Jet
from wearstats.life.ends import SPAN, Ends
from wearstats.life.fitting import ascend
from wearstats.life.hazard_likelihood import Point, remembered
from wearstats.life.quantities import Quantity

_MOST_STRAIGHT = 12
_NEAR = 1e-5
"""Of a standard error: so near an end Newton's method is left with one last step."""


@dataclass(frozen=True, slots=True, eq=False)
class Summit:
    """A likelihood at its maximum.

    Parameters
    ----------
    likelihood : function
        theta to value, gradient and Hessian.
    theta : ndarray, shape (q,)
    free : ndarray of int
        Parameters that were estimated.
    covariance : ndarray, shape (q, q)
        0 for what was held.
    value : float
    least : ndarray, shape (q,)
        No parameter is taken below this (the log of a variance next to none).
    """

    likelihood: Callable[[FloatArray], Point]
    theta: FloatArray
    free: IntArray
    covariance: FloatArray
    value: float
    least: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """The likelihood maximised with a quantity held: theta, value, and its slope in c."""

    theta: FloatArray
    value: float
    slope: float


def solved(quantity: Quantity, c: float, theta: FloatArray) -> tuple[FloatArray, Point]:
    """Move the pivot until the quantity is c; its value is NaN where that cannot be."""
    theta = theta.copy()
    for _ in range(100):
        point = quantity.point(theta)
        step = (c - point[0]) / point[1][quantity.pivot]
        if not np.isfinite(step):
            return theta, (np.nan, point[1], point[2])
        if abs(step) < 1e-13 * (1.0 + abs(theta[quantity.pivot])):
            break
        theta[quantity.pivot] += np.clip(step, -5.0, 5.0)
    return theta, point


def profile_at(summit: Summit, quantity: Quantity, c: float, start: FloatArray) -> Profile:
    """Maximise with the quantity held at c, from start, shape (q,)."""
    pivot = quantity.pivot
    others = summit.free[summit.free != pivot]
    best = start.copy()
    likelihood = remembered(summit.likelihood)

    def placed(part: FloatArray) -> tuple[FloatArray, Point]:
        theta = best.copy()
        theta[others] = np.maximum(part, summit.least[others])
        return solved(quantity, c, theta)

    def objective(part: FloatArray) -> Jet:
        theta, held = placed(part)
        value, gradient, hessian = likelihood(theta)
        loose = part >= summit.least[others]
        fine = np.isfinite(gradient).all() and np.isfinite(hessian).all()
        if not (fine and np.isfinite(held[0]) and np.isfinite(value)):
            bad = np.full((others.size,) * 2, np.nan)
            return np.asarray(-np.inf), bad[0], bad
        turn = np.zeros((theta.size, others.size))
        turn[others, np.arange(others.size)] = 1.0
        turn[pivot] = -held[1][others] / held[1][pivot]
        bent = -(turn.T @ held[2] @ turn) / held[1][pivot]
        second = turn.T @ hessian @ turn + gradient[pivot] * bent
        return (
            np.asarray(value),
            (turn.T @ gradient) * loose,
            second * np.outer(loose, loose),
        )

    if others.size:
        if not np.isfinite(objective(best[others])[0]):
            return Profile(best, -np.inf, np.nan)
        best[others] = ascend(objective, best[others], most_steps=60).theta
    theta, held = placed(best[others])
    value, gradient, _ = likelihood(theta)
    return Profile(theta, value, float(gradient[pivot] / held[1][pivot]))


def interval(
    summit: Summit, quantity: Quantity, critical: float
) -> tuple[float, float | None, float | None]:
    """Return the quantity's estimate and the ends of its interval; None where unbounded.

    Raises
    ------
    NotConvergedError
        An end exists and was not found.
    """
    centre, gradient, _ = quantity.point(summit.theta)
    lean = summit.covariance @ gradient
    variance = float(gradient @ lean)
    if not 0.0 < variance < np.inf:
        message = "the likelihood is level at its top: no interval can be told"
        raise NotConvergedError(message, last=summit.theta.tolist())
    spread = float(np.sqrt(variance))
    span = SPAN * max(1.0, spread)
    ends: list[float | None] = []
    for sign in (-1.0, 1.0):
        search = _Search(centre, sign, critical, spread, span, lean / variance)
        end = _straight(summit, quantity, search)
        ends.append(_end(summit, quantity, search) if end is None else end)
    return centre, ends[0], ends[1]


def upper_end(summit: Summit, quantity: Quantity, critical: float, centre: float) -> float | None:
    """Return the upper end of a quantity whose likelihood is highest at its lower edge.

    Parameters
    ----------
    summit : Summit
        `value` is the limit at the edge.
    quantity : Quantity
    critical : float
    centre : float
        Close enough to the edge for the likelihood to be that at the edge.
    """
    still = np.zeros(summit.theta.size)
    return _end(summit, quantity, _Search(centre, 1.0, critical, 1.0, 3 * SPAN, still))


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """Where and how an end is sought: from the centre, to one side, first by so many spreads."""

    centre: float
    sign: float
    critical: float
    spread: float
    span: float
    lean: FloatArray


def _straight(summit: Summit, quantity: Quantity, search: _Search) -> float | None:
    """Return an end by Newton's method on all its conditions at once; None where that fails.

    At an end the fall is the critical value and the gradient is a multiple of the quantity's.
    """
    root, away = float(np.sqrt(search.critical)), search.sign * search.spread
    theta = _moved(summit, summit.theta + root * away * search.lean)
    pull = -root / away
    for _ in range(_MOST_STRAIGHT):
        value, gradient, hessian = summit.likelihood(theta)
        _, first, second = quantity.point(theta)
        missing = summit.value - value - search.critical / 2
        if not (np.isfinite(missing) and np.isfinite(hessian).all() and np.isfinite(first).all()):
            return None
        free = summit.free
        slope, bend = gradient[free], (hessian - pull * second)[np.ix_(free, free)]
        at_rest = _at_rest(missing, slope - pull * first[free], bend, root)
        matrix = np.block([[bend, -first[free][:, None]], [slope, np.zeros(1)]])
        try:
            step = np.linalg.solve(matrix, np.append(pull * first[free] - slope, missing))
        except np.linalg.LinAlgError:
            return None
        longest = float(np.max(np.abs(step[:-1]) / (1.0 + np.abs(theta[free]) / 4)))
        share = 1.0 / max(longest, 1.0)
        theta = theta.copy()
        theta[free] += share * step[:-1]
        pull += share * float(step[-1])
        if (theta < summit.least).any():
            return None
        if at_rest:
            c = quantity.point(theta)[0]
            pivot = int(np.flatnonzero(free == quantity.pivot)[0])
            found = _is_top(bend, first[free], pivot) and pull * search.sign < 0
            return c if found and 0 < search.sign * (c - search.centre) < search.span else None
    return None


def _at_rest(missing: float, left: FloatArray, bend: FloatArray, root: float) -> bool:
    """Tell whether so little is missing that one more step settles it."""
    try:
        gain = abs(float(left @ np.linalg.solve(bend, left)))
    except np.linalg.LinAlgError:
        return False
    return abs(missing) < _NEAR * root * (1 + root) and gain < _NEAR**2


def _is_top(bend: FloatArray, first: FloatArray, pivot: int) -> bool:
    """Tell whether the likelihood falls in every direction that keeps the quantity."""
    others = np.arange(first.size) != pivot
    along = np.eye(first.size)[:, others]
    along[pivot] = -first[others] / first[pivot]
    return bool((np.linalg.eigvalsh(along.T @ bend @ along) < 0).all())


def _end(summit: Summit, quantity: Quantity, search: _Search) -> float | None:
    target, centre, lean = np.sqrt([search.critical]), search.centre, search.lean
    ends = Ends(np.array([centre]), np.array([search.sign]), target, np.array([search.span]))
    c = centre + search.sign * float(target[0]) * search.spread
    known = summit.theta
    for _ in range(60):
        ahead = _moved(summit, known + (c - float(ends.inner[0])) * lean)
        found = profile_at(summit, quantity, c, ahead)
        if not np.isfinite(found.value):
            found = profile_at(summit, quantity, c, _moved(summit, known))
        fall = float(np.sqrt(2.0 * max(summit.value - found.value, 0.0)))
        if fall < target[0]:
            if c != centre:
                lean = (found.theta - summit.theta) / (c - centre)
            known = found.theta
        after = float(ends.take(np.array([c]), np.array([fall]), np.array([found.slope]))[0])
        if ends.done:
            return None if ends.unbounded[0] else c
        c = after
    message = "the end of a profile-likelihood interval was not found"
    raise NotConvergedError(message, last=summit.theta.tolist())


def _moved(summit: Summit, theta: FloatArray) -> FloatArray:
    """Return theta with what is not free as it was."""
    start = summit.theta.copy()
    start[summit.free] = np.maximum(theta, summit.least)[summit.free]
    return start

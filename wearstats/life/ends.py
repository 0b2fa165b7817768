"""The search for the ends of profile-likelihood intervals, one or many at once.

An end is where the square root of twice the likelihood's fall, its signed root, reaches the root
of the critical value. Each side is bracketed between a point inside the interval and one outside,
and walked by Newton steps on that root kept in the bracket.
"""

import numpy as np

from wearstats.arrays import BoolArray, FloatArray

SPAN = 12.0
"""How far from the estimate an end is sought, in standard errors and in units of the quantity
(a log, so a factor of 160 000), before that side counts as unbounded. Further out a cumulative
hazard past entry is the small difference of numbers too large for it."""

CLOSE = 1e-9


class Ends:
    """Brackets about ends, all of one shape.

    Parameters
    ----------
    centre : ndarray
        Where the search begins.
    sign : ndarray
        -1 or 1: to which side.
    target : ndarray
        Root of the critical value.
    span : ndarray
        Beyond this distance a side without an end so far has none.

    Attributes
    ----------
    inner, outer : ndarray
        The farthest point known inside, the nearest known outside (infinite so far).
    settled, unbounded : ndarray of bool
    """

    def __init__(
        self, centre: FloatArray, sign: FloatArray, target: FloatArray, span: FloatArray
    ) -> None:
        self.centre, self.sign, self.target, self.span = centre, sign, target, span
        shape = np.broadcast_shapes(centre.shape, sign.shape)
        self.inner = np.broadcast_to(centre, shape).copy()
        self.outer = np.full(shape, np.inf) * sign
        self.settled: BoolArray = np.zeros(shape, dtype=np.bool_)
        self.unbounded: BoolArray = np.zeros(shape, dtype=np.bool_)

    @property
    def done(self) -> bool:
        """Whether every end is found, or known not to be there."""
        return bool((self.settled | self.unbounded).all())

    def take(self, c: FloatArray, fall: FloatArray, slope: FloatArray) -> FloatArray:
        """Take in what was found at c, and return where to look next.

        Parameters
        ----------
        c : ndarray
        fall : ndarray
            Root of twice the fall of the likelihood at c.
        slope : ndarray
            Of the likelihood in c.
        """
        inside = fall < self.target
        self.settled |= np.abs(fall - self.target) < CLOSE * (1 + self.target)
        self.inner = np.where(inside, c, self.inner)
        self.outer = np.where(inside, self.outer, c)
        open_ended = ~np.isfinite(self.outer)
        reach = np.abs(c - self.centre)
        self.unbounded |= open_ended & (reach >= self.span)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.abs((self.target - fall) * fall / slope)
        wide = np.clip(np.nan_to_num(step, nan=np.inf), reach / 4, 2 * reach)
        nearer = c + step * np.where(inside, self.sign, -self.sign)
        with np.errstate(invalid="ignore"):
            between = (nearer - self.inner) * (nearer - self.outer) < 0
        middle = (self.inner + np.where(open_ended, self.inner, self.outer)) / 2
        nearer = np.where(between, nearer, middle)
        ahead = np.where(open_ended, c + self.sign * wide, nearer)
        # Where no float lies between, the end is as near as it can be.
        self.settled |= ~open_ended & ((ahead == self.inner) | (ahead == self.outer))
        return np.where(self.settled | self.unbounded, c, ahead)

"""Loss that the clearances should cause, about a multiplier, for a regression to go by."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.leakage.balance import NEVER_NOUGHT, Balance


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedLoss:
    """Loss of log pressure ratio as a straight line in the multiplier, at one value of it.

    The balance bends: at twice the area less than twice the boost is lost. A line laid at a
    multiplier of 1 would take the loss per thou of a tight unit for that of a wide one.

    Parameters
    ----------
    at : float
        Multiplier.
    loss, slope : ndarray, shape (rows,)
        ln of the no-leak ratio over the ratio at `at`, and its rate with the multiplier.
    per_thou : ndarray, shape (rows,)
        Rate of the loss with the tip clearance, per thou.
    """

    at: float
    loss: FloatArray
    slope: FloatArray
    per_thou: FloatArray

    @staticmethod
    def about(at: float, balance: Balance, hot_thou: FloatArray) -> "ExpectedLoss":
        """Work it out at a multiplier.

        Parameters
        ----------
        at : float
        balance : Balance
        hot_thou : ndarray, shape (3, rows)
        """
        area = np.maximum(balance.openings(hot_thou).sum(axis=0), NEVER_NOUGHT)
        ratio = balance.ratio(at * area)
        by_area = balance.slope(at * area) / ratio
        return ExpectedLoss(
            at=at,
            loss=np.asarray(np.log(balance.none / ratio)),
            slope=np.asarray(by_area * area),
            per_thou=np.asarray(by_area * at * balance.opening_per_thou(hot_thou)[0]),
        )

    def with_multiplier(self, multiplier: float) -> FloatArray:
        """Return the loss on the line at a multiplier, shape (rows,)."""
        return self.loss + (multiplier - self.at) * self.slope

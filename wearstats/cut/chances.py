"""Chances that the tightest place touches and that the loosest exceeds a limit."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray

_NODES = 60


@dataclass(frozen=True, slots=True, eq=False)
class ClearanceChances:
    """Running clearances of many places, each with an error of its own and one they share.

    Parameters
    ----------
    thou, u_thou : ndarray, shape (n,)
        Running clearance expected at each place, and the standard uncertainty of it alone.
    shared_u_thou : float
        Standard uncertainty of what moves all places together: feel, and growth in heat.
    """

    thou: FloatArray
    u_thou: FloatArray
    shared_u_thou: float

    @staticmethod
    def of(thou: ArrayLike, u_thou: ArrayLike, shared_u_thou: float) -> "ClearanceChances":
        """Make from array_likes of shape (n,)."""
        middle, own = np.broadcast_arrays(np.asarray(thou, float), np.asarray(u_thou, float))
        return ClearanceChances(middle.copy(), own.copy(), float(shared_u_thou))

    def touches(self) -> float:
        """Chance that at least one place has no running clearance left."""
        return self._some_beyond(-self.thou)

    def exceeds(self, limit_thou: float) -> float:
        """Chance that at least one place runs wider than a limit."""
        return self._some_beyond(self.thou - limit_thou)

    def _some_beyond(self, past: FloatArray) -> float:
        """Chance that an error carries at least one place beyond its bound, `past` of it now.

        Given the shared error places are independent; it is integrated out (Gauss-Hermite).
        """
        from scipy.special import log_ndtr

        nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
        moved = past[None] + self.shared_u_thou * nodes[:, None]
        within = np.exp(log_ndtr(-moved / self.u_thou[None]).sum(axis=1))
        return float(1.0 - weights @ within / math.sqrt(2.0 * math.pi))

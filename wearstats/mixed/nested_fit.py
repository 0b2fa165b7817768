"""What a fit of nested lines to readings says: effects, spreads, predictions and their freedom."""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.mixed.nested import NestedPosterior

_MOST_FREEDOM = 1e6


@dataclass(frozen=True, slots=True, eq=False)
class Predicted:
    """Lines at new rows.

    Parameters
    ----------
    mean, variance, freedom : ndarray, shape (n,)
        Degrees of freedom of the variance (Satterthwaite).
    """

    mean: FloatArray
    variance: FloatArray
    freedom: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class NestedFit:
    """A fitted model of builds within units, as numbers.

    Parameters
    ----------
    names : tuple of str
        Fixed effects.
    unit_names, build_names : tuple of str
        Components of units and of builds.
    variances : mapping of str to float
        Of each component.
    residual_variance : float
        Of a latent reading about its line, beyond what was known beforehand.
    log_likelihood : float
        Restricted, without the penalty.
    rows : int
    counts : mapping of str to int
        Labels in each component.
    unit_at, build_at : mapping of hashable to int
        Where each label stands in the posterior.
    posterior : NestedPosterior
    held : frozenset of str
        Components whose variance was known and not fitted.
    spread_covariance : ndarray, shape (s, s)
        Of the logs of the variances: residual, units', builds'; nought for one held at its floor.
    slopes : tuple of NestedPosterior
        How the posterior changes with each of those logs.
    """

    names: tuple[str, ...]
    unit_names: tuple[str, ...]
    build_names: tuple[str, ...]
    variances: Mapping[str, float]
    residual_variance: float
    log_likelihood: float
    rows: int
    counts: Mapping[str, int]
    unit_at: Mapping[Hashable, int]
    build_at: Mapping[Hashable, int]
    posterior: NestedPosterior
    held: frozenset[str]
    spread_covariance: FloatArray
    slopes: tuple[NestedPosterior, ...]

    @property
    def _fitted(self) -> tuple[str, ...]:
        """Components whose variance was fitted."""
        return tuple(name for name in self.variances if name not in self.held)

    @property
    def coefficients(self) -> FloatArray:
        """Fixed effects, shape (p,)."""
        return self.posterior.fixed

    @property
    def covariance(self) -> FloatArray:
        """Of the fixed effects, shape (p, p)."""
        return self.posterior.fixed_covariance

    def contrast(self, columns: FloatArray) -> Predicted:
        """Return combinations of fixed effects alone; columns of shape (n, p)."""
        mean = columns @ self.posterior.fixed
        variance = _squares(columns, self.posterior.fixed_covariance[None])
        moves = np.array([columns @ each.fixed for each in self.slopes])
        slopes = np.array([_squares(columns, each.fixed_covariance[None]) for each in self.slopes])
        return self._with_spreads(mean, variance, moves, slopes)

    def predicted(
        self,
        fixed: FloatArray,
        unit_columns: FloatArray,
        build_columns: FloatArray,
        units: Sequence[Hashable],
        builds: Sequence[Hashable],
    ) -> Predicted:
        """Lines at new rows, without the scatter of a reading.

        A build with readings follows its own; one the fit has not seen follows its unit, and an
        unseen unit all units, each with the whole spread of what is not known of it.

        Parameters
        ----------
        fixed, unit_columns, build_columns : ndarray, shapes (n, p), (n, m), (n, k)
        units, builds : sequence of hashable, length n
        """
        own = np.array([self.build_at.get(label, -1) for label in builds], dtype=np.int64)
        kin = np.array([self.unit_at.get(label, -1) for label in units], dtype=np.int64)
        every = np.column_stack([fixed, unit_columns, build_columns])
        widths = (len(self.names), len(self.names) + len(self.unit_names), every.shape[1])
        new_build, new_unit = own < 0, (own < 0) & (kin < 0)
        which = np.where(new_unit, 0, np.where(new_build, 1, 2))
        mean, variance = self._blocks(every, widths, which, (kin, own), self.posterior)
        around = [self._blocks(every, widths, which, (kin, own), one) for one in self.slopes]
        moves, slopes = (np.array([each[part] for each in around]) for part in (0, 1))
        for place, (name, start) in enumerate(
            [
                *((n, widths[0]) for n in self.unit_names),
                *((n, widths[1]) for n in self.build_names),
            ]
        ):
            unseen = new_unit if start == widths[0] else new_build
            more = np.where(unseen, self.variances[name] * every[:, widths[0] + place] ** 2, 0.0)
            variance = variance + more
            slopes[1 + place] += more
        return self._with_spreads(mean, variance, moves, slopes)

    def _blocks(
        self,
        every: FloatArray,
        widths: tuple[int, int, int],
        which: IntArray,
        at: tuple[IntArray, IntArray],
        posterior: NestedPosterior,
    ) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of what is known of each row: fleet, unit or build."""
        mean, variance = np.zeros(len(every)), np.zeros(len(every))
        zero = np.zeros(len(every), dtype=np.int64)
        blocks = (
            (zero, posterior.fixed[None], posterior.fixed_covariance[None]),
            (at[0], posterior.unit, posterior.unit_covariance),
            (at[1], posterior.build, posterior.build_covariance),
        )
        for kind, (places, means, covariances) in enumerate(blocks):
            mine = which == kind
            columns = every[mine][:, : widths[kind]]
            mean[mine] = np.einsum("ij,ij->i", columns, means[places[mine]])
            variance[mine] = _squares(columns, covariances[places[mine]])
        return mean, variance

    def _with_spreads(
        self, mean: FloatArray, variance: FloatArray, moves: FloatArray, slopes: FloatArray
    ) -> Predicted:
        """Add what not knowing the spreads moves the mean by, and count the freedom left.

        Kass & Steffey (1989) J. Am. Stat. Assoc. 84:717-726 and Satterthwaite (1946) Biometrics
        Bulletin 2:110-114, 2 V^2 over the variance of V, which lies above the least of the parts'
        freedoms: one less than there are labels. Both from memory.
        """
        least = max(min(self.counts[name] for name in self._fitted) - 1, 1) if self._fitted else 1
        own = np.einsum("sn,st,tn->n", slopes, self.spread_covariance, slopes)
        with np.errstate(divide="ignore", invalid="ignore"):
            freedom = np.where(own > 0.0, 2.0 * variance**2 / own, math.inf)
        more = np.einsum("sn,st,tn->n", moves, self.spread_covariance, moves)
        return Predicted(mean, variance + more, np.clip(freedom, least, _MOST_FREEDOM))


def _squares(columns: FloatArray, covariances: FloatArray) -> FloatArray:
    """Variance of each row of columns; covariances one a row, or one for all."""
    return np.asarray(np.sum((columns[:, None, :] @ covariances)[:, 0, :] * columns, axis=1))

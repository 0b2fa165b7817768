"""Lines of builds within units, solved build by build and unit by unit: linear in the readings.

The mixed-model equations of `wearstats.mixed.equations` where effects are nested: builds are
eliminated first, then units, then the fixed effects are left (Henderson 1975, Biometrics
31:423-447, doi:10.2307/2529430; Pinheiro & Bates 2000, section 2.2, from memory).
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.mixed.equations import label_codes


@dataclass(frozen=True, slots=True, eq=False)
class NestedDesign:
    """Rows sorted by build, and which build and unit each belongs to.

    Parameters
    ----------
    order : ndarray of int, shape (n,)
        Where each sorted row stood.
    columns : ndarray, shape (n, p + m + k)
        Fixed columns, then those of unit effects, then those of build effects; sorted.
    sizes : (int, int, int)
        p, m, k.
    starts : ndarray of int, shape (builds,)
        First row of each build.
    build_of : ndarray of int, shape (n,)
    unit_of : ndarray of int, shape (builds,)
    units, builds : tuple of hashable
        Their labels.
    """

    order: IntArray
    columns: FloatArray
    sizes: tuple[int, int, int]
    starts: IntArray
    build_of: IntArray
    unit_of: IntArray
    units: tuple[Hashable, ...]
    builds: tuple[Hashable, ...]
    products: FloatArray

    @staticmethod
    def of(
        columns: tuple[FloatArray, FloatArray, FloatArray],
        units: Sequence[Hashable],
        builds: Sequence[Hashable],
    ) -> "NestedDesign":
        """Sort rows by build. A build's label must tell its unit too."""
        build_labels, codes = label_codes(builds)
        unit_labels, unit_codes = label_codes(units)
        order = np.argsort(codes, kind="stable").astype(np.int64)
        sorted_codes = codes[order]
        starts = np.searchsorted(sorted_codes, np.arange(len(build_labels))).astype(np.int64)
        joined = np.column_stack(columns)[order]
        sizes = (columns[0].shape[1], columns[1].shape[1], columns[2].shape[1])
        return NestedDesign(
            order=order,
            columns=joined,
            sizes=sizes,
            starts=starts,
            build_of=sorted_codes,
            unit_of=unit_codes[order][starts],
            units=tuple(unit_labels),
            builds=tuple(build_labels),
            products=joined[:, :, None] * joined[:, None, :],
        )


@dataclass(frozen=True, slots=True, eq=False)
class NestedPosterior:
    """Means and covariances of (fixed, unit, build) effects at given variances.

    Parameters
    ----------
    fixed, fixed_covariance : ndarray, shapes (p,), (p, p)
    unit, unit_covariance : ndarray, shapes (units, p + m), (units, p + m, p + m)
        Fixed effects and the unit's own, jointly.
    build, build_covariance : ndarray, shapes (builds, p + m + k), (builds, p + m + k, p + m + k)
        Those and the build's own, jointly.
    log_determinant : float
        Of the whole precision, the fixed effects' flat.
    """

    fixed: FloatArray
    fixed_covariance: FloatArray
    unit: FloatArray
    unit_covariance: FloatArray
    build: FloatArray
    build_covariance: FloatArray
    log_determinant: float

    def at_rows(self, design: NestedDesign) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of each sorted row's line."""
        mean = np.einsum("ij,ij->i", design.columns, self.build[design.build_of])
        spread = self.build_covariance.reshape(len(self.build), -1)[design.build_of]
        flat = design.products.reshape(len(mean), -1)
        return mean, np.einsum("ij,ij->i", flat, spread)


def solve_nested(
    design: NestedDesign, weights: FloatArray, pulls: FloatArray, precisions: FloatArray
) -> NestedPosterior:
    """Solve the equations of nested effects.

    Parameters
    ----------
    design : NestedDesign
    weights, pulls : ndarray, shape (n,)
        Of each sorted row: its precision, and its precision times what it reads.
    precisions : ndarray, shape (m + k,)
        One over the variance of each unit effect, then of each build effect.

    Returns
    -------
    NestedPosterior
    """
    p, m = design.sizes[:2]
    outer = p + m
    sums = np.add.reduceat(weights[:, None, None] * design.products, design.starts)
    pull = np.add.reduceat(pulls[:, None] * design.columns, design.starts)
    # Builds out.
    inner = sums[:, outer:, outer:] + np.diag(precisions[m:])
    inner_inverse = _inverse(inner)
    down = -inner_inverse @ sums[:, outer:, :outer]
    left = sums[:, :outer, :outer] + sums[:, :outer, outer:] @ down
    left_pull = pull[:, :outer] + np.einsum("bij,bi->bj", down, pull[:, outer:])
    # Units out.
    count = len(design.units)
    per_unit, unit_pull = np.zeros((count, outer, outer)), np.zeros((count, outer))
    np.add.at(per_unit, design.unit_of, left)
    np.add.at(unit_pull, design.unit_of, left_pull)
    middle = per_unit[:, p:, p:] + np.diag(precisions[:m])
    middle_inverse = _inverse(middle)
    over = -middle_inverse @ per_unit[:, p:, :p]
    top = (per_unit[:, :p, :p] + per_unit[:, :p, p:] @ over).sum(axis=0)
    top_pull = (unit_pull[:, :p] + np.einsum("uij,ui->uj", over, unit_pull[:, p:])).sum(axis=0)
    # And back.
    fixed_covariance = _inverse(top)
    fixed = fixed_covariance @ top_pull
    unit, unit_covariance = _joined(
        np.broadcast_to(fixed, (count, p)),
        np.broadcast_to(fixed_covariance, (count, p, p)),
        over,
        np.einsum("uij,uj->ui", middle_inverse, unit_pull[:, p:]),
        middle_inverse,
    )
    build, build_covariance = _joined(
        unit[design.unit_of],
        unit_covariance[design.unit_of],
        down,
        np.einsum("bij,bj->bi", inner_inverse, pull[:, outer:]),
        inner_inverse,
    )
    logs = sum(float(np.linalg.slogdet(each)[1].sum()) for each in (inner, middle, top))
    return NestedPosterior(
        fixed, fixed_covariance, unit, unit_covariance, build, build_covariance, logs
    )


def _inverse(matrices: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrices), dtype=np.float64)


def _joined(
    mean: FloatArray, covariance: FloatArray, slope: FloatArray, shift: FloatArray, own: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of x and (slope x + shift + noise of covariance own) jointly."""
    across = slope @ covariance
    below = own + across @ slope.transpose(0, 2, 1)
    both = np.concatenate([mean, np.einsum("gij,gj->gi", slope, mean) + shift], axis=1)
    upper = np.concatenate([covariance, across.transpose(0, 2, 1)], axis=2)
    lower = np.concatenate([across, below], axis=2)
    return both, np.concatenate([upper, lower], axis=1)

"""Boost's levels by unit, meet and build, with coefficients that have a prior.

A linear mixed model whose sums are formed once: after that the cost of a likelihood does not
depend on the number of rows. Builds, the many and small groups, are eliminated first (Henderson
1975, Biometrics 31:423-447, doi:10.2307/2529430).
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import NotConvergedError

_LEAST_VARIANCE = 1e-12
_LEAST_RATIO = 1e-6
_MOST_RATIO = 1e4
_FIRST_RATIO = 0.3
_STEPS = np.linspace(-3.0, 4.0, 15)
"""Of the log variance, over which one that is hardly known is averaged."""


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Which of its groups each row belongs to.

    Parameters
    ----------
    labels : tuple of hashable
    codes : ndarray of int, shape (n,)
    """

    labels: tuple[Hashable, ...]
    codes: IntArray

    @staticmethod
    def of(labels: "pd.Series[Any] | Sequence[Hashable]") -> "Groups":
        """Give labels numbers in the order they are met."""
        codes, names = pd.factorize(pd.Series(labels).to_numpy())
        return Groups(tuple(names), codes.astype(np.int64))


def builds_of(units: "pd.Series[Any]", builds: "pd.Series[Any]") -> list[tuple[str, float]]:
    """Label each row by its unit and build."""
    return list(zip(units.tolist(), builds.astype(float).tolist(), strict=True))


@dataclass(frozen=True, slots=True, eq=False)
class CrossedFit:
    """Coefficients and levels as fitted.

    Parameters
    ----------
    coefficients : ndarray, shape (p,)
        Of the fixed columns, then of those with a prior.
    covariance : ndarray, shape (p, p)
        Posterior.
    levels : mapping of str to ndarray
        Effects of each component's groups.
    variances : mapping of str to float
        Of each component, and "rest".
    solved : tuple of Solved
        The equations, at each of several variances of a component that is hardly known.
    """

    coefficients: FloatArray
    covariance: FloatArray
    levels: dict[str, FloatArray]
    variances: dict[str, float]
    solved: "tuple[Solved, ...]"


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """Everything the equations say at given variances, for a forecast of further rows.

    Parameters
    ----------
    chance : float
        Of these variances among those tried.
    effects : ndarray, shape (q,)
        Coefficients, then the levels of every component but the small one.
    covariance : ndarray, shape (q, q)
        Their posterior.
    dense : mapping of str to int
        Place in `effects` of a component's first level.
    small : str
        The component that was eliminated, or empty.
    small_levels, small_variances : ndarray, shape (groups,)
        Its levels, and their variance were `effects` known.
    small_weights : sparse array, shape (groups, q)
        What one more of each effect takes off each of these levels.
    variances : mapping of str to float
        Of each component, and "rest".
    """

    chance: float
    effects: FloatArray
    covariance: FloatArray
    dense: dict[str, int]
    small: str
    small_levels: FloatArray
    small_variances: FloatArray
    small_weights: Any
    variances: dict[str, float]


class _Sums:
    """Cross products of all columns; `dense` ones first, then the eliminated groups."""

    def __init__(
        self,
        response: FloatArray,
        columns: FloatArray,
        dense: Sequence[Groups],
        small: Groups | None,
    ) -> None:
        from scipy import sparse

        rows = len(response)
        ones = np.ones(rows)
        parts = [sparse.csr_matrix(columns)]
        parts += [
            sparse.csr_matrix(
                (ones, (np.arange(rows), group.codes)), shape=(rows, len(group.labels))
            )
            for group in dense
        ]
        design = sparse.hstack(parts, format="csr")
        self.rows = rows
        self.design = design
        self.small: Any = None
        self.product: FloatArray = np.asarray((design.T @ design).toarray())
        self.right: FloatArray = np.asarray(design.T @ response)
        self.square = float(response @ response)
        self.spread = max(_variance_about(response, columns), _LEAST_VARIANCE)
        self.small_product = None
        self.small_counts: FloatArray = np.zeros(0)
        self.small_right: FloatArray = np.zeros(0)
        if small is not None:
            count = len(small.labels)
            groups = sparse.csr_matrix((ones, (np.arange(rows), small.codes)), shape=(rows, count))
            self.small_product = (groups.T @ design).tocsr()
            self.small_counts = np.bincount(small.codes, minlength=count).astype(float)
            self.small_right = np.asarray(groups.T @ response)
            self.small = groups


def _variance_about(response: FloatArray, columns: FloatArray) -> float:
    return float(np.var(response - columns @ np.linalg.lstsq(columns, response)[0]))


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    log_likelihood: float
    effects: FloatArray
    inverse: FloatArray
    small_effects: FloatArray
    small_diagonal: FloatArray
    residual: float


def fit_crossed(
    response: FloatArray,
    fixed: FloatArray,
    with_prior: FloatArray,
    prior_sd: FloatArray,
    components: dict[str, Groups],
    *,
    small: str | None = None,
    unsure: str | None = None,
    penalty: float = 1.0,
    shared_errors: FloatArray | None = None,
) -> CrossedFit:
    """Fit `response = fixed b + with_prior g + levels of each component + rest`.

    Parameters
    ----------
    response : ndarray, shape (n,)
    fixed : ndarray, shape (n, p)
        Columns whose coefficients have a flat prior.
    with_prior : ndarray, shape (n, k)
    prior_sd : ndarray, shape (k,)
        Of coefficients normal about nought.
    components : mapping of str to Groups
    small : str or None
        The component with many groups of few rows.
    unsure : str or None
        A component of so few groups that its variance is hardly known: coefficients are given
        at several of its variances (see `CrossedFit.solved`).
    penalty : float
        Power of each component's standard deviation that multiplies the restricted likelihood,
        so that no spread is taken for nought (Chung et al. 2013, Psychometrika 78:685-709).
    shared_errors : ndarray, shape (n, m), or None
        Draws of errors of the response that rows share beyond their levels. How far they move
        the coefficients is added to the covariance; their size is not fitted.

    Raises
    ------
    NotConvergedError
    """
    from scipy.optimize import minimize

    dense = [name for name in components if name != small]
    sums = _Sums(
        response,
        np.column_stack([fixed, with_prior]),
        [components[name] for name in dense],
        None if small is None else components[small],
    )
    names = [*dense, *([] if small is None else [small])]
    spread = sums.spread
    sizes = (fixed.shape[1], prior_sd, [len(components[name].labels) for name in dense])

    def loss(logs: FloatArray) -> float:
        found = _solve(sums, sizes, spread * float(np.exp(logs[0])), np.exp(logs[1:]))
        return -found.log_likelihood - 0.5 * penalty * float(logs[1:].sum())

    bounds = [(-18.0, 3.0), *([(np.log(_LEAST_RATIO), np.log(_MOST_RATIO))] * len(names))]
    start = np.array([-0.5, *([np.log(_FIRST_RATIO)] * len(names))])
    best = minimize(loss, start, method="L-BFGS-B", bounds=bounds)
    if not best.success:
        # A search that went wide needs no slope to come home.
        best = minimize(
            loss,
            best.x,
            method="Nelder-Mead",
            bounds=bounds,
            options={"xatol": 1e-4, "fatol": 1e-6},
        )
    if not best.success:
        message = "the spreads of boost between units, meets and builds could not be fitted"
        raise NotConvergedError(message, last=tuple(best.x))
    residual = spread * float(np.exp(best.x[0]))
    ratios = np.exp(best.x[1:])
    found = _solve(sums, sizes, residual, ratios)
    first = fixed.shape[1] + len(prior_sd)
    moved = _moved(sums, found, shared_errors)
    ends = np.cumsum([first, *sizes[2]])
    levels = {
        name: found.effects[low:high]
        for name, low, high in zip(dense, ends[:-1], ends[1:], strict=True)
    }
    if small is not None:
        levels[small] = found.small_effects
    steps = [best.x]
    if unsure in dense:
        place = 1 + dense.index(str(unsure))
        steps = [best.x + step * np.eye(len(best.x))[place] for step in _STEPS]
    heights = np.array([-loss(logs) for logs in steps])
    chances = np.exp(heights - heights.max())
    starts = dict(zip(dense, map(int, ends[:-1]), strict=True))
    solved = []
    for logs, chance in zip(steps, (chances / chances.sum()).tolist(), strict=True):
        each = _solve(sums, sizes, residual, np.exp(logs[1:]))
        by_name = dict(zip(names, (residual * np.exp(logs[1:])).tolist(), strict=True))
        solved.append(_kept(sums, each, chance, moved, starts, by_name, small or ""))
    variances = {name: float(r * residual) for name, r in zip(names, ratios, strict=True)}
    return CrossedFit(
        coefficients=found.effects[:first],
        covariance=(found.inverse + moved)[:first, :first],
        levels=levels,
        variances={**variances, "rest": residual},
        solved=tuple(solved),
    )


def _kept(  # noqa: PLR0917 - what the equations are made of
    sums: _Sums,
    found: _Solved,
    chance: float,
    moved: FloatArray,
    starts: dict[str, int],
    variances: dict[str, float],
    small: str,
) -> Solved:
    product = sums.small_product
    return Solved(
        chance=chance,
        effects=found.effects,
        covariance=found.inverse + moved,
        dense=starts,
        small=small,
        small_levels=found.small_effects,
        small_variances=found.residual / found.small_diagonal,
        small_weights=None
        if product is None
        else product.multiply(1.0 / found.small_diagonal[:, np.newaxis]).tocsr(),
        variances={**variances, "rest": found.residual},
    )


def _moved(sums: _Sums, found: _Solved, errors: FloatArray | None) -> FloatArray:
    """Covariance of what errors of the response move the effects by, shape (effects, effects)."""
    if errors is None:
        return np.zeros_like(found.inverse)
    right = sums.design.T @ errors
    if sums.small_product is not None:
        shares = (sums.small.T @ errors) / found.small_diagonal[:, np.newaxis]
        right = right - sums.small_product.T @ shares
    by_draw = found.inverse @ right / found.residual
    return np.asarray(by_draw @ by_draw.T / errors.shape[1])


def _solve(
    sums: _Sums, sizes: tuple[int, FloatArray, list[int]], residual: float, ratios: FloatArray
) -> _Solved:
    """Solve the equations at given variances; the restricted likelihood but for constants."""
    flat, prior_sd, groups = sizes
    inverse_ratio = np.concatenate(
        [np.zeros(flat), residual / prior_sd**2]
        + [np.full(count, 1.0 / r) for count, r in zip(groups, ratios, strict=False)]
    )
    matrix = sums.product + np.diag(inverse_ratio)
    right, square = sums.right, sums.square
    log_spread = -float(np.sum(np.log(inverse_ratio[flat:])))
    log_small = 0.0
    diagonal: FloatArray = np.zeros(0)
    if sums.small_product is not None:
        diagonal = sums.small_counts + 1.0 / ratios[-1]
        scaled = sums.small_product.multiply(1.0 / diagonal[:, np.newaxis]).tocsr()
        matrix = matrix - (sums.small_product.T @ scaled).toarray()
        right = right - scaled.T @ sums.small_right
        square -= float(np.sum(sums.small_right**2 / diagonal))
        log_small = float(np.sum(np.log(diagonal)) + len(diagonal) * np.log(ratios[-1]))
    factor = np.linalg.cholesky(matrix)
    inverse = np.linalg.inv(matrix)
    effects = inverse @ right
    left_over = square - float(right @ effects)
    log_determinant = 2.0 * float(np.sum(np.log(np.diag(factor))))
    twice = (
        (sums.rows - flat) * np.log(residual)
        + log_spread
        + log_small
        + log_determinant
        + left_over / residual
    )
    small_effects: FloatArray = np.zeros(0)
    if sums.small_product is not None:
        small_effects = (sums.small_right - sums.small_product @ effects) / diagonal
    return _Solved(
        -0.5 * float(twice),
        effects,
        np.asarray(inverse * residual),
        np.asarray(small_effects),
        diagonal,
        residual,
    )

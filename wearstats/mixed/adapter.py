"""Plain restricted or full likelihood by statsmodels, its answer verified.

For a full covariance between effects, and to hold `fit_components` against: statsmodels only
finds the variances; all else comes from the mixed-model equations.
"""

import math
import warnings
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError
from wearstats.mixed.equations import (
    Component,
    MixedFit,
    design_of,
    label_codes,
    solve_equations,
)
from wearstats.mixed.fitting import check_fixed, least_squares

_NEGLIGIBLE = 1e-6
_GRADIENT = 1e-6
_SCORE_TOLERANCE = 1e-3


def fit_mixed(
    response: FloatArray,
    fixed: FloatArray,
    names: Sequence[str],
    *,
    groups: Sequence[Hashable] | None = None,
    joint: Sequence[Component] = (),
    separate: Sequence[Component] = (),
    reml: bool = True,
) -> MixedFit:
    """Fit `response = fixed @ beta + joint effects + separate effects + error`.

    Parameters
    ----------
    response : ndarray, shape (n,)
    fixed : ndarray, shape (n, p)
    names : sequence of str, length p
    groups : sequence of hashable or None
        Outermost groups, between which nothing is shared; None where effects cross.
    joint : sequence of Component
        Vary together with a full covariance; their labels are the groups.
    separate : sequence of Component
        Independent of each other; labels within groups.
    reml : bool
        Restricted likelihood, or the full one.

    Returns
    -------
    MixedFit
        Ordinary least squares where no component is given.

    Raises
    ------
    TooFewError
        Not more rows than fixed effects.
    NotIdentifiedError
        The fixed columns say the same thing twice, or a variance is nought.
    NotConvergedError
        The optimiser did not reach a maximum, or it is no proper maximum.
    """
    components = (*joint, *separate)
    spread = check_fixed(response, fixed, names)
    if not components:
        return least_squares(response, fixed, names)
    # In units of the spread, so that the optimiser's tolerances mean the same for thou and logs.
    found = _optimise(response / spread, fixed, groups, joint, separate, reml=reml)
    scale = spread**2
    constant = (len(response) - (len(names) if reml else 0)) * math.log(spread)
    return solve_equations(
        response,
        fixed,
        tuple(names),
        components,
        joint_names=tuple(c.name for c in joint),
        joint_covariance=found.joint * scale,
        separate_variances=found.separate * scale,
        residual=found.residual * scale,
        log_likelihood=found.log_likelihood - constant,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    joint: FloatArray
    separate: FloatArray
    residual: float
    log_likelihood: float


def _optimise(
    response: FloatArray,
    fixed: FloatArray,
    groups: Sequence[Hashable] | None,
    joint: Sequence[Component],
    separate: Sequence[Component],
    *,
    reml: bool,
) -> _Found:
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    rows = len(response)
    group_codes = np.zeros(rows, dtype=np.int64) if groups is None else label_codes(groups)[1]
    members = [np.flatnonzero(group_codes == g) for g in range(int(group_codes.max()) + 1)]
    matrices, columns = [], []
    # A full covariance means the same in any basis of its columns, and a variance in any scale of
    # its column: the optimiser gets an orthogonal basis and unit scales.
    basis = _orthogonal_basis(joint, rows)
    scales = [math.sqrt(float(np.mean(c.column**2))) for c in separate]
    for component, scale in zip(separate, scales, strict=True):
        design = design_of(component)[1] / scale
        blocks = [design[rows_in] for rows_in in members]
        kept = [block[:, np.abs(block).sum(axis=0) > 0.0] for block in blocks]
        matrices.append(kept)
        columns.append([[str(k) for k in range(block.shape[1])] for block in kept])
    spec = VCSpec([component.name for component in separate], columns, matrices)
    with warnings.catch_warnings():
        # Its warnings are acted upon by looking at the result below, not by reading their text.
        warnings.simplefilter("ignore")
        model = MixedLM(
            response,
            fixed,
            group_codes,
            exog_re=np.column_stack([c.column for c in joint]) @ basis if joint else None,
            exog_vc=spec if separate else None,
        )
        try:
            result = model.fit(reml=reml, method=["bfgs", "lbfgs", "powell"], gtol=_GRADIENT)
        except (np.linalg.LinAlgError, ValueError) as error:
            message = f"the mixed model could not be fitted ({error})"
            raise NotConvergedError(message, last=()) from error
    own = np.asarray(result.cov_re, float).reshape(len(joint), len(joint))
    joint_covariance = basis @ own @ basis.T
    variances = np.asarray(result.vcomp, float).reshape(len(separate)) / np.square(scales)
    residual = float(result.scale)
    last = (*joint_covariance.ravel(), *variances, residual)
    if not (result.converged and np.isfinite(last).all() and residual > 0.0):
        message = "the mixed model's optimiser did not reach a maximum"
        raise NotConvergedError(message, last=last)
    _check_not_at_edge(joint, separate, joint_covariance, variances, residual)
    where = result.params_object
    slope = np.asarray(model.score(where.get_packed(use_sqrt=True, has_fe=False)), float)
    curve = np.asarray(model.hessian(where)[0], float)[fixed.shape[1] :, fixed.shape[1] :]
    if np.max(np.abs(slope)) > _SCORE_TOLERANCE * rows:
        message = "the mixed model's likelihood still rises where its optimiser stopped"
        raise NotConvergedError(message, last=last)
    if not np.linalg.eigvalsh(-(curve + curve.T)).min() > 0.0:
        message = "the mixed model's likelihood is no proper maximum where its optimiser stopped"
        raise NotConvergedError(message, last=last)
    return _Found(joint_covariance, variances, residual, float(result.llf))


def _orthogonal_basis(joint: Sequence[Component], rows: int) -> FloatArray:
    if not joint:
        return np.zeros((0, 0))
    triangle = np.linalg.qr(np.column_stack([c.column for c in joint]), mode="r")
    return np.asarray(np.linalg.inv(triangle) * math.sqrt(rows), dtype=np.float64)


def _check_not_at_edge(
    joint: Sequence[Component],
    separate: Sequence[Component],
    joint_covariance: FloatArray,
    variances: FloatArray,
    residual: float,
) -> None:
    """Refuse a component estimated at nought: a simpler model says the same."""
    last = (*joint_covariance.ravel(), *variances, residual)
    every = zip((*joint, *separate), (*np.diag(joint_covariance), *variances), strict=True)
    for component, variance in every:
        if variance * float(np.mean(component.column**2)) < _NEGLIGIBLE * residual:
            message = f"the spread of {component.name} is estimated at nought"
            raise NotConvergedError(message, last=last)
    if joint:
        spread = np.sqrt(np.diag(joint_covariance))
        if np.linalg.eigvalsh(joint_covariance / np.outer(spread, spread)).min() < _NEGLIGIBLE:
            names = " and ".join(component.name for component in joint)
            message = f"{names} are estimated to move together exactly"
            raise NotConvergedError(message, last=last)

"""Variance components from statsmodels, verified, and what to do where it finds none.

statsmodels only finds the variances; coefficients, effects and their covariance are computed from
the mixed-model equations, so that a shaky Hessian never reaches an answer.
"""

import math
import warnings
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError, NotIdentifiedError, TooFewError
from wearstats.mixed.equations import (
    Component,
    MixedFit,
    design_of,
    label_codes,
    solve_equations,
)

_NEGLIGIBLE = 1e-6
_GRADIENT = 1e-6
_SCORE_TOLERANCE = 1e-3
_SHARE_LOGS = (math.log(1e-6), math.log(1e2))


def fit_mixed(
    response: FloatArray,
    fixed: FloatArray,
    names: Sequence[str],
    *,
    groups: Sequence[Hashable] | None = None,
    joint: Sequence[Component] = (),
    separate: Sequence[Component] = (),
    reml: bool = True,
    residual_floor: float = 0.0,
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
    residual_floor : float
        Least residual variance, from what the gauge can resolve.

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
    _check_fixed(fixed, names)
    components = (*joint, *separate)
    spread = float(np.std(response - fixed @ np.linalg.lstsq(fixed, response, rcond=None)[0]))
    exact = not spread > _NEGLIGIBLE * max(1.0, float(np.max(np.abs(response))))
    if exact and (components or not residual_floor > 0.0):
        raise _ExactError
    if not components:
        return _least_squares(response, fixed, tuple(names), residual_floor)
    # In units of the spread, so that the optimiser's tolerances mean the same for thou and logs.
    found = _optimise(response / spread, fixed, groups, joint, separate, reml=reml)
    scale = spread**2
    constant = (len(response) - (len(names) if reml else 0)) * math.log(spread)
    floor = max(found.residual * scale, residual_floor)
    return solve_equations(
        response,
        fixed,
        tuple(names),
        components,
        joint_names=tuple(c.name for c in joint),
        joint_covariance=found.joint * scale,
        separate_variances=found.separate * scale,
        residual=floor,
        log_likelihood=found.log_likelihood - constant,
    )


def fit_components(
    response: FloatArray,
    fixed: FloatArray,
    names: Sequence[str],
    *,
    groups: Sequence[Hashable] | None,
    components: Sequence[Component],
    residual_floor: float = 0.0,
) -> tuple[MixedFit, tuple[str, ...]]:
    """Fit by REML and keep a plausible spread where the likelihood's maximum shows none.

    A few builds often show no spread by chance, and to take it for none makes intervals far too
    narrow. So a component estimated at nought is set to the variance at which the restricted
    likelihood times the component's own standard deviation is greatest, about one standard error
    from nought. Where the optimiser fails for another reason the last component is treated so,
    then the one before it, down to ordinary least squares for the others to be added to.

    Parameters
    ----------
    response, fixed, names, groups, residual_floor
        As `fit_mixed`.
    components : sequence of Component
        The one to estimate least stands last.

    Returns
    -------
    MixedFit
    notes : tuple of str
        Which spreads were set, not estimated.

    Raises
    ------
    TooFewError, NotIdentifiedError

    Notes
    -----
    Chung et al. (2013) Psychometrika 78:685-709, doi:10.1007/s11336-013-9328-2 (the penalty).
    """
    kept: list[Component] = list(components)
    nought: list[Component] = []
    while True:
        try:
            fit = fit_mixed(
                response,
                fixed,
                names,
                groups=groups,
                separate=kept,
                residual_floor=residual_floor,
            )
        except _NoughtError as found:
            nought += [component for component in kept if component.name == found.component]
            kept = [component for component in kept if component.name != found.component]
        except NotConvergedError:
            nought.append(kept.pop())
        except _ExactError:
            if not (kept and residual_floor > 0.0):
                raise
            # Blades hide the scatter: what they cannot tell is all the scatter there is.
            nought += kept
            kept = []
        else:
            break
    for component in nought:
        kept.append(component)
        fit = _with_plausible_spread(response, fixed, fit, kept)
    return fit, tuple(
        f"no spread of {component.name} is seen; a plausible one is assumed" for component in nought
    )


def _with_plausible_spread(
    response: FloatArray, fixed: FloatArray, fit: MixedFit, components: Sequence[Component]
) -> MixedFit:
    """Give the last component the variance that maximises REML times its standard deviation."""
    from scipy.optimize import minimize_scalar

    known = [fit.variances[component.name] for component in components[:-1]]
    size = float(np.mean(components[-1].column ** 2))

    def solved(log_share: float) -> MixedFit:
        own = fit.residual_variance / size * math.exp(log_share)
        return solve_equations(
            response,
            fixed,
            fit.names,
            components,
            joint_names=(),
            joint_covariance=np.zeros((0, 0)),
            separate_variances=np.array([*known, own]),
            residual=fit.residual_variance,
        )

    def loss(log_share: float) -> float:
        return -(solved(log_share).log_likelihood + 0.5 * log_share)

    best = minimize_scalar(loss, bounds=_SHARE_LOGS, method="bounded", options={"xatol": 1e-4})
    return solved(float(best.x))


class _ExactError(NotIdentifiedError):
    """Nothing is left to split between components."""

    def __init__(self) -> None:
        super().__init__(
            "the readings lie exactly on a line, so their scatter is not known",
            direction="every variance shrinks to nought",
        )


class _NoughtError(NotConvergedError):
    """A variance component is estimated at nought."""

    def __init__(self, component: str, last: Sequence[float]) -> None:
        super().__init__(f"the spread of {component} is estimated at nought", last=last)
        self.component = component


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    joint: FloatArray
    separate: FloatArray
    residual: float
    log_likelihood: float


def _check_fixed(fixed: FloatArray, names: Sequence[str]) -> None:
    rows, columns = fixed.shape
    if rows <= columns:
        message = f"{rows} readings cannot fit {columns} coefficients ({', '.join(names)})"
        raise TooFewError(message, have=rows, need=columns + 1)
    lengths = np.linalg.norm(fixed, axis=0)
    if (lengths == 0.0).any() or np.linalg.matrix_rank(fixed / lengths, tol=1e-8) < columns:
        message = f"the columns {', '.join(names)} say the same thing twice or never change"
        raise NotIdentifiedError(message, direction="a coefficient may be anything")


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
            raise _NoughtError(component.name, last)
    if joint:
        spread = np.sqrt(np.diag(joint_covariance))
        if np.linalg.eigvalsh(joint_covariance / np.outer(spread, spread)).min() < _NEGLIGIBLE:
            names = " and ".join(component.name for component in joint)
            message = f"{names} are estimated to move together exactly"
            raise NotConvergedError(message, last=last)


def _least_squares(
    response: FloatArray, fixed: FloatArray, names: tuple[str, ...], residual_floor: float
) -> MixedFit:
    rows, size = fixed.shape
    coefficients = np.linalg.lstsq(fixed, response, rcond=None)[0]
    squares = float(np.sum((response - fixed @ coefficients) ** 2))
    residual = max(squares / (rows - size), residual_floor)
    return solve_equations(
        response,
        fixed,
        names,
        (),
        joint_names=(),
        joint_covariance=np.zeros((0, 0)),
        separate_variances=np.zeros(0),
        residual=residual,
    )

"""Variance components by a restricted likelihood that never takes a spread for nought."""

import math
from collections.abc import Sequence

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError, NotIdentifiedError, TooFewError
from wearstats.mixed.equations import Component, MixedFit, design_of, solve_equations

_NEGLIGIBLE = 1e-6
_FLAT = 1e-3
_LEAST_SHARE = 1e-8
_FIRST_RESIDUAL_SHARES = (0.5, 0.02, 1e-4)
_SHARE_LOGS = (math.log(1e-8), math.log(1e4))


def fit_components(
    response: FloatArray,
    fixed: FloatArray,
    names: Sequence[str],
    components: Sequence[Component],
    *,
    residual_floor: float = 0.0,
    penalty: float = 1.0,
) -> MixedFit:
    """Fit `response = fixed @ beta + effects of each component + error`.

    A handful of builds often shows no spread by chance, and to take it for none makes intervals
    far too narrow. So the restricted likelihood is multiplied by each component's standard
    deviation to the power `penalty`, which keeps every variance about one standard error from
    nought where the data cannot tell it from nought, and hardly moves one they can.

    Parameters
    ----------
    response : ndarray, shape (n,)
    fixed : ndarray, shape (n, p)
    names : sequence of str, length p
    components : sequence of Component
        May be nested or crossed; ordinary least squares where there are none.
    residual_floor : float
        Least residual variance, from what the gauge can resolve.
    penalty : float
        0 for the plain restricted likelihood.

    Returns
    -------
    MixedFit
        Its likelihood is the restricted one, without the penalty.

    Raises
    ------
    TooFewError
        Not more rows than fixed effects.
    NotIdentifiedError
        The fixed columns say the same thing twice; or the rows lie exactly on a line and there
        is no floor.
    NotConvergedError
        The optimiser did not reach a maximum.

    Notes
    -----
    Chung et al. (2013) Psychometrika 78:685-709, doi:10.1007/s11336-013-9328-2. The slope of the
    restricted likelihood comes from the equations' inverse (Searle, Casella & McCulloch 1992,
    Variance Components, chapter 7; from memory, and tested by finite differences).
    """
    spread = check_fixed(response, fixed, names, residual_floor)
    if not components:
        return least_squares(response, fixed, names, residual_floor)
    from scipy.optimize import minimize

    sizes = np.array([float(np.mean(component.column**2)) for component in components])
    if not (sizes > 0.0).all():
        message = "a component's column is nought on every row"
        raise NotIdentifiedError(message, direction="its variance may be anything")
    unit = max(spread**2, residual_floor)

    # The restricted likelihood does not see the fixed effects; without them it rounds less.
    about = response - fixed @ np.linalg.lstsq(fixed, response, rcond=None)[0]

    designs = [design_of(component) for component in components]

    def solved(logs: FloatArray, values: FloatArray) -> MixedFit:
        variances = unit * np.exp(logs)
        return solve_equations(
            values,
            fixed,
            tuple(names),
            components,
            joint_names=(),
            joint_covariance=np.zeros((0, 0)),
            separate_variances=variances[1:] / sizes,
            residual=float(variances[0]),
            labels_and_designs=designs,
        )

    def loss(logs: FloatArray) -> tuple[float, FloatArray]:
        fit = solved(logs, about)
        slope = restricted_slope(fit)
        slope[1:] += 0.5 * penalty
        value = fit.log_likelihood + 0.5 * penalty * float(logs[1:].sum())
        return -value, -slope

    least = math.log(max(residual_floor / unit, _LEAST_SHARE))
    bounds = [(least, 1.0), *([_SHARE_LOGS] * len(components))]
    ends = np.array(bounds)
    logs: FloatArray = np.zeros(len(bounds))
    for share in _FIRST_RESIDUAL_SHARES:
        start = np.array([math.log(share), *([math.log(0.3)] * len(components))])
        best = minimize(
            loss,
            np.maximum(start, ends[:, 0]),
            jac=True,
            method="L-BFGS-B",
            bounds=bounds,
            options={"ftol": 1e-12},
        )
        logs, slope = np.asarray(best.x, float), np.asarray(best.jac, float)
        free = ~((logs <= ends[:, 0]) & (slope > 0.0)) & ~((logs >= ends[:, 1]) & (slope < 0.0))
        # What counts is that the likelihood is flat there, not why the optimiser stopped.
        if float(np.max(np.abs(slope[free]), initial=0.0)) < _FLAT * len(response):
            return solved(logs, response)
    message = "the spreads between builds and units could not be fitted"
    raise NotConvergedError(message, last=tuple(unit * np.exp(logs)))


def restricted_slope(fit: MixedFit) -> FloatArray:
    """Slope of the restricted log likelihood in the logs of the variances, residual first.

    Parameters
    ----------
    fit : MixedFit
        With independent components.
    """
    size = len(fit.names)
    own = np.diag(fit.prediction_covariance)[size:]
    owners = np.array([name for name, _ in fit.keys])
    slopes, shares = [], 0.0
    for name, variance in fit.variances.items():
        mine = owners == name
        share = float(own[mine].sum()) / variance
        squares = float(np.sum(fit.effects[mine] ** 2)) / variance
        slopes.append(-0.5 * (float(mine.sum()) - share - squares))
        shares += share
    freedom = fit.rows - size - len(fit.effects) + shares
    residual = -0.5 * (freedom - fit.residual_squares / fit.residual_variance)
    return np.array([residual, *slopes])


def check_fixed(
    response: FloatArray, fixed: FloatArray, names: Sequence[str], residual_floor: float = 0.0
) -> float:
    """Refuse what no fit can tell; return the standard deviation about ordinary least squares.

    Raises
    ------
    TooFewError, NotIdentifiedError
    """
    rows, columns = fixed.shape
    if rows <= columns:
        message = f"{rows} readings cannot fit {columns} coefficients ({', '.join(names)})"
        raise TooFewError(message, have=rows, need=columns + 1)
    lengths = np.linalg.norm(fixed, axis=0)
    if (lengths == 0.0).any() or np.linalg.matrix_rank(fixed / lengths, tol=1e-8) < columns:
        message = f"the columns {', '.join(names)} say the same thing twice or never change"
        raise NotIdentifiedError(message, direction="a coefficient may be anything")
    spread = float(np.std(response - fixed @ np.linalg.lstsq(fixed, response, rcond=None)[0]))
    exact = not spread > _NEGLIGIBLE * max(1.0, float(np.max(np.abs(response))))
    if exact and not residual_floor > 0.0:
        message = "the readings lie exactly on a line, so their scatter is not known"
        raise NotIdentifiedError(message, direction="every variance shrinks to nought")
    return spread


def least_squares(
    response: FloatArray, fixed: FloatArray, names: Sequence[str], residual_floor: float = 0.0
) -> MixedFit:
    """Fit by ordinary least squares, with a least residual variance."""
    rows, size = fixed.shape
    coefficients = np.linalg.lstsq(fixed, response, rcond=None)[0]
    squares = float(np.sum((response - fixed @ coefficients) ** 2))
    residual = max(squares / (rows - size), residual_floor)
    return solve_equations(
        response,
        fixed,
        tuple(names),
        (),
        joint_names=(),
        joint_covariance=np.zeros((0, 0)),
        separate_variances=np.zeros(0),
        residual=residual,
    )

"""What a regression cannot tell, said before or after the fit instead of a number."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import NotIdentifiedError, TooFewError
from wearstats.life.distributions import Law, keeps_form
from wearstats.life.exposures import Exposures, watched
from wearstats.life.rising import rising_direction

if TYPE_CHECKING:
    from wearstats.lives.histories import Histories

LEAST_FAILURES = 3
"""Below three failures no regression is offered, with a law of life or without."""

_SAME = 1e-9
_TOGETHER = 1e-7
_LEVEL = 1e-8
"""Curvature of the log likelihood: a standard deviation of ten thousand on a log scale."""
_FLAT = 1e-6
"""A log likelihood that falls by less over thirty units of a direction does not fall."""

_WAY_OUT = "leave it out, or join it to another"


def refuse_too_little(histories: "Histories", *, frailty: bool) -> None:
    """Refuse what no fit can answer, whichever the method.

    Raises
    ------
    TooFewError
        Fewer than three failures, or than covariates and two; one unit with a frailty.
    NotIdentifiedError
        A covariate that never changes, or one that follows from the others.
    """
    failures = histories.observations.failures
    count = len(histories.names)
    if count or frailty:
        _enough(failures, count)
    if frailty and len({histories.units[life] for life in set(histories.life.tolist())}) < 2:  # noqa: PLR2004
        message = (
            "all lives are of one unit: a unit effect cannot be told from the life of strips itself"
        )
        raise TooFewError(message, have=1, need=2, hint="leave the unit effect out")
    if count:
        _refuse_constant(histories)
        _refuse_collinear(histories)


def _enough(failures: float, covariates: int) -> None:
    if failures < LEAST_FAILURES:
        message = f"no regression is offered below three failures; there are {failures:g}"
        raise TooFewError(message, have=int(failures), need=LEAST_FAILURES)
    need = covariates + 2
    if failures < need:
        message = (
            f"{failures:g} failures do not allow {covariates} covariates; "
            f"at least {need} failures are needed"
        )
        raise TooFewError(message, have=int(failures), need=need, hint="choose fewer")


def _refuse_constant(histories: "Histories") -> None:
    for at, name in enumerate(histories.names):
        values = histories.covariates[:, at]
        if np.ptp(values) <= _SAME * (1e-300 + np.abs(values).max()):
            message = f"{name} is {values[0]:g} in every run watched: its effect cannot be told"
            raise NotIdentifiedError(
                message, direction=f"any effect of {name} fits as well", hint="leave it out"
            )


def _refuse_collinear(histories: "Histories") -> None:
    mean, deviation = watched(histories)
    runs = (histories.stop - histories.start) * histories.observations.weight[histories.life]
    scaled = (histories.covariates - mean) / deviation * np.sqrt(runs / runs.sum())[:, None]
    # Correlations are enough, and do not grow with the stretches.
    spectrum, axes = np.linalg.eigh(scaled.T @ scaled)
    if spectrum[0] > _TOGETHER**2 * 1e2:
        return
    share = np.abs(axes[:, 0])
    tied = [name for name, part in zip(histories.names, share, strict=True) if part > 0.05]  # noqa: PLR2004
    said = ", ".join(tied[:-1]) + " and " + tied[-1] if len(tied) > 1 else tied[0]
    message = f"{said} follow from one another: their effects cannot be told apart"
    direction = f"the effects of {said} can be traded for one another"
    raise NotIdentifiedError(message, direction=direction, hint=f"leave out {tied[-1]}")


def separating_direction(law: Law, lives: Exposures) -> FloatArray | None:
    """Return a direction (intercept, slope, beta) along which the likelihood never falls.

    Along it no stretch that was survived gains hazard, no exact failure loses any, and no
    failure between looks loses any in its last stretch, and at least one life gains: a linear
    programme. It finds every such direction where lives that failed between looks have one
    stretch there, and some of them else. For laws other than Weibull only beta is moved, as
    their hazard does not take the same form elsewhere.
    """
    last = np.flatnonzero(np.diff(lives.between.group, append=-1) != 0)

    def design(stop: FloatArray, covariates: FloatArray) -> FloatArray:
        return np.column_stack([np.ones_like(stop), stop, covariates])

    sure = np.unique(design(lives.sure.stop, lives.sure.covariates), axis=0)
    failing = [
        design(lives.exact.stop, lives.exact.covariates),
        design(lives.between.stop[last], lives.between.covariates[last]),
    ]
    failed = np.unique(np.vstack(failing), axis=0)
    bounds = [(-1.0, 1.0), (0.0, 1.0)] + [(-1.0, 1.0)] * lives.columns
    if not keeps_form(law):
        bounds[:2] = [(0.0, 0.0), (0.0, 0.0)]
    elif law.fixed_slope is not None:
        bounds[1] = (0.0, 0.0)
    return rising_direction(np.vstack([-sure, failed]), bounds)


def flat_direction(
    value_at: Callable[[FloatArray], float],
    theta: FloatArray,
    hessian: FloatArray,
    free: BoolArray,
) -> FloatArray | None:
    """Return a direction of theta along which the likelihood stays as high as it is, or None."""
    spectrum, axes = np.linalg.eigh(-hessian[np.ix_(free, free)])
    if spectrum[0] > 1e-3:  # noqa: PLR2004 - well away: thirty units cost 0.45
        return None
    along = np.zeros(theta.size)
    along[free] = axes[:, 0]
    top = value_at(theta)
    worst = {
        sign: max(top - value_at(theta + sign * step * along) for step in (10.0, 30.0))
        for sign in (1.0, -1.0)
    }
    sign = min(worst, key=lambda each: worst[each])
    # A level ridge may bend away from its own direction; nothing real is so little curved.
    return sign * along if worst[sign] < _FLAT or spectrum[0] < _LEVEL else None


def refuse_direction(lives: Exposures, direction: FloatArray) -> None:
    """Say where the likelihood keeps rising.

    Raises
    ------
    NotIdentifiedError
        Always.
    """
    beta = direction[2 : 2 + lives.columns]
    most = float(np.abs(beta).max(initial=0.0))
    if most > 0.05 * float(np.abs(direction).max()):
        parts = [
            f"the hazard ratio of {name.replace('_', ' ')} "
            f"{'grows' if part > 0 else 'falls'} without bound"
            for name, part in zip(lives.names, beta, strict=True)
            if abs(part) > 0.3 * most
        ]
        words = "; ".join(parts)
        message = f"the failures are told apart by the covariates without exception: {words}"
        raise NotIdentifiedError(message, direction=words, hint=_WAY_OUT)
    words = "shape grows without bound" if direction[1] > 0 else "life grows without bound"
    message = f"{lives.lives:g} lives with {lives.failures:g} failures settle no law: {words}"
    raise NotIdentifiedError(message, direction=words, hint=_WAY_OUT)

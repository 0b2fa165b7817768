"""Readings that are intervals, by expectation propagation: what a Gaussian stands in for each.

Minka (2001) Expectation Propagation for approximate Bayesian inference; Rasmussen & Williams
(2006) Gaussian Processes for Machine Learning, sections 3.6 and 5.5.2 (evidence and its slope);
from memory, tested against integrals by quadrature.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import NotConvergedError
from wearstats.mixed.nested import NestedDesign, NestedPosterior, solve_nested

_LOG_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_SETTLED = 1e-9
_MOST_SWEEPS = 200
_SLOWER_FROM = 12
_LEAST_ROOM = 1e-10
_NARROWEST = 1e-15


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Readings, sorted as the design's rows: the latent reading lies in (low, high].

    Parameters
    ----------
    low, high : ndarray, shape (n,)
        Infinite where open; equal where the latent reading itself was read.
    """

    low: FloatArray
    high: FloatArray

    @property
    def exact(self) -> BoolArray:
        """Rows whose latent reading was read."""
        return np.asarray(self.low == self.high)


@dataclass(frozen=True, slots=True, eq=False)
class Sites:
    """The Gaussian that stands in for each reading: precision, and precision times mean."""

    weight: FloatArray
    pull: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """Sites that agree with the readings, at given variances.

    Parameters
    ----------
    sites : Sites
    posterior : NestedPosterior
    evidence : float
        Log of the likelihood with all effects, the fixed ones too, integrated out.
    residual_slope : float
        Of the evidence in the log of the residual variance.
    """

    sites: Sites
    posterior: NestedPosterior
    evidence: float
    residual_slope: float


@dataclass(frozen=True, slots=True, eq=False)
class _Tilted:
    """What a reading says of its line, given a Gaussian cavity: log chance and its slopes."""

    log_chance: FloatArray
    slope: FloatArray
    bend: FloatArray
    spread_slope: FloatArray


def first_sites(rows: Rows, residual: float) -> Sites:
    """Sites to start from: middles, with the width of the interval."""
    both = np.isfinite(rows.low) & np.isfinite(rows.high)
    low, high = np.where(both, rows.low, 0.0), np.where(both, rows.high, 0.0)
    middle, width = 0.5 * (low + high), np.where(both, high - low, np.inf)
    weight = 1.0 / (residual + width**2 / 12.0)
    return Sites(weight, weight * middle)


def settle(
    design: NestedDesign,
    rows: Rows,
    variances: FloatArray,
    sites: Sites,
    *,
    pace: float = 1.0,
) -> Settled:
    """Sweep over the sites until they agree.

    Parameters
    ----------
    design : NestedDesign
    rows : Rows
    variances : ndarray, shape (1 + m + k,)
        Residual, then unit effects, then build effects.
    sites : Sites
        Where to start from.
    pace : float
        Share of each step that is taken, halved after a few.

    Raises
    ------
    NotConvergedError
    """
    precisions = 1.0 / variances[1:]
    residual = float(variances[0])
    exact = rows.exact
    weight = np.where(exact, 1.0 / residual, sites.weight)
    pull = np.where(exact, weight * np.where(exact, rows.low, 0.0), sites.pull)
    for sweep in range(_MOST_SWEEPS):
        posterior = solve_nested(design, weight, pull, precisions)
        mean, variance = posterior.at_rows(design)
        # What is no number any more is refused below, in words.
        with np.errstate(all="ignore"):
            cavity = _cavity(mean, variance, weight, pull)
            tilted = _tilted(rows, *cavity, residual)
            step = _step(rows, tilted, cavity, residual, (weight, pull))
            # In units of the line's own error, so that it means the same for any reading.
            off = np.abs(step[0]) * variance + np.abs(step[1] - step[0] * mean) * np.sqrt(variance)
        moved = float(np.max(off, initial=0.0))
        if moved < _SETTLED or not math.isfinite(moved):
            break
        share = pace if sweep < _SLOWER_FROM else 0.5 * pace
        weight, pull = weight + share * step[0], pull + share * step[1]
    if not moved < _SETTLED:
        message = "the readings' intervals and the line did not settle"
        hint = "One reading may be far from all others: look at the widest and the narrowest."
        raise NotConvergedError(message, last=tuple(variances), hint=hint)
    cavity_mean, cavity_variance = cavity
    evidence = _of_effects(design, posterior, precisions, float(pull @ mean)) + _of_exact(
        rows, residual
    )
    stand_in = np.log1p(weight * cavity_variance) - (
        pull**2 * cavity_variance + 2.0 * pull * cavity_mean - weight * cavity_mean**2
    ) / (1.0 + weight * cavity_variance)
    evidence += float(np.sum(np.where(exact, 0.0, tilted.log_chance + 0.5 * stand_in)))
    away = np.where(exact, (np.where(exact, rows.low, 0.0) - mean) ** 2 + variance, 0.0)
    of_exact = 0.5 * (away / residual - 1.0) / residual
    slope = residual * float(np.sum(np.where(exact, of_exact, tilted.spread_slope)))
    return Settled(Sites(weight, pull), posterior, evidence, slope)


def _cavity(
    mean: FloatArray, variance: FloatArray, weight: FloatArray, pull: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of each row's line without what stands in for its own reading."""
    room = np.maximum(1.0 - weight * variance, _LEAST_ROOM)
    return (mean - variance * pull) / room, variance / room


def _step(
    rows: Rows,
    tilted: _Tilted,
    cavity: tuple[FloatArray, FloatArray],
    residual: float,
    now: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """From the sites now to those that give each line its tilted mean and variance."""
    mean, variance = cavity
    # A reading never says more of its line than its own scatter lets it.
    room = np.maximum(1.0 - tilted.bend * variance, residual / (variance + residual))
    weight, pull = tilted.bend / room, (tilted.slope + mean * tilted.bend) / room
    return np.where(rows.exact, 0.0, weight - now[0]), np.where(rows.exact, 0.0, pull - now[1])


def _tilted(rows: Rows, mean: FloatArray, variance: FloatArray, residual: float) -> _Tilted:
    total, exact = np.sqrt(variance + residual), rows.exact
    low, high = (rows.low - mean) / total, (rows.high - mean) / total
    # An interval above the mean is mirrored, so that chances are taken from the lower tail.
    mirrored = low > 0.0
    lower, upper = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    lower = np.where(exact, -np.inf, lower)
    upper = np.where(exact, np.inf, upper)
    top, bottom = log_ndtr(upper), log_ndtr(lower)
    # Where rounding leaves nothing between the ends, a narrowest interval is left.
    log_chance = top + np.log(-np.expm1(np.minimum(bottom - top, -_NARROWEST)))
    at_upper, at_lower = _density(upper, log_chance), _density(lower, log_chance)
    sign = np.where(mirrored, -1.0, 1.0)
    slope = -(at_upper - at_lower) / total * sign
    ends = _times(upper, at_upper) - _times(lower, at_lower)
    return _Tilted(
        log_chance=log_chance,
        slope=slope,
        bend=np.clip(ends / total**2 + slope**2, 0.0, total**-2.0),
        spread_slope=-0.5 * ends / total**2,
    )


def _density(at: FloatArray, log_chance: FloatArray) -> FloatArray:
    """Return the normal density over the chance; nought at infinity."""
    finite = np.where(np.isfinite(at), at, 0.0)
    ratio = np.exp(-0.5 * finite**2 - _LOG_ROOT_TWO_PI - log_chance)
    return np.where(np.isfinite(at), ratio, 0.0)


def _times(at: FloatArray, density: FloatArray) -> FloatArray:
    return np.where(np.isfinite(at), at, 0.0) * density


def _of_effects(
    design: NestedDesign, posterior: NestedPosterior, precisions: FloatArray, pulled: float
) -> float:
    """Log integral of the effects' prior times all sites, less the sites' own constants."""
    p, m, _ = design.sizes
    logs = len(design.units) * float(np.log(precisions[:m]).sum())
    logs += len(design.builds) * float(np.log(precisions[m:]).sum())
    return 0.5 * (pulled + logs - posterior.log_determinant) + p * _LOG_ROOT_TWO_PI


def _of_exact(rows: Rows, residual: float) -> float:
    """Log of the constants of readings whose latent reading was read."""
    read = rows.low[rows.exact]
    logs = 0.5 * (float(read @ read) / residual + len(read) * math.log(residual))
    return -logs - len(read) * _LOG_ROOT_TWO_PI

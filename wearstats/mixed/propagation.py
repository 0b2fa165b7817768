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


def settle(design: NestedDesign, rows: Rows, variances: FloatArray, sites: Sites) -> Settled:
    """Sweep over the sites until they agree.

    Parameters
    ----------
    design : NestedDesign
    rows : Rows
    variances : ndarray, shape (1 + m + k,)
        Residual, then unit effects, then build effects.
    sites : Sites
        Where to start from.

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
        room = np.maximum(1.0 - weight * variance, _LEAST_ROOM)
        cavity_variance = variance / room
        cavity_mean = (mean - variance * pull) / room
        tilted = _tilted(rows, cavity_mean, cavity_variance, residual)
        open_room = 1.0 - tilted.bend * cavity_variance
        new_weight = tilted.bend / open_room
        new_pull = (tilted.slope + cavity_mean * tilted.bend) / open_room
        step_weight = np.where(exact, 0.0, new_weight - weight)
        step_pull = np.where(exact, 0.0, new_pull - pull)
        # In units of the line's own error, so that it means the same for any reading.
        moved = np.abs(step_weight) * variance + np.abs(step_pull - step_weight * mean) * np.sqrt(
            variance
        )
        if float(np.max(moved, initial=0.0)) < _SETTLED:
            break
        pace = 1.0 if sweep < _SLOWER_FROM else 0.5
        weight = weight + pace * step_weight
        pull = pull + pace * step_pull
    else:
        message = "the readings' intervals and the line did not settle"
        raise NotConvergedError(message, last=tuple(variances))
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


def _tilted(rows: Rows, mean: FloatArray, variance: FloatArray, residual: float) -> _Tilted:
    total, exact = np.sqrt(variance + residual), rows.exact
    low, high = (rows.low - mean) / total, (rows.high - mean) / total
    # An interval above the mean is mirrored, so that chances are taken from the lower tail.
    mirrored = low > 0.0
    lower, upper = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    lower = np.where(exact, -np.inf, lower)
    upper = np.where(exact, np.inf, upper)
    top, bottom = log_ndtr(upper), log_ndtr(lower)
    log_chance = top + np.log1p(-np.exp(bottom - top))
    at_upper, at_lower = _density(upper, log_chance), _density(lower, log_chance)
    sign = np.where(mirrored, -1.0, 1.0)
    slope = -(at_upper - at_lower) / total * sign
    ends = _times(upper, at_upper) - _times(lower, at_lower)
    return _Tilted(
        log_chance=log_chance,
        slope=slope,
        bend=np.maximum(ends / total**2 + slope**2, 0.0),
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

"""Builds within units fitted to readings that are intervals, by a restricted likelihood.

The likelihood of a go / no-go reading is the chance that the latent reading lies in its interval;
fixed effects and the effects of units and builds are integrated out. As in `fit_components` it is
multiplied by each standard deviation to a power, so that no spread is taken for nought.
"""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import NotConvergedError, NotIdentifiedError
from wearstats.mixed.fitting import check_fixed
from wearstats.mixed.nested import NestedDesign, NestedPosterior
from wearstats.mixed.nested_fit import NestedFit
from wearstats.mixed.propagation import Rows, Settled, Sites, first_sites, settle

_SHARE_LOGS = (math.log(1e-8), math.log(1e2))
_LEAST_SHARE = 1e-8
_MOST_LOG = math.log(1e4)
_FLAT = 1e-3
_STEP = 0.05
_FINEST_FEEL = 0.1
_GENTLE = 0.3


def fit_lines(
    low: FloatArray,
    high: FloatArray,
    fixed: FloatArray,
    names: Sequence[str],
    *,
    units: Sequence[Hashable],
    builds: Sequence[Hashable],
    unit_columns: Mapping[str, FloatArray],
    build_columns: Mapping[str, FloatArray],
    held: Mapping[str, float] | None = None,
    residual_floor: float = 0.0,
    penalties: tuple[float, float, float] = (1.0, 0.25, 1.0),
) -> NestedFit:
    """Fit latent reading = fixed @ beta + unit effects + build effects + error.

    Parameters
    ----------
    low, high : ndarray, shape (n,)
        Ends of each reading; infinite where open; equal where it is a number.
    fixed : ndarray, shape (n, p)
    names : sequence of str, length p
    units, builds : sequence of hashable, length n
        A build's label must tell its unit too.
    unit_columns, build_columns : mapping of str to ndarray of shape (n,)
        What each independent effect of a unit, or of a build, is multiplied by.
    held : mapping of str to float, or None
        Variances of components that are known and not fitted.
    residual_floor : float
        Least residual variance.
    penalties : (float, float, float)
        For the residual, unit effects, build effects; 0 for the plain restricted likelihood. The
        first counts only where readings are intervals: those that all fit one line leave no
        scatter to see. Units are few: with half a power or more, intervals of the mean
        rate held the truth too often (benchmarks/wear.py).

    Returns
    -------
    NestedFit

    Raises
    ------
    TooFewError, NotIdentifiedError, NotConvergedError
    """
    rows = len(low)
    middle = _middles(low, high)
    least = max(residual_floor, _least_variance(low, high))
    spread = check_fixed(middle, fixed, names, least)
    columns = (fixed, _side_by_side(unit_columns, rows), _side_by_side(build_columns, rows))
    sizes = np.mean(np.hstack(columns[1:]) ** 2, axis=0)
    if not (sizes > 0.0).all():
        message = "a component's column is nought on every row"
        raise NotIdentifiedError(message, direction="its variance may be anything")
    design = NestedDesign.of(columns, units, builds)
    # The restricted likelihood does not see the fixed effects; without them it rounds less.
    rough: FloatArray = np.asarray(np.linalg.lstsq(fixed, middle, rcond=None)[0], dtype=np.float64)
    about, order = fixed @ rough, design.order
    data = Rows((low - about)[order], (high - about)[order])
    unit = max(spread**2, least)
    fitting = _Fitting(design, data, np.concatenate([[unit], unit / sizes]), penalties)
    least = max(least, _LEAST_SHARE * unit)
    fixed_logs = {
        1 + place: math.log((held or {})[name] / (unit / size))
        for place, (name, size) in enumerate(
            zip((*unit_columns, *build_columns), sizes, strict=True)
        )
        if name in (held or {})
    }
    logs, free = fitting.maximum(math.log(least / unit), fixed_logs)
    asked = _Asked(tuple(names), tuple(unit_columns), tuple(build_columns), frozenset(held or {}))
    return fitting.result(logs, free, rough, asked)


def _side_by_side(columns: Mapping[str, FloatArray], rows: int) -> FloatArray:
    return np.column_stack([np.zeros((rows, 0)), *columns.values()])


def _middles(low: FloatArray, high: FloatArray) -> FloatArray:
    """Middles of readings; the one end there is where the other is open."""
    ends = np.where(np.isfinite(low), low, high)
    others = np.where(np.isfinite(high), high, low)
    return np.asarray(0.5 * (ends + others))


def _least_variance(low: FloatArray, high: FloatArray) -> float:
    """Nobody's feel is finer than a tenth of the step between blades."""
    width = high - low
    steps = width[np.isfinite(width) & (width > 0.0)]
    return (_FINEST_FEEL * float(np.median(steps))) ** 2 if len(steps) else 0.0


@dataclass(frozen=True, slots=True)
class _Asked:
    """Names of fixed effects and components, and which variances were given."""

    names: tuple[str, ...]
    unit_names: tuple[str, ...]
    build_names: tuple[str, ...]
    held: frozenset[str]


class _Fitting:
    """The penalised likelihood in the logs of the variances over `units`."""

    def __init__(
        self,
        design: NestedDesign,
        rows: Rows,
        units: FloatArray,
        penalties: tuple[float, float, float],
    ) -> None:
        self._design, self._rows, self._units = design, rows, units
        m, k = design.sizes[1:]
        self._penalties = 0.5 * np.repeat(penalties, [1, m, k])
        self._penalties[0] *= not rows.exact.all()
        self._sites: Sites = first_sites(rows, float(units[0]))

    def settled(self, logs: FloatArray) -> Settled:
        """Settle from where the last ended; where that fails, from the middles and gently."""
        variances = self._units * np.exp(logs)
        try:
            found = settle(self._design, self._rows, variances, self._sites)
        except NotConvergedError:
            afresh = first_sites(self._rows, float(variances[0]))
            found = settle(self._design, self._rows, variances, afresh, pace=_GENTLE)
        self._sites = found.sites
        return found

    def slope(self, logs: FloatArray, found: Settled) -> FloatArray:
        """Slope of the penalised log likelihood in the logs of the variances."""
        (p, m, k), posterior = self._design.sizes, found.posterior
        variances = self._units * np.exp(logs)
        squares = [
            posterior.unit[:, p + j] ** 2 + posterior.unit_covariance[:, p + j, p + j]
            for j in range(m)
        ]
        squares += [
            posterior.build[:, p + j] ** 2 + posterior.build_covariance[:, p + j, p + j]
            for j in range(m, m + k)
        ]
        slopes = [
            0.5 * float(np.sum(each / variance - 1.0))
            for each, variance in zip(squares, variances[1:], strict=True)
        ]
        return np.array([found.residual_slope, *slopes]) + self._penalties

    def maximum(self, least: float, held: Mapping[int, float]) -> tuple[FloatArray, BoolArray]:
        """Return the logs at the maximum, and which of them are not held at an end."""
        from scipy.optimize import minimize

        def loss(asked: FloatArray) -> tuple[float, FloatArray]:
            logs = np.minimum(asked, _MOST_LOG)
            beyond, found = asked - logs, self.settled(logs)
            value = -found.evidence - float(self._penalties @ logs) + float(beyond @ beyond)
            return value, np.where(beyond > 0.0, 2.0 * beyond, -self.slope(logs, found))

        count = len(self._units)
        # One bound left open makes the first step a short one (the optimiser's rule): far below
        # the scatter that there is, intervals and line hardly settle. A step too far is led back.
        bounds = [(least, math.inf), *([_SHARE_LOGS] * (count - 1))]
        for place, log in held.items():
            bounds[place] = (log, log)
        ends = np.array(bounds)
        start = np.full(count, math.log(0.3))
        start[0] = max(math.log(0.5), least)
        for place, log in held.items():
            start[place] = log
        best = minimize(
            loss, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-11}
        )
        logs, slope = np.asarray(best.x, float), np.asarray(best.jac, float)
        free = ~((logs <= ends[:, 0]) & (slope >= 0.0)) & ~((logs >= ends[:, 1]) & (slope < 0.0))
        free &= ends[:, 0] < ends[:, 1]
        if float(np.max(np.abs(slope[free]), initial=0.0)) > _FLAT * len(self._rows.low):
            message = "the spreads between builds and units could not be fitted"
            raise NotConvergedError(message, last=tuple(self._units * np.exp(logs)))
        return logs, free

    def result(
        self, logs: FloatArray, free: BoolArray, rough: FloatArray, asked: _Asked
    ) -> NestedFit:
        """Gather what is known at the maximum, and how well its variances are."""
        curve, slopes = self._around(logs)
        open_ = np.flatnonzero(free)
        spread = np.zeros_like(curve)
        spread[np.ix_(open_, open_)] = _inverse(curve[np.ix_(open_, open_)])
        found = self.settled(logs)
        (p, m, _), design = self._design.sizes, self._design
        variances = self._units * np.exp(logs)
        every = (*asked.unit_names, *asked.build_names)
        posterior = found.posterior
        for means in (posterior.fixed[None], posterior.unit, posterior.build):
            means[:, :p] += rough
        return NestedFit(
            names=asked.names,
            unit_names=asked.unit_names,
            build_names=asked.build_names,
            variances=dict(zip(every, map(float, variances[1:]), strict=True)),
            residual_variance=float(variances[0]),
            log_likelihood=found.evidence,
            rows=len(self._rows.low),
            counts={
                name: len(design.units if place < m else design.builds)
                for place, name in enumerate(every)
            },
            unit_at={label: place for place, label in enumerate(design.units)},
            build_at={label: place for place, label in enumerate(design.builds)},
            posterior=posterior,
            held=asked.held,
            spread_covariance=spread,
            slopes=slopes,
        )

    def _around(self, logs: FloatArray) -> tuple[FloatArray, tuple[NestedPosterior, ...]]:
        """Curvature of the penalised likelihood and slopes of the posterior, by differences."""
        rows, slopes = [], []
        for step in np.eye(len(logs)) * _STEP:
            up, down = self.settled(logs + step), self.settled(logs - step)
            rows.append((self.slope(logs - step, down) - self.slope(logs + step, up)) / (2 * _STEP))
            slopes.append(_difference(up.posterior, down.posterior, 2 * _STEP))
        curve = np.array(rows)
        return 0.5 * (curve + curve.T), tuple(slopes)


def _difference(up: NestedPosterior, down: NestedPosterior, width: float) -> NestedPosterior:
    return NestedPosterior(
        *((getattr(up, name) - getattr(down, name)) / width for name in NestedPosterior.__slots__)
    )


def _inverse(curve: FloatArray) -> FloatArray:
    """Covariance from curvature; a direction that does not curve down gets a wide one."""
    if not len(curve):
        return curve
    values, vectors = np.linalg.eigh(curve)
    return np.asarray((vectors / np.maximum(values, 0.1)) @ vectors.T)

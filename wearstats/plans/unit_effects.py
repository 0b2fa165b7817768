"""What each unit does to strips: the fleet's posterior with a factor on the hazard of each unit.

    H_u(a) = z_u H(a),    log z_u ~ Normal(0, spread),    spread ~ half-normal(0.4)

Strip lives alone rarely show the spread between a handful of units, so it is not fitted at one
value: every value is weighed by what the records say of it, and a unit is drawn towards the fleet
as far as they leave it open. A unit with no life of its own gets what the spread allows. Units
whose lives entered late are weighed as in `wearstats.life.hazard_likelihood`: on having lasted
until the entries. Everything is a sum over points, taken evenly; only which effect of one unit goes
with which of another is shuffled, by fixed seeds.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import PlanError
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior
from wearstats.life.distributions import Law
from wearstats.lives import StripLives
from wearstats.lives.observations import Observations
from wearstats.plans.draws import estimate_over

SPREAD_SCALE = 0.4
"""Of the half-normal prior of the spread of log z."""

_SPREADS = np.array([0.0, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0])
_NODES, _NODE_WEIGHTS = special.roots_hermitenorm(15)
_ACROSS = 25
_REACH = 4.5
"""Standard deviations of the fleet's own posterior the grid reaches, more towards steep shapes:
a spread between units hides a steeper shape."""
_STEEPER = 1.6
_KEPT = 800
_SHUFFLED = 20261126
_FEWEST_UNITS = 2


@dataclass(frozen=True, slots=True)
class UnitDraws:
    """Draws of survival on one unit.

    Parameters
    ----------
    law : Law
    log_median, log_slope, log_z : ndarray, shape (n,)
        Of the fleet's strips in runs, and the unit's factor on the hazard.
    weights : ndarray, shape (n,)
    """

    law: Law
    log_median: FloatArray = field(repr=False)
    log_slope: FloatArray = field(repr=False)
    log_z: FloatArray = field(repr=False)
    weights: FloatArray = field(repr=False)

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        """Return survival, shape (n, ages), and the weights."""
        hazard = _hazard(self.law, ages, self.log_median[:, None], self.log_slope[:, None])
        return np.exp(-np.exp(self.log_z)[:, None] * hazard), self.weights


@dataclass(frozen=True, slots=True)
class UnitEffects:
    """The effects of all units.

    Attributes
    ----------
    spread : Estimate
        Standard deviation of log z between units.
    factors : mapping of str to Estimate
        z of each unit with a life of its own, mean over the draws.
    """

    spread: Estimate
    factors: Mapping[str, Estimate]
    _draws: Mapping[str, UnitDraws] = field(repr=False)
    _unseen: UnitDraws = field(repr=False)

    def draws_of(self, unit: str) -> UnitDraws:
        """Return the draws of a unit, or of one not seen before."""
        return self._draws.get(unit, self._unseen)


def unit_effects(
    lives: StripLives, life: LifePosterior, mode: str = "burned", *, level: float = 0.9
) -> UnitEffects:
    """Return what each unit does to strips.

    Parameters
    ----------
    lives : StripLives
    life : LifePosterior
        Of the fleet; its law and prior are taken over.
    mode : str
    level : float
        Nominal coverage of the intervals.

    Raises
    ------
    PlanError
        Fewer than two units: nothing to compare.
    """
    seen = lives.observations(mode)
    names = np.asarray(lives.usable["unit"].astype(str))
    units = sorted({*names.tolist()})
    if len(units) < _FEWEST_UNITS:
        message = "one unit alone cannot be compared with others"
        raise PlanError(message)
    return effects_of(seen, names.tolist(), life, level=level)


def effects_of(
    seen: Observations, units: list[str], life: LifePosterior, *, level: float = 0.9
) -> UnitEffects:
    """Return what each unit does to strips; `units` names the unit of each life."""
    law = life.law
    medians, slopes, log_prior = _grid(life)
    logs = _Looked(law, seen, medians, slopes)
    log_z = _SPREADS[:, None] * _NODES[None, :]
    log_node = np.log(_NODE_WEIGHTS / _NODE_WEIGHTS.sum())
    total = log_prior[:, None] - (_SPREADS / SPREAD_SCALE) ** 2 / 2 + np.log(_widths())
    by_unit: dict[str, FloatArray] = {}
    names = np.array(units)
    for name in sorted({*units}):
        joint, entered = logs.of(np.flatnonzero(names == name), log_z)
        joint = joint + log_node
        total = total + special.logsumexp(joint, axis=2)
        total = total - special.logsumexp(entered + log_node, axis=2)
        by_unit[name] = joint - special.logsumexp(joint, axis=2, keepdims=True)
    weights = np.exp(total - total.max())
    weights /= weights.sum()

    point, spread = np.unravel_index(_resampled(weights.ravel(), _KEPT), weights.shape)
    even = np.full(_KEPT, 1.0 / _KEPT)

    def drawn(shares: FloatArray, place: int) -> UnitDraws:
        node = _picked(shares[point, spread], place)
        return UnitDraws(law, medians[point], slopes[point], log_z[spread, node], even)

    # The k-th draws of all units are of one fleet, and given it say nothing of each other.
    draws = {
        name: drawn(np.exp(share), place) for place, (name, share) in enumerate(by_unit.items(), 1)
    }
    shape = (medians.size, _SPREADS.size, _NODES.size)
    unseen = drawn(np.broadcast_to(np.exp(log_node), shape), 0)
    factors = {
        name: estimate_over(np.exp(each.log_z), each.weights, level) for name, each in draws.items()
    }
    return UnitEffects(estimate_over(_SPREADS, weights.sum(axis=0), level), factors, draws, unseen)


def _widths() -> FloatArray:
    """Return what part of the spread's axis each value stands for."""
    middles = (_SPREADS[1:] + _SPREADS[:-1]) / 2
    ends = np.concatenate([[0.0], middles, [_SPREADS[-1] + middles[-1] - _SPREADS[-2]]])
    return np.diff(ends)


def _grid(life: LifePosterior) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return points over (log median, log slope), and the prior there, shape (n,)."""
    weights, prior = life.weights, life.prior
    middle = [float(weights @ each) for each in (life.log_median, life.log_slope)]
    spread = [
        max(float(np.sqrt(weights @ (each - at) ** 2)), 1e-3)
        for each, at in zip((life.log_median, life.log_slope), middle, strict=True)
    ]
    reach = ((_REACH, _REACH), (_REACH, _STEEPER * _REACH))
    axes = [
        np.linspace(at - low * sd, at + high * sd, _ACROSS)
        for at, sd, (low, high) in zip(middle, spread, reach, strict=True)
    ]
    if life.fixed_shape is not None:
        axes[1] = np.array([np.log(life.fixed_shape)])
    medians, slopes = (each.ravel() for each in np.meshgrid(*axes, indexing="ij"))
    centre = np.log(prior.median_runs or 1.0)
    density = -(((medians - centre) / prior.log_median_sd) ** 2) / 2
    if life.fixed_shape is None:
        density = density - ((slopes - np.log(prior.shape)) / prior.log_shape_sd) ** 2 / 2
    return medians, slopes, density


def _hazard(law: Law, ages: FloatArray, medians: FloatArray, slopes: FloatArray) -> FloatArray:
    """Return the cumulative hazard at ages, nought at age 0 and infinite at infinity."""
    usual = np.where((ages > 0) & np.isfinite(ages), ages, 1.0)
    z = law.quantile(0.5) + np.exp(slopes) * (np.log(usual) - medians)
    found = np.where(ages > 0, law.hazard(z)[0], 0.0)
    return np.where(np.isfinite(ages), found, np.inf)


class _Looked:
    """Hazards of all lives at every point of the grid, and the likelihood of some of them."""

    def __init__(
        self, law: Law, seen: Observations, medians: FloatArray, slopes: FloatArray
    ) -> None:
        at = (medians[:, None], slopes[:, None])
        self.weight = seen.weight
        self.entry = _hazard(law, seen.entry[None, :], *at)
        self.lower = _hazard(law, seen.lower[None, :], *at)
        self.upper = _hazard(law, seen.upper[None, :], *at)
        self.failed = seen.failed
        self.exact = seen.failed & (seen.upper == seen.lower)
        usual = np.where(self.exact, np.maximum(seen.upper, 1e-9), 1.0)
        z = law.quantile(0.5) + np.exp(at[1]) * (np.log(usual) - at[0])
        self.log_rate = law.log_rate(z)[0] + at[1] - np.log(usual)

    def of(self, lives: IntArray, log_z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return log likelihood and log chance of the entries, shape (points, spreads, nodes)."""
        z = np.exp(log_z)
        shape = (self.lower.shape[0], *z.shape)
        found, entered = np.zeros(shape), np.zeros(shape)
        for life in lives.tolist():
            weight = self.weight[life]
            entered -= weight * z * self.entry[:, life, None, None]
            found -= weight * z * self.lower[:, life, None, None]
            if self.exact[life]:
                found += weight * (log_z + self.log_rate[:, life, None, None])
            elif self.failed[life]:
                between = z * (self.upper - self.lower)[:, life, None, None]
                found += weight * np.log(-np.expm1(-np.maximum(between, 1e-300)))
        return found, entered


def _resampled(weights: FloatArray, count: int) -> IntArray:
    """Return places drawn evenly along the cumulated weights, each about as often as it weighs."""
    reached = np.cumsum(weights)
    shares = (np.arange(count) + 0.5) / count * reached[-1]
    places: IntArray = np.searchsorted(reached, shares).astype(np.int64)
    return places


def _picked(shares: FloatArray, place: int) -> IntArray:
    """Return a node for each row of shares, (n, nodes), evenly over the rows in a shuffled order.

    Each `place` has an order of its own.
    """
    order = np.random.default_rng([_SHUFFLED, place]).permutation(len(shares))
    reached = np.cumsum(shares, axis=1)
    wanted = (order[:, None] + 0.5) / len(shares) * reached[:, -1:]
    nodes: IntArray = np.count_nonzero(reached < wanted, axis=1).astype(np.int64)
    return nodes

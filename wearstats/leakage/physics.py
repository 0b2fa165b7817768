"""What a Roots blower delivers past its leaks: nozzle flow, and the balance with the engine.

SI throughout, pressures absolute, temperatures in kelvin, clearances in metres; every function
takes scalars or arrays and broadcasts. Gauge pressure appears nowhere in this module.

Symbols of the method's description and the words used here: swept-volume ratio B
(`swept_ratio`), swallowing number eta (`swallowing`: the engine's volumetric efficiency over the
blower's filling), leakage number Lambda (`leakage`), pressure ratio pi, temperature ratio tau,
share kappa of the compression heat left in the charge (`heat_share`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import elementwise

from wearstats.arrays import BoolArray, FloatArray
from wearstats.errors import UsageError

GAMMA = 1.4
"""Ratio of specific heats of air."""
DRY_AIR_GAS_CONSTANT = 287.053
"""J/(kg K), U.S. Standard Atmosphere 1976."""
DISCHARGE_COEFFICIENT = 0.70
"""Common practice for strips of 5 to 7 mm land, gaps from 4 thou and boost from 15 psi."""

_HEAT_EXPONENT = (GAMMA - 1.0) / GAMMA
_HAIR = 1e-6
_CRITICAL_RATIO = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
_SMALL_POWER = 2.0 / GAMMA
_LARGE_POWER = (GAMMA + 1.0) / GAMMA
_REPETITIONS = 60


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Where blower delivery and engine swallowing balance.

    Parameters
    ----------
    pressure_ratio, temperature_ratio : ndarray
        Manifold over blower inlet, absolute.
    slip : ndarray
        Share of the displacement that leaks back.
    boosts : ndarray of bool
        False where the engine swallows more than the blower sweeps: no boost, ratio 1.
    """

    pressure_ratio: FloatArray
    temperature_ratio: FloatArray
    slip: FloatArray
    boosts: BoolArray


def flow_function(back_ratio: ArrayLike) -> FloatArray:
    """Isentropic nozzle flow function psi, both branches.

    Parameters
    ----------
    back_ratio : array_like
        Downstream over upstream stagnation pressure; above 1 nothing flows.

    Returns
    -------
    ndarray
        0 at 1, constant (0.68473) from the critical ratio 0.52828 down.

    Notes
    -----
    NACA Report 1135 (isentropic relations), ISO 9300 (critical flow function).
    """
    ratio = np.clip(np.asarray(back_ratio, float), _CRITICAL_RATIO, 1.0)
    bracket = ratio**_SMALL_POWER - ratio**_LARGE_POWER
    return np.asarray(np.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * bracket))


def nozzle_flux(
    upstream_pressure: ArrayLike,
    upstream_temperature: ArrayLike,
    back_pressure: ArrayLike,
    gas_constant: ArrayLike = DRY_AIR_GAS_CONSTANT,
) -> FloatArray:
    """Mass flux of an isentropic nozzle, subcritical or choked.

    Parameters
    ----------
    upstream_pressure, back_pressure : array_like, Pa absolute
    upstream_temperature : array_like, K
        Stagnation.
    gas_constant : array_like, J/(kg K)

    Returns
    -------
    ndarray, kg/(s m^2)
    """
    p0 = np.asarray(upstream_pressure, float)
    root = np.sqrt(np.asarray(gas_constant, float) * np.asarray(upstream_temperature, float))
    return np.asarray(p0 / root * flow_function(np.asarray(back_pressure, float) / p0))


def leakage_number(
    area: ArrayLike,
    *,
    engine_speed: ArrayLike,
    engine_displacement: ArrayLike,
    inlet_temperature: ArrayLike,
    gas_constant: ArrayLike = DRY_AIR_GAS_CONSTANT,
    discharge_coefficient: ArrayLike = DISCHARGE_COEFFICIENT,
    multiplier: ArrayLike = 1.0,
) -> FloatArray:
    """Leakage number: 2 theta Cd A sqrt(R T1) / (N_e V_e).

    Parameters
    ----------
    area : array_like, square metres
    engine_speed : array_like, turns per second
    engine_displacement : array_like, cubic metres
    inlet_temperature : array_like, K
    gas_constant : array_like, J/(kg K)
    discharge_coefficient : array_like
        One number for now; a coefficient by gap, land and boost (narrow slot) may be given here.
    multiplier : array_like
        The one fitted factor on all leakage, theta.
    """
    opening = np.asarray(discharge_coefficient, float) * np.asarray(area, float)
    sound = np.sqrt(np.asarray(gas_constant, float) * np.asarray(inlet_temperature, float))
    swallowed = np.asarray(engine_speed, float) * np.asarray(engine_displacement, float)
    return np.asarray(2.0 * np.asarray(multiplier, float) * opening * sound / swallowed)


def temperature_ratio(
    ratio: ArrayLike, swept: ArrayLike, swallowing: ArrayLike, heat_share: ArrayLike
) -> FloatArray:
    """Discharge over inlet temperature: 1 / (1 - kappa a (B / eta) (1 - 1 / pi)).

    A Roots blower compresses nothing inside, so its work is displacement times pressure rise;
    `heat_share` of it stays in the charge (1 dry, about 0.35 with alcohol through the blower).
    """
    lost = 1.0 - 1.0 / np.asarray(ratio, float)
    return np.asarray(1.0 / (1.0 - _heating(swept, swallowing, heat_share) * lost))


def no_leak_ratio(
    swept: ArrayLike,
    swallowing: ArrayLike = 1.0,
    *,
    heat_share: ArrayLike | None = None,
    fixed_temperature_ratio: ArrayLike | None = None,
) -> FloatArray:
    """Pressure ratio of a blower that leaks nothing, closed form; 1 where there is no boost.

    Exactly one of `heat_share` and `fixed_temperature_ratio` (a logged manifold temperature
    over the inlet's) must be given.

    Raises
    ------
    UsageError
        Both or none given, or `heat_share * a * swept / swallowing` is 1 or more.
    """
    excess = np.asarray(swept, float) / np.asarray(swallowing, float)
    _exactly_one(heat_share, fixed_temperature_ratio)
    if heat_share is None:
        ratio = excess * np.asarray(fixed_temperature_ratio, float)
    else:
        heating = _heating(swept, swallowing, heat_share)
        ratio = (excess - heating) / (1.0 - heating)
    return np.asarray(np.maximum(ratio, 1.0))


def pressure_ratio(
    swept: ArrayLike,
    leakage: ArrayLike,
    swallowing: ArrayLike = 1.0,
    *,
    heat_share: ArrayLike | None = None,
    fixed_temperature_ratio: ArrayLike | None = None,
) -> OperatingPoint:
    """Solve B - Lambda pi sqrt(tau) psi(1 / pi) - eta pi / tau = 0 for the pressure ratio.

    The left side falls from B - eta / tau at 1 to a leak below zero at the no-leak ratio, so the
    root is bracketed and found for all elements at once.

    Parameters
    ----------
    swept, leakage, swallowing : array_like
        Swept-volume ratio, leakage number (0 or more), swallowing number.
    heat_share, fixed_temperature_ratio : array_like or None
        Exactly one of them.

    Raises
    ------
    UsageError
        As `no_leak_ratio`, or an input is not finite or a leakage is negative.
    """
    ceiling = no_leak_ratio(
        swept,
        swallowing,
        heat_share=heat_share,
        fixed_temperature_ratio=fixed_temperature_ratio,
    )
    heat = 0.0 if heat_share is None else heat_share
    tau_held = np.nan if fixed_temperature_ratio is None else fixed_temperature_ratio
    b, lam, eta, kappa, held, top = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (swept, leakage, swallowing, heat, tau_held, ceiling))
    )
    if not (np.isfinite(b + lam + eta + top).all() and (lam >= 0.0).all()):
        message = "the balance needs finite inputs and a leakage number of 0 or more"
        raise UsageError(message)
    boosts = top > 1.0

    def tau_at(ratio: FloatArray, b: FloatArray, eta: FloatArray, kappa: FloatArray) -> FloatArray:
        return np.asarray(1.0 / (1.0 - kappa * _HEAT_EXPONENT * b / eta * (1.0 - 1.0 / ratio)))

    def surplus(  # noqa: PLR0917 - the solver hands its arguments over by position
        ratio: FloatArray,
        b: FloatArray,
        lam: FloatArray,
        eta: FloatArray,
        kappa: FloatArray,
        held: FloatArray,
    ) -> FloatArray:
        tau = np.where(np.isnan(held), tau_at(ratio, b, eta, kappa), held)
        leak = lam * ratio * np.sqrt(tau) * flow_function(1.0 / ratio)
        return np.asarray(b - leak - eta * ratio / tau)

    # The bracket reaches a hair past the no-leak ratio so that its end is below zero even
    # without a leak; where there is no boost any bracket will do, the answer is not used.
    safe_b = np.where(boosts, b, 2.0 * eta)
    safe_held = np.where(boosts, held, np.where(np.isnan(held), np.nan, 1.0))
    safe_kappa = np.where(boosts, kappa, 0.0)
    high = np.where(boosts, top, 2.0) * (1.0 + 1e-9)
    found = elementwise.find_root(
        surplus,
        (np.ones_like(high), high),
        args=(safe_b, lam, eta, safe_kappa, safe_held),
    )
    if not np.all(found.success):
        message = "the balance of blower and engine has no root between no boost and no leak"
        raise UsageError(message)
    ratio = np.where(boosts, np.minimum(found.x, top), 1.0)
    tau = np.where(np.isnan(held), tau_at(ratio, b, eta, kappa), held)
    slip = lam * ratio * np.sqrt(tau) * flow_function(1.0 / ratio) / b
    return OperatingPoint(ratio, tau, np.where(boosts, slip, 0.0), np.asarray(boosts))


def leak_from_ratio(
    ratio: ArrayLike, temperature: ArrayLike, swept: ArrayLike, swallowing: ArrayLike = 1.0
) -> FloatArray:
    """Leakage number that explains a pressure ratio: the balance turned round.

    A small difference of large numbers: use only as a mean over many runs.

    Parameters
    ----------
    ratio, temperature : array_like
        Pressure ratio (above 1) and temperature ratio.
    swept, swallowing : array_like
    """
    pi, tau = np.asarray(ratio, float), np.asarray(temperature, float)
    missing = np.asarray(swept, float) - np.asarray(swallowing, float) * pi / tau
    return np.asarray(missing / (pi * np.sqrt(tau) * flow_function(1.0 / pi)))


def heat_share_of(
    temperature: ArrayLike, ratio: ArrayLike, swept: ArrayLike, swallowing: ArrayLike = 1.0
) -> FloatArray:
    """Share of the compression heat in the charge, from a logged manifold temperature.

    Parameters
    ----------
    temperature : array_like
        Discharge over inlet temperature, absolute.
    ratio, swept, swallowing : array_like
        Pressure ratio (above 1), swept-volume ratio, swallowing number.
    """
    excess = np.asarray(swept, float) / np.asarray(swallowing, float)
    rise = _HEAT_EXPONENT * excess * (1.0 - 1.0 / np.asarray(ratio, float))
    return np.asarray((1.0 - 1.0 / np.asarray(temperature, float)) / rise)


def swallowing_of(
    ratio: ArrayLike, leakage: ArrayLike, swept: ArrayLike, *, heat_share: ArrayLike
) -> FloatArray:
    """Swallowing number that explains a pressure ratio: how a fresh build is calibrated.

    The balance turned round, pi (eta - h) = B - Lambda pi sqrt(tau) psi(1 / pi) with
    h = kappa a B (1 - 1 / pi); tau = eta / (eta - h) is found by repetition. Typical 0.85 to 1.10.

    Parameters
    ----------
    ratio, leakage, swept, heat_share : array_like
        As `pressure_ratio`; ratio above 1.
    """
    pi, b = np.asarray(ratio, float), np.asarray(swept, float)
    heating = np.asarray(heat_share, float) * _HEAT_EXPONENT * b * (1.0 - 1.0 / pi)
    slip = np.asarray(leakage, float) * flow_function(1.0 / pi)
    swallowing = b / pi + heating
    for _ in range(_REPETITIONS):
        warmth = np.sqrt(swallowing / (swallowing - heating))
        swallowing = b / pi - slip * warmth + heating
    return np.asarray(swallowing)


def choked_ratio(
    swept: ArrayLike,
    leakage: ArrayLike,
    fixed_temperature_ratio: ArrayLike,
    swallowing: ArrayLike = 1.0,
) -> FloatArray:
    """Pressure ratio in closed form for a logged manifold temperature and choked gaps.

    1 / pi = (eta / tau) / B + C* sqrt(tau) Lambda / B; its reciprocal is linear in clearance.
    Holds where the result is above 1 / 0.52828; see `pressure_ratio` for every case.
    """
    b, tau = np.asarray(swept, float), np.asarray(fixed_temperature_ratio, float)
    leak = flow_function(0.0) * np.sqrt(tau) * np.asarray(leakage, float)
    return np.asarray(b / (np.asarray(swallowing, float) / tau + leak))


def elasticity(
    point: OperatingPoint,
    swept: ArrayLike,
    swallowing: ArrayLike = 1.0,
    *,
    heat_share: ArrayLike,
) -> FloatArray:
    """Return d ln p2 / d ln A at an operating point.

    -s / [(1 - s)(1 - tau') + s (1 + tau' / 2 + psi')] with slip s, tau' = d ln tau / d ln pi and
    psi' = -d ln psi / d ln x; -s where gaps are choked and `heat_share` is 0.
    """
    pi, tau, slip = point.pressure_ratio, point.temperature_ratio, point.slip
    tau_slope = tau * _heating(swept, swallowing, heat_share) / pi
    back = 1.0 / pi
    small, large = back**_SMALL_POWER, back**_LARGE_POWER
    with np.errstate(divide="ignore", invalid="ignore"):  # no slope at ratio 1, where slip is 0
        slope = -0.5 * (_SMALL_POWER * small - _LARGE_POWER * large) / (small - large)
    psi_slope = np.where(back > _CRITICAL_RATIO, np.where(pi > 1.0, slope, 0.0), 0.0)
    resistance = (1.0 - slip) * (1.0 - tau_slope) + slip * (1.0 + tau_slope / 2.0 + psi_slope)
    return np.asarray(-slip / resistance)


def heats_without_end(swept: ArrayLike, heat_share: ArrayLike) -> BoolArray:
    """Say where so much is swept at this heat share that no pressure is reached: no such machine.

    Parameters
    ----------
    swept : array_like
        Swept ratio over swallowing.
    heat_share : array_like
    """
    # A hair below 1 the ratio is past any that the solver, or a blower, can reach.
    return np.asarray(_heated(swept, heat_share) > 1.0 - _HAIR)


def _heated(excess: ArrayLike, heat_share: ArrayLike) -> FloatArray:
    return np.asarray(np.asarray(heat_share, float) * _HEAT_EXPONENT * np.asarray(excess, float))


def _heating(swept: ArrayLike, swallowing: ArrayLike, heat_share: ArrayLike) -> FloatArray:
    excess = np.asarray(swept, float) / np.asarray(swallowing, float)
    heating = _heated(excess, heat_share)
    if (heating >= 1.0).any():
        most = 1.0 / _HEAT_EXPONENT
        message = (
            f"heat share times swept ratio over swallowing is {np.max(heating) * most:.3g}: "
            f"from {most:.3g} up the charge would heat without end"
        )
        raise UsageError(message, hint="check overdrive, displacements and heat share")
    return heating


def _exactly_one(heat_share: ArrayLike | None, held: ArrayLike | None) -> None:
    if (heat_share is None) == (held is None):
        message = "give either the heat share or a fixed temperature ratio, not both and not none"
        raise UsageError(message)

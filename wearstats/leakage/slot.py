"""Flow through a narrow slot with wall friction: how much of the nozzle's flow a gap passes.

A strip of land t over a gap c is a slot of hydraulic diameter 2c. Air enters without loss but for
half a velocity head, then rubs along both walls without giving off heat (Fanno flow), until it
leaves at the back pressure or chokes. Tight gaps pass far less than a nozzle of their area: the
first two thou are nearly free.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import elementwise

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.leakage.physics import DRY_AIR_GAS_CONSTANT, GAMMA, nozzle_flux
from wearstats.units import INCH_MM, PSI_PA, STANDARD_PRESSURE_PA

STRIP_LAND_M = 6.35e-3
"""Width of a strip in the flow's direction (common practice: 5 to 7 mm)."""
ENTRANCE_LOSS = 0.5
"""Velocity heads lost at a sharp entrance (textbook value, from memory)."""
TABLE_TEMPERATURE_K = 350.0
"""Discharge temperature at which the table of a land is computed."""

_THOU_M = INCH_MM * 1e-6
_GAPS_THOU = np.geomspace(0.5, 40.0, 45)
_BOOSTS_PSI = np.geomspace(0.5, 70.0, 41)
_LEAST_MACH = 1e-9
_HALF = (GAMMA - 1.0) / 2.0


def sutherland_viscosity(temperature_k: ArrayLike) -> FloatArray:
    """Viscosity of air.

    Parameters
    ----------
    temperature_k : array_like, K

    Returns
    -------
    ndarray, Pa s

    Notes
    -----
    U.S. Standard Atmosphere 1976: 1.458e-6 T^1.5 / (T + 110.4).
    """
    kelvin = np.asarray(temperature_k, float)
    return np.asarray(1.458e-6 * kelvin**1.5 / (kelvin + 110.4))


def fanno(mach: ArrayLike) -> FloatArray:
    """Friction length f L / D from a Mach number to where the flow chokes.

    Parameters
    ----------
    mach : array_like, above 0

    Notes
    -----
    NACA Report 1135 and textbooks of gas dynamics (from memory): 1.0691 at Mach 0.5.
    """
    square = np.asarray(mach, float) ** 2
    expansion = np.log((GAMMA + 1.0) * square / (2.0 + (GAMMA - 1.0) * square))
    return np.asarray((1.0 - square) / (GAMMA * square) + (GAMMA + 1.0) / (2.0 * GAMMA) * expansion)


def slot_flux(
    gap: ArrayLike,
    land: ArrayLike,
    upstream_pressure: ArrayLike,
    back_pressure: ArrayLike,
    upstream_temperature: ArrayLike = TABLE_TEMPERATURE_K,
    *,
    entrance_loss: float = ENTRANCE_LOSS,
) -> FloatArray:
    """Mass flux through a narrow slot with wall friction.

    Darcy's factor is the greater of 96 / Re (laminar, between plates) and 0.316 / Re^0.25.

    Parameters
    ----------
    gap, land : array_like, m
    upstream_pressure, back_pressure : array_like, Pa absolute
    upstream_temperature : array_like, K
        Stagnation.
    entrance_loss : float
        Velocity heads.

    Returns
    -------
    ndarray, kg/(s m^2)
        0 where there is no gap or no pressure drop.

    Raises
    ------
    UsageError
        A land, pressure or temperature is not above 0, or a number is not finite.
    """
    c, t, p0, p1, t0 = np.broadcast_arrays(
        *(
            np.asarray(v, float)
            for v in (gap, land, upstream_pressure, back_pressure, upstream_temperature)
        )
    )
    positive = np.minimum(t, np.minimum(p1, t0)) > 0.0
    if not (np.isfinite(c + t + p0 + p1 + t0).all() and positive.all()):
        message = "a slot needs a land, pressures and a temperature above 0"
        raise UsageError(message)
    flows = (c > 0.0) & (p0 > p1)
    # Where nothing flows any slot will do; the answer is not used.
    c, p0 = np.where(flows, c, 1e-4), np.where(flows, p0, 2.0 * p1)
    root = np.sqrt(DRY_AIR_GAS_CONSTANT * t0)
    scale = p0 / root
    lossless = np.sqrt(np.minimum(((p0 / p1) ** ((GAMMA - 1.0) / GAMMA) - 1.0) / _HALF, 1.0))
    found = elementwise.find_root(
        _friction_left,
        (np.full(c.shape, np.log(_LEAST_MACH)), np.log(lossless)),
        args=(scale, p0 / p1, 2.0 * c / sutherland_viscosity(t0), t / (2.0 * c), entrance_loss),
    )
    if not np.all(found.success):
        message = "the flow of a slot has no root between standstill and a nozzle's"
        raise UsageError(message)
    return np.asarray(np.where(flows, scale * _flow_of_mach(np.exp(found.x)), 0.0))


def _flow_of_mach(mach: FloatArray) -> FloatArray:
    """Flux over p0 / sqrt(R T0) at a Mach number behind a lossless entrance."""
    power = -(GAMMA + 1.0) / (2.0 * (GAMMA - 1.0))
    return np.asarray(np.sqrt(GAMMA) * mach * (1.0 + _HALF * mach**2) ** power)


def _friction_left(  # noqa: PLR0917 - the solver hands its arguments over by position
    log_mach: FloatArray,
    scale: FloatArray,
    pressures: FloatArray,
    length_over_viscosity: FloatArray,
    land_over_diameter: FloatArray,
    entrance_loss: FloatArray,
) -> FloatArray:
    """Friction the flow can still take less what the slot has; falls with the entrance's Mach."""
    mach = np.exp(log_mach)
    flow = _flow_of_mach(mach)
    # Exit Mach from mass flow, stagnation temperature and static pressure: a quadratic.
    leaving = (flow * pressures) ** 2 / GAMMA
    # (sqrt(1 + z) - 1) written so that small flows keep their digits
    exit_square = 2.0 * leaving / (1.0 + np.sqrt(1.0 + 4.0 * _HALF * leaving))
    exit_mach = np.sqrt(np.minimum(exit_square, 1.0))
    reynolds = scale * flow * length_over_viscosity
    friction = np.maximum(96.0 / reynolds, 0.316 * reynolds**-0.25)
    need = friction * land_over_diameter + entrance_loss
    return np.asarray(fanno(mach) - fanno(exit_mach) - need)


def cd_slot(
    gap: ArrayLike,
    land: ArrayLike,
    upstream_pressure: ArrayLike,
    back_pressure: ArrayLike,
    upstream_temperature: ArrayLike = TABLE_TEMPERATURE_K,
) -> FloatArray:
    """Discharge coefficient of a narrow slot: its flux over the isentropic nozzle's.

    Solved for every element; `SlotTable` is the quick form. Parameters as `slot_flux`.
    """
    p0, p1, t0 = (
        np.asarray(v, float) for v in (upstream_pressure, back_pressure, upstream_temperature)
    )
    through = slot_flux(gap, land, p0, p1, t0)
    nozzle = nozzle_flux(p0, t0, p1)
    return np.asarray(np.divide(through, nozzle, out=np.zeros(through.shape), where=nozzle > 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class SlotTable:
    """Discharge coefficients of one land, computed once and interpolated.

    Parameters
    ----------
    land_m : float
    logs : ndarray, shape (gaps, boosts)
        ln Cd over ln gap (0.5 to 40 thou) and ln boost (0.5 to 70 psi) at one atmosphere and
        350 K. Between grid points ln Cd is linear (within 1.2 %); below 0.5 thou it goes on
        so, a boost is held to the grid's ends, a gap to its upper one.
    """

    land_m: float
    logs: FloatArray

    def coefficient(self, gap_thou: ArrayLike, boost_psi: ArrayLike) -> FloatArray:
        """Discharge coefficient, 0 where there is no gap.

        Parameters
        ----------
        gap_thou, boost_psi : array_like
            Running gap; gauge pressure across it at one atmosphere.
        """
        from scipy.interpolate import RegularGridInterpolator

        gap, boost = np.broadcast_arrays(np.asarray(gap_thou, float), np.asarray(boost_psi, float))
        open_gap = gap > 0.0
        at_gap = np.log(np.minimum(np.where(open_gap, gap, 1.0), _GAPS_THOU[-1]))
        at_boost = np.log(np.clip(boost, _BOOSTS_PSI[0], _BOOSTS_PSI[-1]))
        table = RegularGridInterpolator(
            (np.log(_GAPS_THOU), np.log(_BOOSTS_PSI)),
            self.logs,
            bounds_error=False,
            fill_value=None,
        )
        found = np.exp(table(np.stack([at_gap, at_boost], axis=-1))).reshape(gap.shape)
        return np.asarray(np.where(open_gap, found, 0.0))


@cache
def slot_table(land_m: float = STRIP_LAND_M) -> SlotTable:
    """Compute the table of a land; kept for the next call.

    Parameters
    ----------
    land_m : float, m
        Width of the strip, or of the bare rotor face, in the flow's direction.
    """
    gap = _GAPS_THOU[:, np.newaxis] * _THOU_M
    upstream = STANDARD_PRESSURE_PA + _BOOSTS_PSI * PSI_PA
    return SlotTable(land_m, np.log(cd_slot(gap, land_m, upstream, STANDARD_PRESSURE_PA)))

"""Running clearances: what heat leaves of a clearance measured cold.

Shop units: clearances in thou, lengths in inches, temperatures as differences in kelvin.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import BoolArray, FloatArray

EXPANSION = {
    "aluminium 6061": 23.6e-6,
    "aluminium 7075": 23.4e-6,
    "aluminium 356": 21.5e-6,
    "magnesium": 26.0e-6,
    "urethane": 150e-6,
    "ptfe": 126e-6,
}
"""Linear expansion, 1/K: metals and PTFE (its least) from Callister, Materials Science and
Engineering, table B.6; urethane 100e-6 to 200e-6, an engineering estimate."""

_THOU_PER_INCH = 1000.0


@dataclass(frozen=True, slots=True)
class Warmth:
    """How much hotter than in the workshop rotor and case run, K.

    Engineering estimates without a source: enter a measured case temperature where there is one.

    Parameters
    ----------
    rotor_k, rotor_u_k : float
        Mean and standard uncertainty.
    case_k, case_u_k : float
    """

    rotor_k: float = 25.0
    rotor_u_k: float = 8.0
    case_k: float = 20.0
    case_u_k: float = 5.0


ALCOHOL = Warmth()
"""Methanol or nitromethane through the blower."""
DRY = Warmth(60.0, 20.0, 40.0, 15.0)
"""Fuel added after the blower."""


@dataclass(frozen=True, slots=True)
class Materials:
    """Expansion of case, rotor and strip, 1/K, and how far the strip's is uncertain."""

    case: float = EXPANSION["magnesium"]
    rotor: float = EXPANSION["aluminium 7075"]
    strip: float = EXPANSION["urethane"]
    strip_u: float = 50e-6 / math.sqrt(3.0)


@dataclass(frozen=True, slots=True, eq=False)
class RunningClearance:
    """A clearance when hot.

    Parameters
    ----------
    thou : ndarray
        0 where heat takes it all up.
    u_thou : ndarray
        Standard uncertainty.
    interference : ndarray of bool
        The strip touches and will wear in.
    """

    thou: FloatArray
    u_thou: FloatArray
    interference: BoolArray


def running_tip(
    cold_thou: ArrayLike,
    *,
    bore_radius_in: ArrayLike,
    strip_depth_in: ArrayLike = 0.375,
    warmth: Warmth = ALCOHOL,
    materials: Materials | None = None,
    cold_u_thou: ArrayLike = 0.0,
) -> RunningClearance:
    """Tip clearance when hot.

    `cold + R a_case dT_case - R a_rotor dT_rotor - H (a_strip - a_rotor) dT_rotor`. Bending under
    pressure and centrifugal growth are not modelled.

    Parameters
    ----------
    cold_thou, cold_u_thou : array_like, thou
        Metal-to-metal clearance less strip height, and its standard uncertainty.
    bore_radius_in : array_like, in
    strip_depth_in : array_like, in
        Height of the strip from the groove's floor, where it grows from.
    warmth : Warmth
    materials : Materials or None
        None for a magnesium case, aluminium rotors, urethane strips.
    """
    made = materials or Materials()
    radius, depth = np.asarray(bore_radius_in, float), np.asarray(strip_depth_in, float)
    by_case = radius * made.case
    by_rotor = radius * made.rotor + depth * (made.strip - made.rotor)
    u_strip = _THOU_PER_INCH * depth * made.strip_u * warmth.rotor_k
    u_cold = np.hypot(np.asarray(cold_u_thou, float), u_strip)
    return _running(cold_thou, u_cold, by_case, by_rotor, warmth)


def running_mesh(
    cold_thou: ArrayLike,
    *,
    centre_distance_in: ArrayLike,
    strip_depth_in: ArrayLike = 0.0,
    warmth: Warmth = ALCOHOL,
    materials: Materials | None = None,
    cold_u_thou: ArrayLike = 0.0,
) -> RunningClearance:
    """Mesh clearance when hot: end plates part the shafts, both rotors grow toward each other.

    Parameters
    ----------
    cold_thou, cold_u_thou : array_like, thou
    centre_distance_in : array_like, in
    strip_depth_in : array_like, in
        0 without a mesh strip.
    warmth, materials
        As `running_tip`; end plates as the case.
    """
    made = materials or Materials(strip=EXPANSION["ptfe"])
    centre, depth = np.asarray(centre_distance_in, float), np.asarray(strip_depth_in, float)
    by_rotor = centre * made.rotor + depth * (made.strip - made.rotor)
    u_strip = _THOU_PER_INCH * depth * made.strip_u * warmth.rotor_k
    u_cold = np.hypot(np.asarray(cold_u_thou, float), u_strip)
    return _running(cold_thou, u_cold, centre * made.case, by_rotor, warmth)


def running_ends(
    cold_thou: ArrayLike,
    *,
    rotor_length_in: ArrayLike,
    warmth: Warmth = ALCOHOL,
    materials: Materials | None = None,
    cold_u_thou: ArrayLike = 0.0,
) -> RunningClearance:
    """Sum of both ends' clearances when hot; all of the change is at the free end.

    Parameters
    ----------
    cold_thou, cold_u_thou : array_like, thou
        Sum of both ends.
    rotor_length_in : array_like, in
    warmth, materials
        As `running_tip`.
    """
    made, length = materials or Materials(), np.asarray(rotor_length_in, float)
    return _running(cold_thou, cold_u_thou, length * made.case, length * made.rotor, warmth)


def _running(
    cold: ArrayLike, u_cold: ArrayLike, by_case: FloatArray, by_rotor: FloatArray, warmth: Warmth
) -> RunningClearance:
    opens = _THOU_PER_INCH * by_case * warmth.case_k
    closes = _THOU_PER_INCH * by_rotor * warmth.rotor_k
    hot = np.asarray(cold, float) + opens - closes
    u_heat = _THOU_PER_INCH * np.hypot(by_case * warmth.case_u_k, by_rotor * warmth.rotor_u_k)
    u = np.hypot(np.asarray(u_cold, float), u_heat)
    return RunningClearance(
        np.maximum(hot, 0.0), np.broadcast_to(u, hot.shape).copy(), np.asarray(hot < 0.0)
    )

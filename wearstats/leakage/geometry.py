"""Volumes, drive and leakage areas of a Roots blower, from its measures and clearances.

SI throughout; every function takes scalars or arrays and broadcasts.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray

TIP_SHARE = 0.70
"""Share of a turn over which a tip seals alone; 0.5 for straight rotors at speed, 1 at most."""
DISPLACED_SHARE = 0.50
"""Displaced volume over the volume of both rotors' tip cylinders, three lobes."""
END_STATION_WEIGHT = 0.5
"""An end station stands for half as much rotor as one between (trapezoidal rule)."""

_LEAST_RATIO, _LEAST_PERCENT = 0.5, 2.0


@dataclass(frozen=True, slots=True)
class LeakArea:
    """Leakage area of each path for a discharge coefficient of 1.

    Parameters
    ----------
    tip, mesh, end : ndarray, square metres
    """

    tip: FloatArray
    mesh: FloatArray
    end: FloatArray

    @property
    def total(self) -> FloatArray:
        """Sum over the paths, square metres."""
        return self.tip + self.mesh + self.end


def displacement(
    rotor_diameter: ArrayLike, rotor_length: ArrayLike, share: ArrayLike = DISPLACED_SHARE
) -> FloatArray:
    """Estimate the volume moved by one turn where the unit's own figure is missing.

    `share * 2 * (pi / 4) * diameter^2 * length`. Prefer the maker's figure: the share runs
    from 0.40 to 0.57 (a pure three-lobe cycloid has 13/32).

    Parameters
    ----------
    rotor_diameter, rotor_length : array_like, m
    share : array_like

    Returns
    -------
    ndarray, cubic metres per blower turn
    """
    diameter, length = np.asarray(rotor_diameter, float), np.asarray(rotor_length, float)
    return np.asarray(np.asarray(share, float) * (np.pi / 2.0) * diameter**2 * length)


def swept_ratio(
    drive_ratio: ArrayLike, displacement_volume: ArrayLike, engine_displacement: ArrayLike
) -> FloatArray:
    """Blower volume swept per volume a four-stroke engine swallows, B = 2 r V_b / V_e.

    Parameters
    ----------
    drive_ratio : array_like
        Blower turns per engine turn (1.40 for 40 % over).
    displacement_volume : array_like, cubic metres per blower turn
    engine_displacement : array_like, cubic metres
    """
    blower = np.asarray(drive_ratio, float) * np.asarray(displacement_volume, float)
    return np.asarray(2.0 * blower / np.asarray(engine_displacement, float))


def mean_gap(
    gaps: ArrayLike, coefficient: Callable[[FloatArray], FloatArray] | None = None
) -> FloatArray:
    """Average gaps over lobes and stations: gaps side by side add, lobes take turns.

    Trapezoidal weights along the rotor (an end station counts half), arithmetic mean over the
    lobes.

    Parameters
    ----------
    gaps : array_like, shape (..., lobes, stations), m
    coefficient : callable or None
        Discharge coefficient of each gap: then its product with the gap is averaged, which it
        must be where some stations are below 4 thou, for tight places leak less than their
        share. None for one coefficient everywhere.

    Returns
    -------
    ndarray, shape (...), m
    """
    table = np.asarray(gaps, float)
    if coefficient is not None:
        table = table * coefficient(table)
    stations = table.shape[-1]
    weights = np.ones(stations)
    if stations > 1:
        weights[[0, -1]] = END_STATION_WEIGHT
    return np.asarray((table @ (weights / weights.sum())).mean(axis=-1))


def drive_ratio(overdrive: ArrayLike) -> FloatArray:
    """Blower turns per engine turn from what people write: 40 (percent over) or 1.40.

    Parameters
    ----------
    overdrive : array_like
        From 0.5 to under 2 a ratio, anything else percent over (40, 2, 0, -10).

    Examples
    --------
    >>> drive_ratio([1.4, 40.0, 3.0, -10.0]).tolist()
    [1.4, 1.4, 1.03, 0.9]
    """
    written = np.asarray(overdrive, float)
    a_ratio = (written >= _LEAST_RATIO) & (written < _LEAST_PERCENT)
    return np.asarray(np.where(a_ratio, written, 1.0 + written / 100.0))


def leak_area(
    tip: ArrayLike,
    mesh: ArrayLike,
    end_front: ArrayLike,
    end_rear: ArrayLike,
    *,
    rotor_length: ArrayLike,
    rotor_diameter: ArrayLike,
    tip_share: ArrayLike = TIP_SHARE,
    end_length: ArrayLike | None = None,
) -> LeakArea:
    """Leakage area of each path for a discharge coefficient of 1.

    `2 L c_tip k_tip + L c_mesh + b_end (c_front + c_rear)`.

    Parameters
    ----------
    tip, mesh, end_front, end_rear : array_like, m
        Mean running gaps; a negative one (interference) leaks nothing.
    rotor_length, rotor_diameter : array_like, m
        Diameter over the strips.
    tip_share : array_like
    end_length : array_like or None, m
        Sealing length on one end plate; None for one rotor diameter (accept 0.7 to 1.6 of it).
    """
    length = np.asarray(rotor_length, float)
    end = np.asarray(rotor_diameter if end_length is None else end_length, float)
    both_ends = _gap(end_front) + _gap(end_rear)
    return LeakArea(
        tip=np.asarray(2.0 * length * _gap(tip) * np.asarray(tip_share, float)),
        mesh=np.asarray(length * _gap(mesh)),
        end=np.asarray(end * both_ends),
    )


def _gap(gap: ArrayLike) -> FloatArray:
    return np.asarray(np.maximum(np.asarray(gap, float), 0.0))

"""Clearances of tip, mesh and ends at given ages: from wear where it was fitted, else the fleet's.

Everything in thou, cold; `running_gaps` makes them hot.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.feeler import feeler
from wearstats.leakage.boost_data import Wear
from wearstats.leakage.machines import PATHS, Machines
from wearstats.leakage.running import Warmth, running_ends, running_mesh, running_tip

UNKNOWN_U_THOU = 2.0
"""Standard uncertainty of a clearance nobody measured."""

_COMMON_THOU = {"mesh": 4.0, "end": 6.0}
_PITCH_SHARE = 1.45
"""Rotor diameter over centre distance of long-addendum rotors (derived, an estimate)."""


@dataclass(frozen=True, slots=True, eq=False)
class Gaps:
    """Cold clearances, shape (3, n): tip, mesh, end.

    Parameters
    ----------
    mean, sd : ndarray, thou
        Expected, and standard error.
    growth, growth_sd : ndarray, thou
        Change since the restrip; 0 for a path whose wear is not known.
    notes : tuple of str
    """

    mean: FloatArray
    sd: FloatArray
    growth: FloatArray
    growth_sd: FloatArray
    notes: tuple[str, ...]


def gaps_at(frame: pd.DataFrame, wears: Mapping[str, Wear], readings: pd.DataFrame | None) -> Gaps:
    """Clearances expected at each row's build and age.

    Parameters
    ----------
    frame : DataFrame
        unit, build, age; all known.
    wears : mapping of str to Wear
        Fits of "tip" and, where there are any, "mesh" and "end".
    readings : DataFrame or None
        Clearance readings, for the fleet's mean of a path without a fit.
    """
    unit = tuple(frame["unit"].astype(str))
    build, age = tuple(frame["build"].astype(float)), frame["age"].to_numpy(float)
    parts: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray]] = []
    notes = []
    for path in PATHS:
        if path in wears:
            wear = wears[path]
            parts.append((*wear.clearance_at(unit, build, age), *wear.growth(unit, build, age)))
            continue
        common, note = _fleet_mean(path, readings)
        notes.append(note)
        none = np.zeros(len(age))
        parts.append((none + common, none + UNKNOWN_U_THOU, none, none))
    mean, sd, growth, growth_sd = (np.stack(each) for each in zip(*parts, strict=True))
    return Gaps(mean, sd, growth, growth_sd, tuple(notes))


def _fleet_mean(path: str, readings: pd.DataFrame | None) -> tuple[float, str]:
    if readings is not None:
        mine = readings.loc[(readings["what"] == path) & ~readings["left_out"].astype(bool)]
        read = feeler(mine["low_thou"].to_numpy(float), mine["high_thou"].to_numpy(float))
        known = read.mean_thou[np.isin(read.censoring, ["interval", "exact", "left"])]
        if known.size:
            mean = float(known.mean())
            note = (
                f"{path} clearance has too few readings to follow: the fleet's mean of "
                f"{mean:.1f} thou is taken, 2 thou uncertain"
            )
            return mean, note
    mean = _COMMON_THOU.get(path, _COMMON_THOU["mesh"])
    note = (
        f"{path} clearance was never measured: {mean:g} thou, common practice, is taken, "
        "2 thou uncertain"
    )
    return mean, note


def running_gaps(
    cold_thou: FloatArray, machines: Machines, warmth: Warmth, heat: FloatArray | float = 0.0
) -> FloatArray:
    """Hot clearances: the three paths and what heat does to each.

    Parameters
    ----------
    cold_thou : ndarray, shape (3, ..., n)
    machines : Machines
        Of the n runs.
    warmth : Warmth
    heat : ndarray or float
        Standard errors by which heat is off, the same for all paths (nought: as expected).

    Returns
    -------
    ndarray, shape (3, ..., n), thou
        Never below 0.
    """
    tip, mesh, end = cold_thou
    radius = machines.bore_radius_in
    shift_tip = running_tip(np.zeros_like(radius) + 1e3, bore_radius_in=radius, warmth=warmth)
    shift_mesh = running_mesh(
        np.zeros_like(radius) + 1e3,
        centre_distance_in=2.0 * radius / _PITCH_SHARE,
        warmth=warmth,
    )
    shift_ends = running_ends(
        np.zeros_like(radius) + 1e3, rotor_length_in=machines.length_in, warmth=warmth
    )
    hot = [
        tip + (shift_tip.thou - 1e3) + heat * shift_tip.u_thou,
        mesh + (shift_mesh.thou - 1e3) + heat * shift_mesh.u_thou,
        # The two ends share what the case and the rotors differ by.
        end + (shift_ends.thou - 1e3) / 2.0 + heat * shift_ends.u_thou / 2.0,
    ]
    return np.asarray(np.maximum(np.stack(np.broadcast_arrays(*hot)), 0.0))

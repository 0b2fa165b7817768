"""The two hands that keep the sheets: their units, blades, steps and how they write a number."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import FloatArray
from wearstats.units import BAROMETER, BOOST, GAP, TEMPERATURE, Unit


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit and the least step somebody reads in it.

    Parameters
    ----------
    unit : Unit
    step : float
        In that unit.
    decimals : int
        Written behind the point.
    """

    unit: Unit
    step: float
    decimals: int

    def rounded(self, kept: ArrayLike) -> FloatArray:
        """Round kept values to what this hand can read; kept unit in and out."""
        shown = self.unit.factor, self.unit.offset
        written = (np.asarray(kept, float) - shown[1]) / shown[0]
        written = np.round(np.round(written / self.step) * self.step, self.decimals)
        return np.asarray(written * shown[0] + shown[1])

    def text(self, kept: float) -> str:
        """Write a kept value as this hand does; blank if missing."""
        if np.isnan(kept):
            return ""
        return f"{self.unit.show(kept):.{self.decimals}f}"

    def number(self, kept: float) -> float | None:
        """Return the number this hand types into a cell, or None if missing."""
        return None if np.isnan(kept) else float(self.text(kept))


@dataclass(frozen=True, slots=True)
class Hand:
    """Somebody who keeps a sheet.

    Parameters
    ----------
    name : str
    blades, height, boost, temperature, barometer : Scale
        `blades.step` is the step from one feeler blade to the next.
    smallest, largest : float
        Thinnest and thickest blade of the set, in the unit of `blades`.
    """

    name: str
    blades: Scale
    smallest: float
    largest: float
    height: Scale
    boost: Scale
    temperature: Scale
    barometer: Scale


DOCK = Hand(
    name="dock",
    blades=Scale(GAP.unit("thou"), 1.0, 0),
    smallest=2.0,
    largest=15.0,
    height=Scale(GAP.unit("thou"), 0.5, 1),
    boost=Scale(BOOST.unit("psi"), 0.1, 1),
    temperature=Scale(TEMPERATURE.unit("F"), 1.0, 0),
    barometer=Scale(BAROMETER.unit("inHg"), 0.01, 2),
)
"""Keeps a CSV in thou, psi, degrees F and inHg."""

TRAILER = Hand(
    name="trailer",
    blades=Scale(GAP.unit("mm"), 0.025, 3),
    smallest=0.05,
    largest=0.40,
    height=Scale(GAP.unit("mm"), 0.01, 2),
    boost=Scale(BOOST.unit("kPa"), 1.0, 0),
    temperature=Scale(TEMPERATURE.unit("C"), 0.5, 1),
    barometer=Scale(BAROMETER.unit("kPa"), 0.01, 2),
)
"""Keeps a workbook in mm, kPa and degrees C; the 0.025 mm blades are sold as 1 thou."""

HANDS = (DOCK, TRAILER)

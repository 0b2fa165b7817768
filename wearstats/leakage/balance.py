"""Boost of given machines at given hot clearances: areas, friction and the balance in one step."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, FloatArray, IntArray
from wearstats.errors import ObservationError
from wearstats.leakage.machines import PATHS, Machines
from wearstats.leakage.physics import (
    elasticity,
    heats_without_end,
    no_leak_ratio,
    pressure_ratio,
)
from wearstats.leakage.slot import SlotTable
from wearstats.units import INCH_MM, PSI_PA, STANDARD_PRESSURE_PA

REFERENCE_PSI = STANDARD_PRESSURE_PA / PSI_PA
NEVER_NOUGHT = 1e-12
"""Square metres: stands in for no area at all, so that shares and slopes are defined."""

_THOU_M = INCH_MM * 1e-6
_STEP_THOU = 0.1


def makes_no_boost(machines: Machines, heat_share: float) -> tuple[BoolArray, BoolArray]:
    """Say of which runs there is no balance: heated without end, or else never above 1."""
    endless = heats_without_end(machines.swept, heat_share)
    swept = np.where(endless, 1.0, machines.swept)
    return endless, ~endless & (no_leak_ratio(swept, heat_share=heat_share) <= 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """Machines whose clearances are to be tried.

    Parameters
    ----------
    machines : Machines
        Of n runs.
    table : SlotTable
    heat_share : float
    none : ndarray, shape (n,)
        Pressure ratio without any leak.
    """

    machines: Machines
    table: SlotTable
    heat_share: float
    none: FloatArray

    @staticmethod
    def of(machines: Machines, table: SlotTable, heat_share: float) -> "Balance":
        """Work out the no-leak ratio.

        Raises
        ------
        ObservationError
            Displacements and overdrive as entered give no boost.
        """
        none = no_leak_ratio(machines.swept, heat_share=heat_share)
        if not (none > 1.0).all():
            message = (
                "the displacements and overdrive entered give no boost on "
                f"{int(np.sum(none <= 1.0))} runs: the engine swallows more than the blower sweeps"
            )
            raise ObservationError(message, hint="check the units sheet and the overdrive column")
        return Balance(machines, table, heat_share, none)

    def take(self, places: IntArray) -> "Balance":
        """Return the balance of some runs."""
        return Balance(self.machines.take(places), self.table, self.heat_share, self.none[places])

    def as_run(self, places: IntArray, rows: pd.DataFrame) -> "Balance | None":
        """Return the balance of some runs under other conditions, see `Machines.as_run`.

        None where one of them has none.
        """
        machines = self.machines.take(places).as_run(rows)
        if np.any(makes_no_boost(machines, self.heat_share)):
            return None
        return Balance.of(machines, self.table, self.heat_share)

    def openings(self, hot_thou: FloatArray) -> FloatArray:
        """Effective area Cd A of each path, m^2.

        Parameters
        ----------
        hot_thou : ndarray, shape (3, ..., n)
        """
        boost = REFERENCE_PSI * (self.none - 1.0)
        passes = hot_thou * self.table.coefficient(hot_thou, boost) * _THOU_M
        shape = (len(PATHS), *([1] * (hot_thou.ndim - 2)), -1)
        return np.asarray(passes * self.machines.opening.reshape(shape))

    def ratio(self, area: FloatArray) -> FloatArray:
        """Pressure ratio at an effective area, shape (..., n), in m^2."""
        point = pressure_ratio(
            self.machines.swept, self.machines.leak_scale * area, heat_share=self.heat_share
        )
        return point.pressure_ratio

    def slope(self, area: FloatArray) -> FloatArray:
        """Pressure ratio lost for each square metre of effective area, which is above nought."""
        swept = self.machines.swept
        point = pressure_ratio(swept, self.machines.leak_scale * area, heat_share=self.heat_share)
        share = elasticity(point, swept, heat_share=self.heat_share)
        return np.asarray(-share * point.pressure_ratio / area)

    def opening_per_thou(self, hot_thou: FloatArray) -> FloatArray:
        """Effective area each path gains with one thou more, m^2; shape as `hot_thou`."""
        wider = self.openings(hot_thou + _STEP_THOU)
        narrower = self.openings(np.maximum(hot_thou - _STEP_THOU, 0.0))
        width = hot_thou + _STEP_THOU - np.maximum(hot_thou - _STEP_THOU, 0.0)
        return np.asarray((wider - narrower) / width)

"""What a fit of leakage says: boost lost, by path, and what a thou is worth."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.leakage.ahead import BoostAhead, Known
from wearstats.leakage.boost_data import LeftOutRows
from wearstats.leakage.losses import LossDraws, Losses
from wearstats.leakage.machines import PATHS
from wearstats.leakage.multiplier import Multiplier
from wearstats.shown import Column, Readable, Summary, counted, intervals

TOTAL_RESTS_ON = (
    "The total rests on the absolute running clearance, which heat, bending and growth leave "
    "uncertain by a thou or more; what was lost since the restrip hardly does."
)


@dataclass(frozen=True, slots=True)
class Sizes:
    """What stands behind a fit: runs used, units, restrips between them, meets."""

    runs: int
    units: int
    restrips: int
    meets: int


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class LeakFit(Readable):
    """Leakage as fitted; boost at 29.921 inHg throughout.

    Parameters
    ----------
    level : float
        Of the intervals shown unless asked for another.
    multiplier : Multiplier
    drift, drift_sd : float
        Log ratio gained for each run on the strips for other reasons than leakage.
    variances : mapping of str to float
        Of the log ratio: "unit", "meet", "build" where they vary, and "rest".
    lost : Losses
    loss_draws : LossDraws
        What it was drawn from.
    now : DataFrame
        Each unit's latest build and age.
    sizes : Sizes
    left_out : tuple of LeftOutRows
    not_told_apart, cautions : tuple of str
    corrected : DataFrame
        The boost rows with tip_thou, boost_norm_psi, predicted_psi and why a row was not used,
        or "".
    known : Known
        What a forecast of boost rests on.
    """

    level: float
    multiplier: Multiplier
    drift: float
    drift_sd: float
    variances: Mapping[str, float]
    lost: Losses
    loss_draws: LossDraws
    now: pd.DataFrame
    sizes: Sizes
    left_out: tuple[LeftOutRows, ...]
    not_told_apart: tuple[str, ...]
    cautions: tuple[str, ...]
    corrected: pd.DataFrame
    known: Known

    @property
    def units(self) -> tuple[str, ...]:
        """Units whose loss can be told."""
        return tuple(str(unit) for unit in self.now["unit"])

    def summary(self) -> Summary:
        """Return what each unit has lost since its restrip, and in all."""
        sizes = self.sizes
        return Summary(
            title="Boost lost to leakage, at 29.921 inHg",
            basis=(
                f"{counted(sizes.runs, 'run')} with boost, {counted(sizes.units, 'unit')}, "
                f"{counted(sizes.meets, 'meet')}; {intervals(self.level)}."
            ),
            columns=(
                Column("unit"),
                Column("runs_on_strips", "number"),
                Column("since_restrip", "estimate"),
                Column("in_all", "estimate"),
            ),
            rows=tuple(
                (
                    unit,
                    self.runs_on_strips(unit),
                    self.lost_since_restrip(unit),
                    self.lost_in_all(unit),
                )
                for unit in self.units
            ),
            notes=(TOTAL_RESTS_ON, *self.not_told_apart, *self.cautions),
        )

    @property
    def multiplier_estimate(self) -> Estimate:
        """Multiplier of all leakage: 1 is the physics with nominal lengths and coefficients."""
        low, mid, high = self.multiplier.quantiles(_shares(self.level))
        return Estimate(float(mid), float(low), float(high), self.level)

    def runs_on_strips(self, unit: str) -> float:
        """Age of a unit's strips at its latest run with boost."""
        return float(self.now["age"].iloc[self._place(unit)])

    def lost_since_restrip(self, unit: str, level: float | None = None) -> Estimate:
        """Boost a unit has lost since its last restrip.

        Parameters
        ----------
        unit : str
        level : float or None

        Returns
        -------
        Estimate
            In psi; positive is lost.

        Raises
        ------
        UsageError
            No such unit, or a level that is no share.
        """
        place = self._place(unit)
        age = self.runs_on_strips(unit)
        note = f"with {age:g} run{'' if age == 1 else 's'} on the strips"
        return self._estimate(self.lost.since[:, :, place].sum(axis=0), level, note=note)

    def lost_in_all(self, unit: str, level: float | None = None) -> Estimate:
        """Boost a unit loses against one that leaks nothing: see `TOTAL_RESTS_ON`."""
        return self._estimate(self.lost.total[:, :, self._place(unit)].sum(axis=0), level)

    def since_restrip_by_path(self, unit: str, level: float | None = None) -> dict[str, Estimate]:
        """Split `lost_since_restrip` by tip, mesh and end."""
        return self._by_path(self.lost.since, unit, level, "psi")

    def in_all_by_path(self, unit: str, level: float | None = None) -> dict[str, Estimate]:
        """Split `lost_in_all` by tip, mesh and end."""
        return self._by_path(self.lost.total, unit, level, "psi")

    def worth(self, unit: str, level: float | None = None) -> dict[str, Estimate]:
        """Boost a unit would lose now with one thou more at each path (ends: all faces)."""
        return self._by_path(self.lost.worth, unit, level, "psi per thou")

    def table(self, level: float | None = None) -> pd.DataFrame:
        """One row for each unit and path.

        Parameters
        ----------
        level : float or None

        Returns
        -------
        DataFrame
            unit, path, estimate, low, high: psi lost since the restrip.
        """
        rows = [
            (unit, path, each.estimate, each.low, each.high)
            for unit in self.units
            for path, each in self.since_restrip_by_path(unit, level).items()
        ]
        return pd.DataFrame(rows, columns=["unit", "path", "estimate", "low", "high"])

    def fleet_since_restrip(self, level: float | None = None) -> Estimate:
        """Mean over all runs fitted of the boost lost since the restrip."""
        return self._estimate(self.lost.fleet_since, level)

    def fleet_in_all(self, level: float | None = None) -> Estimate:
        """Mean over all runs fitted of the boost lost against no leak at all."""
        return self._estimate(self.lost.fleet_total, level)

    def fleet_worth(self, overdrive_pct: float | None = None) -> dict[str, FloatArray]:
        """Draw what one thou more costs the mean unit at each path.

        Parameters
        ----------
        overdrive_pct : float or None
            None: as each unit last ran; else at this, with the rest as last run.

        Returns
        -------
        dict of str to ndarray, shape (draws,), psi per thou
            The draws of one path belong to those of the next.

        Raises
        ------
        ObservationError
            A unit gives no boost at this overdrive.
        """
        worth = self.lost.worth
        if overdrive_pct is not None:
            worth = self.loss_draws.worth_at(overdrive_pct)
        return dict(zip(PATHS, worth.mean(axis=2), strict=True))

    def boost_ahead(self, rows: pd.DataFrame) -> dict[str, BoostAhead | str]:
        """Say what boost each unit should show at one meet to come, on strips that last.

        The machine is each unit's at its last run fitted, but for what the rows say.

        Parameters
        ----------
        rows : DataFrame
            The meet's runs: unit, build, age (after the run), and where known overdrive_pct,
            engine_speed_rpm, air_temperature_f.

        Returns
        -------
        dict of str to BoostAhead or str
            For each unit; a str says why there is none.

        Raises
        ------
        TooFewError
            Boost of fewer than three meets was fitted.
        """
        return self.known.boost_ahead(rows)

    def _by_path(
        self, draws: FloatArray, unit: str, level: float | None, quantity: str
    ) -> dict[str, Estimate]:
        place = self._place(unit)
        return {
            path: self._estimate(draws[row, :, place], level, quantity)
            for row, path in enumerate(PATHS)
        }

    def _place(self, unit: str) -> int:
        places = np.flatnonzero((self.now["unit"] == unit).to_numpy())
        if not places.size:
            known = ", ".join(self.units)
            message = f"no boost was logged for unit {unit!r}; boost is known for {known}"
            raise UsageError(message)
        return int(places[0])

    def _estimate(
        self, draws: FloatArray, level: float | None, unit: str = "psi", note: str = ""
    ) -> Estimate:
        chosen = self.level if level is None else level
        low, mid, high = np.quantile(draws, _shares(chosen))
        return Estimate(float(mid), float(low), float(high), chosen, unit, note)


def _shares(level: float) -> FloatArray:
    if not 0.0 < level < 1.0:
        message = f"a level lies between 0 and 1, not at {level}"
        raise UsageError(message)
    return np.array([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])

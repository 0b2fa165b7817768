"""Boost lost to tip clearance: a mixed regression on the log of the pressure ratio."""

import math
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.leakage.boost_data import LEAST_ROWS, BoostData, LeftOutRows, Wear, prepare
from wearstats.leakage.weather import normalise_boost
from wearstats.mixed import Component, MixedFit, fit_components
from wearstats.units import PSI_PA, STANDARD_PRESSURE_PA

REFERENCE_PSI = STANDARD_PRESSURE_PA / PSI_PA

_LEAST_UNITS = 3
_LEAST_MEETS = 3
_TIP = "tip clearance"
_LEAST_CHANGE_THOU = 0.1
"""A tenth of the step between blades: a smaller change of clearance is no change."""


@dataclass(frozen=True, slots=True)
class BoostModel:
    """How logged boost falls with tip clearance.

    `ln((p + boost) / p)`, less the logarithm of the no-leak ratio where displacements are known,
    on tip clearance, with each unit its own level and spread between meets and between builds.

    Parameters
    ----------
    heat_share : float
        Share of the compression heat left in the charge, for the no-leak ratio (0.35 with
        alcohol or nitromethane through the blower, near 1 dry; engineering estimate).
    level : float
        Of the intervals shown unless asked for another.
    """

    heat_share: float = 0.35
    level: float = 0.9

    def fit(self, rows: pd.DataFrame, wear: Wear | None, units: pd.DataFrame) -> "BoostFit":
        """Fit boost rows.

        The clearance of every row is what the wear fit expects at its age, which holds the
        readings taken at that run as well: a regression on a best prediction is not pulled
        toward nought as one on single readings is. Where there is no wear fit, columns
        tip_low_thou and tip_high_thou are taken, and the result says what that does.

        Parameters
        ----------
        rows : DataFrame
            One row for each run with boost.
        wear : Wear or None
            A fit of tip clearance.
        units : DataFrame
            The units sheet (unit, displacement_in3, engine_displacement_in3).

        Returns
        -------
        BoostFit

        Raises
        ------
        ObservationError
            A column is missing, or a barometer is no station pressure.
        TooFewError
            Too few usable rows, or the clearance hardly changes between them.
        """
        data = prepare(rows, wear, units, self.heat_share)
        chosen = data.frame.loc[data.used]
        names, fixed, components, notes = _columns(data, chosen)
        _check_enough(chosen, len(names), data.left_out)
        line = fit_components(data.log_ratio - data.offset, fixed, names, components)
        fitted = _fitted(line, fixed, components) + data.offset
        return BoostFit(
            level=self.level,
            line=line,
            mean_ratio=float(np.exp(data.log_ratio.mean())),
            unit_ratio={
                str(unit): float(np.exp(value))
                for unit, value in pd.Series(data.log_ratio)
                .groupby(chosen["unit"].to_numpy())
                .mean()
                .items()
            },
            now=_now(data.frame, wear),
            rows=len(chosen),
            units=chosen["unit"].nunique(),
            meets=len(set(_meets(chosen))),
            left_out=data.left_out,
            warnings=(*data.warnings, *notes, *_moves_with_age(chosen)),
            corrected=_corrected(data, fitted),
        )


@dataclass(frozen=True, slots=True, eq=False)
class BoostFit:
    """Boost against tip clearance as fitted.

    Intervals use Student's t. In 150 seasons simulated from the physics for each of two fleets
    (six units of five builds, three of three) 90 % intervals held the true psi per thou in 87 and
    92 %, the boost lost since the restrip in 89 and 88 %.

    Parameters
    ----------
    level : float
    line : MixedFit
        Of the log ratio; the second fixed effect is the tip clearance's, per thou.
    mean_ratio : float
        Absolute pressure ratio at which psi are stated.
    unit_ratio : mapping of str to float
        The same for each unit.
    now : DataFrame
        For each unit, its latest build and age and the thou worn since its restrip: unit, build,
        age, growth_thou, growth_sd_thou (NaN without a wear fit).
    rows, units, meets : int
        Used by the fit.
    left_out : tuple of LeftOutRows
    warnings : tuple of str
    corrected : DataFrame
        The boost rows with tip_thou, boost_norm_psi, predicted_psi (both at 29.921 inHg) and
        why a row was not used, or "".
    """

    level: float
    line: MixedFit
    mean_ratio: float
    unit_ratio: dict[str, float]
    now: pd.DataFrame
    rows: int
    units: int
    meets: int
    left_out: tuple[LeftOutRows, ...]
    warnings: tuple[str, ...]
    corrected: pd.DataFrame

    @property
    def degrees_of_freedom(self) -> int:
        """Of the tip clearance's effect: rows less everything that takes up a level."""
        taken = sum(count - 1 for count in self.line.counts.values())
        return max(self.rows - len(self.line.names) - taken, 1)

    @property
    def psi_per_thou(self) -> Estimate:
        """Boost at 29.921 inHg lost per thou of tip clearance, at the mean pressure ratio."""
        effect, error = self._effect()
        scale = REFERENCE_PSI * self.mean_ratio
        half = self._critical(self.level) * error * scale
        value = effect * scale
        return Estimate(value, value - half, value + half, self.level, "psi per thou")

    def lost_since_restrip(self, unit: str, level: float | None = None) -> Estimate:
        """Boost at 29.921 inHg a unit has lost since its last restrip, by its tip clearance.

        The effect of a thou times the thou worn, with the uncertainty of both.

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
            No such unit among the boost rows.
        ObservationError
            There is no wear fit, or the unit's build or age is not known.
        """
        chosen = self.level if level is None else level
        here = self.now.loc[self.now["unit"] == unit]
        if here.empty:
            known = ", ".join(self.now["unit"])
            message = f"no boost was logged for unit {unit!r}; boost is known for {known}"
            raise UsageError(message)
        growth, sd = float(here["growth_thou"].iloc[0]), float(here["growth_sd_thou"].iloc[0])
        if not math.isfinite(growth):
            message = f"boost lost by {unit} needs a fit of its tip clearance and its age"
            raise ObservationError(message)
        effect, error = self._effect()
        scale = REFERENCE_PSI * self.unit_ratio.get(unit, self.mean_ratio)
        spread = math.sqrt((effect * sd) ** 2 + (growth * error) ** 2 + (error * sd) ** 2)
        value, half = effect * growth * scale, self._critical(chosen) * spread * scale
        age = float(here["age"].iloc[0])
        note = f"with {age:g} run{'' if age == 1 else 's'} on the strips"
        return Estimate(value, value - half, value + half, chosen, "psi", note)

    def _effect(self) -> tuple[float, float]:
        """Log ratio lost per thou, and its standard error."""
        return -float(self.line.coefficients[1]), math.sqrt(self.line.covariance[1, 1])

    def _critical(self, level: float) -> float:
        from scipy.stats import t

        if not 0.0 < level < 1.0:
            message = f"a level lies between 0 and 1, not at {level}"
            raise UsageError(message)
        return float(t.ppf(0.5 + level / 2.0, self.degrees_of_freedom))


def _meets(chosen: pd.DataFrame) -> tuple[Hashable, ...]:
    """Name the meet of each row; the day where no meet is entered."""
    days = chosen["date"].astype(str)
    return tuple(chosen["meet"].fillna(days)) if "meet" in chosen else tuple(days)


def _columns(
    data: BoostData, chosen: pd.DataFrame
) -> tuple[tuple[str, ...], FloatArray, list[Component], list[str]]:
    """Form fixed columns and components; units and meets too few to spread become fixed levels."""
    ones = np.ones(len(chosen))
    tip = chosen["tip_thou"].to_numpy(float)
    columns = {"level": ones, _TIP: tip - (tip.mean() if len(tip) else 0.0), **data.covariates}
    units, meets = tuple(chosen["unit"].astype(str)), _meets(chosen)
    builds = tuple(zip(units, chosen["build"], strict=True))
    components, notes = [], []
    for name, labels, least in (("unit", units, _LEAST_UNITS), ("meet", meets, _LEAST_MEETS)):
        levels = list(dict.fromkeys(labels))
        if len(levels) >= least:
            components.append(Component(name, labels, ones))
        elif len(levels) > 1:
            for level in levels[1:]:
                columns[f"{name} {level}"] = np.array([label == level for label in labels], float)
            notes.append(f"only {len(levels)} {name}s: each has its own level, none is shared")
    if len(set(builds)) > len(set(units)) + 1:
        components.append(Component("build", builds, ones))
    return tuple(columns), np.column_stack(list(columns.values())), components, notes


def _check_enough(chosen: pd.DataFrame, columns: int, left_out: tuple[LeftOutRows, ...]) -> None:
    need = max(LEAST_ROWS, columns + 4)
    lost = "; ".join(f"{out.count} left out ({out.reason})" for out in left_out)
    if len(chosen) < need:
        message = (
            f"{len(chosen)} usable boost rows cannot tell what a thou costs; "
            f"at least {need} are needed{f' ({lost})' if lost else ''}"
        )
        raise TooFewError(message, have=len(chosen), need=need)
    tip = chosen["tip_thou"]
    if tip.nunique() < _LEAST_UNITS or tip.max() - tip.min() < _LEAST_CHANGE_THOU:
        message = "the tip clearance hardly changes between boost rows"
        raise TooFewError(message, have=chosen["tip_thou"].nunique(), need=_LEAST_UNITS)


def _fitted(line: MixedFit, fixed: FloatArray, components: list[Component]) -> FloatArray:
    return line.predicted(fixed, {c.name: (c.labels, c.column) for c in components})[0]


def _now(frame: pd.DataFrame, wear: Wear | None) -> pd.DataFrame:
    """Return each unit's latest build and age, and the thou worn since its restrip."""
    last = frame.sort_values(["unit", "build", "age"], na_position="first").drop_duplicates(
        "unit", keep="last"
    )
    now = last[["unit", "build", "age"]].reset_index(drop=True)
    growth, sd = np.full(len(now), np.nan), np.full(len(now), np.nan)
    placed = now[["build", "age"]].notna().all(axis=1).to_numpy()
    if wear is not None and placed.any():
        here = now.loc[placed]
        growth[placed], sd[placed] = wear.growth(
            tuple(here["unit"].astype(str)),
            tuple(here["build"].astype(float)),
            here["age"].to_numpy(float),
        )
    return now.assign(growth_thou=growth, growth_sd_thou=sd)


def _corrected(data: BoostData, fitted: FloatArray) -> pd.DataFrame:
    frame = data.frame
    normal = normalise_boost(frame["boost_psi"].to_numpy(float), frame["pressure_pa"])
    predicted = np.full(len(frame), np.nan)
    predicted[data.used] = REFERENCE_PSI * np.expm1(fitted)
    return frame.drop(columns="pressure_pa").assign(boost_norm_psi=normal, predicted_psi=predicted)


def _moves_with_age(chosen: pd.DataFrame) -> tuple[str, ...]:
    """Say how far clearance and age are the same direction within units."""
    pair = chosen[["tip_thou", "age"]] - chosen.groupby("unit")[["tip_thou", "age"]].transform(
        "mean"
    )
    if (pair.abs().sum() == 0.0).any() or pair.isna().any(axis=None):
        return ()
    correlation = float(np.corrcoef(pair["tip_thou"], pair["age"])[0, 1])
    inflation = 1.0 / max(1.0 - correlation**2, 1e-6)
    note = (
        "what else fades with runs on the strips (belt, engine, fuel) counts as leakage here: "
        f"clearance and age share variance inflation {min(inflation, 1e3):.1f} within units"
    )
    return (note,)

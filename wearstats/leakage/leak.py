"""Boost lost to leakage: compressible flow through the clearances, one multiplier fitted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.leakage.ahead import NO_BOOST, Known
from wearstats.leakage.balance import REFERENCE_PSI, Balance, makes_no_boost
from wearstats.leakage.boost_data import LEAST_ROWS, ChosenRows, Wear, choose
from wearstats.leakage.crossed import CrossedFit, Groups, builds_of, fit_crossed
from wearstats.leakage.expected import ExpectedLoss
from wearstats.leakage.followed import Followed
from wearstats.leakage.gaps import gaps_at, running_gaps
from wearstats.leakage.leak_result import LeakFit, Sizes
from wearstats.leakage.losses import LossDraws, Season
from wearstats.leakage.machines import Machines, machines_of
from wearstats.leakage.multiplier import DRIFT_SD, PRIOR_LOG_SD, Multiplier
from wearstats.leakage.running import ALCOHOL, DRY, Warmth
from wearstats.leakage.slip import SLIP_TEST_U, SlipTest, slip_multiplier
from wearstats.leakage.slot import STRIP_LAND_M, slot_table
from wearstats.leakage.told_apart import cautions, not_told_apart
from wearstats.leakage.weather import normalise_boost

_EXPONENT_SD = 0.2
"""Of what the balance gets wrong in the exponent of overdrive, engine speed and temperature."""
_DRY_FROM = 0.7
_ENDLESS = "displacements and overdrive as entered heat the charge without end"
_VARIES = 1e-3
_STRAYS = 200
_MOST_LINES = 4
_SAME_MULTIPLIER = 0.02
"""A line laid so near the answer is as good as one laid at it."""


@dataclass(frozen=True, slots=True)
class LeakModel:
    """What leakage costs: physics for its shape, boost for its size.

    `ln((p + boost) / p)`, less the no-leak ratio's logarithm, on the loss the balance of blower
    and engine predicts from the clearances (times the multiplier), on runs since the restrip
    (what else fades), with levels by unit, meet and build.

    Parameters
    ----------
    heat_share : float
        Share of the compression heat left in the charge (0.35 with alcohol or nitromethane
        through the blower, near 1 dry; engineering estimate).
    level : float
        Of the intervals shown unless asked for another.
    multiplier_log_sd, drift_sd : float
        Priors: ln multiplier about 0; log ratio lost per run for other reasons about 0.
    land_m : float, m
        Width of a strip in the flow's direction.
    warmth : Warmth or None
        None for what goes with `heat_share`.
    draws, seed : int
    """

    heat_share: float = 0.35
    level: float = 0.9
    multiplier_log_sd: float = PRIOR_LOG_SD
    drift_sd: float = DRIFT_SD
    land_m: float = STRIP_LAND_M
    warmth: Warmth | None = None
    draws: int = 1000
    seed: int = 20260503

    def __post_init__(self) -> None:
        """Refuse a prior that says nothing or everything."""
        if not (self.multiplier_log_sd > 0.0 and self.drift_sd > 0.0 and 0.0 < self.level < 1.0):
            message = "a prior's spread must be above 0 and a level between 0 and 1"
            raise UsageError(message)

    def fit(
        self,
        rows: pd.DataFrame,
        wears: Mapping[str, Wear],
        units: pd.DataFrame,
        *,
        readings: pd.DataFrame | None = None,
        slip_tests: Sequence[SlipTest] = (),
    ) -> LeakFit:
        """Fit boost rows.

        Parameters
        ----------
        rows : DataFrame
            One row for each run with boost (`wearstats.lives.boost_rows`).
        wears : mapping of str to Wear
            Fits of clearance: "tip", and "mesh" and "end" where there are any.
        units : DataFrame
            The units sheet.
        readings : DataFrame or None
            Clearance readings: the clearance then follows each build's own between services
            (`Followed`), and a path without a fit takes the fleet's mean of them.
        slip_tests : sequence of SlipTest
            Their mean multiplier, 20 % uncertain, takes the place of the prior.

        Raises
        ------
        UsageError
            No fit of the tip clearance.
        ObservationError
            A column is missing, a barometer is no station pressure, or the machines as entered
            give no boost.
        TooFewError
            Fewer than eight usable rows.
        """
        if "tip" not in wears:
            message = "leakage needs a fit of the tip clearance"
            raise UsageError(message)
        if readings is not None:
            wears = {what: Followed.of(wear, readings, what) for what, wear in wears.items()}
        found = choose(rows, wears["tip"])
        found, machines = self._machines(found, units)
        chosen = found.chosen
        balance = Balance.of(machines, slot_table(self.land_m), self.heat_share)
        gaps = gaps_at(chosen, wears, readings)
        warmth = self.warmth or (DRY if self.heat_share >= _DRY_FROM else ALCOHOL)
        hot = running_gaps(gaps.mean, machines, warmth)
        middle, log_sd = self._prior(slip_tests, machines, chosen)
        strays = _strays(wears["tip"], chosen, np.random.default_rng([self.seed, _STRAYS]))
        at = middle
        for _ in range(_MOST_LINES):
            expected = ExpectedLoss.about(at, balance, hot)
            line, groups, centres = self._line(
                found, chosen, machines, balance, expected, middle, strays
            )
            multiplier = _multiplier(line, middle, log_sd, self.multiplier_log_sd)
            at = float(multiplier.quantiles(np.array([0.5]))[0])
            if abs(at / expected.at - 1.0) < _SAME_MULTIPLIER:
                break
        season = Season(chosen, balance, gaps, warmth, _unit_levels(line, groups, chosen))
        now = _now(found.frame, chosen)
        loss_draws = LossDraws(
            season=season,
            places=now["place"].to_numpy(np.int64),
            gaps=gaps_at(now, wears, readings),
            multiplier=multiplier,
            draws=self.draws,
            seed=self.seed,
        )
        sizes = _sizes(chosen, groups)
        notes = (*found.warnings, *machines.notes, *gaps.notes)
        return LeakFit(
            level=self.level,
            multiplier=multiplier,
            drift=float(line.coefficients[2]),
            drift_sd=float(np.sqrt(line.covariance[2, 2])),
            variances=line.variances,
            lost=loss_draws.losses(),
            loss_draws=loss_draws,
            now=now,
            sizes=sizes,
            left_out=found.left_out,
            not_told_apart=not_told_apart(chosen, expected.slope, multiplier),
            cautions=(*cautions(sizes, season, now), *notes),
            corrected=_corrected(found, line, groups, balance, expected, middle),
            known=Known(
                line=line,
                groups=groups,
                season=season,
                wears=wears,
                readings=readings,
                middle=middle,
                at=expected.at,
                centres=centres,
            ),
        )

    def _machines(self, found: ChosenRows, units: pd.DataFrame) -> tuple[ChosenRows, Machines]:
        """Return the machine of each usable run; a run no machine can make is left out."""
        _check_enough(found)
        while found.used.any():
            machines = machines_of(found.chosen, units, found.log_ratio, self.heat_share)
            endless, none = makes_no_boost(machines, self.heat_share)
            if not (endless | none).any():
                _check_enough(found)
                return found, machines
            # Such a run moves what stands in for sizes not entered: look again without it.
            found = found.without(endless, _ENDLESS).without(none[~endless], NO_BOOST)
        message = f"no run with boost fits the machines as entered: {NO_BOOST} or {_ENDLESS}"
        raise ObservationError(message, hint="Check the units sheet and the overdrive column.")

    def _prior(
        self, tests: Sequence[SlipTest], machines: Machines, chosen: pd.DataFrame
    ) -> tuple[float, float]:
        if not tests:
            return 1.0, self.multiplier_log_sd
        found = []
        names = chosen["unit"].astype(str).to_numpy()
        for test in tests:
            if test.unit not in names:
                message = f"the slip test of {test.unit} is of a unit without usable boost"
                raise UsageError(message)
            place = int(np.flatnonzero(names == test.unit)[0])
            found.append(
                slip_multiplier(
                    test,
                    displacement_in3=float(machines.displacement_in3[place]),
                    rotor_length_in=float(machines.length_in[place]),
                    rotor_diameter_in=2.0 * float(machines.bore_radius_in[place]),
                    land_m=self.land_m,
                )
            )
        return float(np.exp(np.mean(np.log(found)))), SLIP_TEST_U

    def _line(  # noqa: PLR0917 - what the regression is made of
        self,
        found: ChosenRows,
        chosen: pd.DataFrame,
        machines: Machines,
        balance: Balance,
        expected: ExpectedLoss,
        middle: float,
        strays: FloatArray,
    ) -> tuple[CrossedFit, dict[str, Groups], dict[str, float]]:
        groups = _groups(chosen)
        columns = [-expected.slope, chosen["age"].to_numpy(float)]
        spreads = [self.multiplier_log_sd, self.drift_sd]
        centres: dict[str, float] = {}
        for name in ("drive", "speed_rpm", "air_k"):
            logs = np.log(getattr(machines, name))
            if np.ptp(logs) > _VARIES:
                centres[name] = float(logs.mean())
                columns.append(logs - centres[name])
                spreads.append(_EXPONENT_SD)
        response = found.log_ratio - np.log(balance.none) + expected.with_multiplier(middle)
        many = "build" if "build" in groups else None
        line = fit_crossed(
            response,
            np.ones((len(chosen), 1)),
            np.column_stack(columns),
            np.array(spreads),
            groups,
            small=many,
            unsure="meet",
            shared_errors=expected.per_thou[:, np.newaxis] * strays,
        )
        return line, groups, centres


def _multiplier(line: CrossedFit, middle: float, log_sd: float, model_sd: float) -> Multiplier:
    """Take the regression's prior off again and put the lognormal one in its place."""
    found = [
        (
            solved.chance,
            middle + float(solved.effects[1]),
            float(np.sqrt(solved.covariance[1, 1])),
        )
        for solved in line.solved
    ]
    return Multiplier.of(found, (middle, model_sd), middle, log_sd)


def _strays(wear: Wear, chosen: pd.DataFrame, rng: np.random.Generator) -> FloatArray:
    """Draws of how far the clearances of runs are from expected, thou, shape (rows, draws)."""
    unit, build = tuple(chosen["unit"].astype(str)), tuple(chosen["build"].astype(float))
    age = chosen["age"].to_numpy(float)
    if isinstance(wear, Followed):
        return wear.strays(unit, build, age, _STRAYS, rng)
    # Of a plain line only its size is known: one error for each build, growing with the runs.
    builds = chosen.groupby(["unit", "build"], sort=False).ngroup().to_numpy()
    of_build = rng.standard_normal((int(builds.max()) + 1, _STRAYS))
    return np.asarray(wear.growth(unit, build, age)[1][:, np.newaxis] * of_build[builds])


def _groups(chosen: pd.DataFrame) -> dict[str, Groups]:
    """Levels that vary: of units and meets from two on, of builds where units have several."""
    days = chosen["date"].astype(str)
    meet = chosen["meet"].fillna(days) if "meet" in chosen else days
    names = chosen["unit"].astype(str)
    units, builds = Groups.of(names), Groups.of(builds_of(names, chosen["build"]))
    found = {"unit": units, "meet": Groups.of(meet)}
    if len(builds.labels) > len(units.labels) + 1:
        found["build"] = builds
    return {name: group for name, group in found.items() if len(group.labels) > 1}


def _unit_levels(line: CrossedFit, groups: dict[str, Groups], chosen: pd.DataFrame) -> FloatArray:
    """Factor on the pressure ratio of each row's unit: logged over predicted."""
    level = np.full(len(chosen), float(line.coefficients[0]))
    if "unit" in groups:
        level += line.levels["unit"][groups["unit"].codes]
    return np.asarray(np.exp(level))


def _now(frame: pd.DataFrame, chosen: pd.DataFrame) -> pd.DataFrame:
    """Return each unit's latest build and age, and where its last usable row stands."""
    placed = frame[
        frame["build"].notna() & frame["age"].notna() & (frame["why"] != "build set aside")
    ]
    last = placed.assign(unit=placed["unit"].astype(str)).groupby("unit", sort=False).tail(1)
    place = (
        pd.Series(np.arange(len(chosen)), index=chosen["unit"].astype(str)).groupby(level=0).last()
    )
    known = last[last["unit"].isin(place.index)]
    now = known[["unit", "build", "age", "date"]].sort_values("unit", ignore_index=True)
    return now.assign(place=place.reindex(now["unit"]).to_numpy())


def _sizes(chosen: pd.DataFrame, groups: dict[str, Groups]) -> Sizes:
    builds = chosen[["unit", "build"]].drop_duplicates()
    units = int(chosen["unit"].nunique())
    meets = len(groups["meet"].labels) if "meet" in groups else 1
    return Sizes(runs=len(chosen), units=units, restrips=len(builds) - units, meets=meets)


def _check_enough(found: ChosenRows) -> None:
    count = int(found.used.sum())
    if count >= LEAST_ROWS:
        return
    lost = "; ".join(f"{out.count} left out ({out.reason})" for out in found.left_out)
    message = (
        f"{count} usable boost rows cannot tell what leakage costs; "
        f"at least {LEAST_ROWS} are needed{f' ({lost})' if lost else ''}"
    )
    raise TooFewError(message, have=count, need=LEAST_ROWS)


def _corrected(  # noqa: PLR0917 - the parts of a prediction
    found: ChosenRows,
    line: CrossedFit,
    groups: dict[str, Groups],
    balance: Balance,
    expected: ExpectedLoss,
    middle: float,
) -> pd.DataFrame:
    """Give each row its boost at 29.921 inHg, and what levels and leakage make of it there."""
    frame = found.frame
    normal = normalise_boost(frame["boost_psi"].to_numpy(float), frame["pressure_pa"])
    age = frame.loc[found.used, "age"].to_numpy(float)
    fitted = np.log(balance.none) - expected.with_multiplier(middle + line.coefficients[1])
    fitted = fitted + line.coefficients[0] + line.coefficients[2] * age
    for name, group in groups.items():
        fitted = fitted + line.levels[name][group.codes]
    psi = np.full(len(frame), np.nan)
    psi[found.used] = REFERENCE_PSI * np.expm1(fitted)
    return frame.drop(columns="pressure_pa").assign(boost_norm_psi=normal, predicted_psi=psi)

"""One simulated season: clean records in the book's own columns, and the truth behind them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray, IntArray
from wearstats.records.season import Season
from wearstats_synthetic.boost import TrueBoost, true_boost
from wearstats_synthetic.entries import (
    Paths,
    days_or_none,
    reading_records,
    restrip_records,
    run_records,
    unit_records,
)
from wearstats_synthetic.fleet import Fleet, demo_fleet
from wearstats_synthetic.schedule import Schedule, draw_schedule
from wearstats_synthetic.strips import History, play
from wearstats_synthetic.truth import Truth


@dataclass(frozen=True, slots=True)
class Derived:
    """True values of what the estimators estimate, each with its exact definition.

    Parameters
    ----------
    fleet_shape, fleet_scale_runs : float
        Weibull shape and scale of strip life to burn-through, of a unit of frailty 1 at the
        reference overdrive, load-weighted runs.
    life_at_10, life_at_50 : float
        Runs by which 10 and 50 % of all strips burn through, averaged over the frailty.
    mean_wear_thou_per_run : float
        Mean rate of growth of tip clearance over the population of units and builds.
    start_tip_thou : float
        Mean tip clearance of a fresh build.
    psi_per_thou : float
        Normalised boost (29.921 inHg) lost per thou of tip clearance: mean over the season's
        runs of minus the derivative of the noise-free balance, unit and meet offsets included.
    """

    fleet_shape: float
    fleet_scale_runs: float
    life_at_10: float
    life_at_50: float
    mean_wear_thou_per_run: float
    start_tip_thou: float
    psi_per_thou: float


@dataclass(frozen=True, slots=True)
class SimulatedSeason:
    """A season as it was recorded without a slip, and as it truly was.

    Parameters
    ----------
    runs, restrips, units, readings : DataFrame
        Canonical: the schema's fields in the units the book keeps, sorted by key. Values are
        what the hands could read (rounded, cut into intervals), without slips of the pen.
    builds : DataFrame
        The truth, one row a build: unit, build, began, ended, ending, entry, age (at the end or
        now), runs (made in the records), failed, mode, failed_at (age of the first failure, inf
        if none), burn_age (age of burn-through had nothing else ended the build), start_tip_thou,
        tip_rate_thou_per_run, jump_thou, due, strip_lot, hazard (of the
        whole build, frailty times lot).
    run_truth : DataFrame
        The truth, one row a run in the order of `runs`: unit, build, date, run, hand, load,
        runs_on_strips, age_before, age_after, state ("" or a failure mode), tip_thou, mesh_thou,
        end_thou (cold, after the run), metal_thou, expected_boost_psi, normalised_boost_psi (both
        without noise), psi_per_thou.
    truth : Truth
    derived : Derived
    fleet : Fleet
    seed : int
    """

    runs: pd.DataFrame
    restrips: pd.DataFrame
    units: pd.DataFrame
    readings: pd.DataFrame
    builds: pd.DataFrame
    run_truth: pd.DataFrame
    truth: Truth
    derived: Derived
    fleet: Fleet
    seed: int

    @property
    def frames(self) -> dict[str, pd.DataFrame]:
        """The four canonical frames by the name of their sheet."""
        return {
            "runs": self.runs,
            "restrips": self.restrips,
            "units": self.units,
            "readings": self.readings,
        }

    @property
    def records(self) -> Season:
        """The clean records as a season, marked simulated."""
        return Season.from_frames(
            self.runs, self.restrips, self.units, self.readings, simulated=True
        )


def simulate(
    seed: int,
    truth: Truth | None = None,
    *,
    meets: int = 9,
    units: int = 7,
    fleet: Fleet | None = None,
) -> SimulatedSeason:
    """Simulate a season.

    Parameters
    ----------
    seed : int
        0 or more; the same seed gives the same season on every machine.
    truth : Truth or None
        None for the demo's.
    meets, units : int
        Of the demo's fleet; not used if `fleet` is given.
    fleet : Fleet or None
        See `wide_fleet` for large ones.

    Raises
    ------
    UsageError
        A fleet that cannot run, or a truth outside its limits.
    """
    truth = Truth() if truth is None else truth
    fleet = demo_fleet(meets, units) if fleet is None else fleet
    source = np.random.SeedSequence(seed)
    when, path, boost, read, *own = source.spawn(4 + len(fleet.units))
    schedule = draw_schedule(truth, fleet, np.random.default_rng(when))
    history = play(truth, fleet, schedule, own)
    paths = _paths(truth, fleet, schedule, np.random.default_rng(path))
    pressure = true_boost(
        truth,
        fleet,
        schedule,
        (history.tip_thou, paths.mesh_thou, paths.end_thou),
        np.random.default_rng(boost),
    )
    rng = np.random.default_rng(read)
    return SimulatedSeason(
        runs=run_records(
            truth, fleet, schedule, history, paths=paths, boost_psi=pressure.boost_psi, rng=rng
        ),
        restrips=restrip_records(truth, fleet, history, paths, rng),
        units=unit_records(truth, fleet, paths, rng),
        readings=reading_records(truth, fleet, history, rng),
        builds=_builds(truth, fleet, history),
        run_truth=_run_truth(fleet, schedule, history, paths, pressure),
        truth=truth,
        derived=Derived(
            fleet_shape=truth.shape,
            fleet_scale_runs=truth.scale_runs,
            life_at_10=truth.life_at(0.1),
            life_at_50=truth.life_at(0.5),
            mean_wear_thou_per_run=truth.mean_wear_thou_per_run,
            start_tip_thou=truth.start_tip_thou,
            psi_per_thou=float(pressure.psi_per_thou.mean()),
        ),
        fleet=fleet,
        seed=seed,
    )


def _paths(truth: Truth, fleet: Fleet, schedule: Schedule, rng: np.random.Generator) -> Paths:
    """Grow the slow clearances of every unit over all its runs."""
    count = len(fleet.units)
    metal = np.round(30.0 + 2.0 * rng.standard_normal(count), 1)
    mesh = truth.mesh_start_thou + truth.path_start_sd_thou * rng.standard_normal(count)
    end = truth.end_start_thou + truth.path_start_sd_thou * rng.standard_normal(count)
    done = _running_load(schedule, count)
    return Paths(
        metal_thou=metal,
        mesh_start_thou=np.maximum(mesh, 0.5),
        end_start_thou=np.maximum(end, 0.5),
        mesh_thou=np.maximum(mesh, 0.5)[schedule.unit] + truth.mesh_rate_thou_per_run * done,
        end_thou=np.maximum(end, 0.5)[schedule.unit] + truth.end_rate_thou_per_run * done,
    )


def _running_load(schedule: Schedule, units: int) -> FloatArray:
    done = np.zeros(schedule.load.size)
    order: IntArray = np.argsort(schedule.unit, kind="stable")
    total = np.cumsum(schedule.load[order])
    first = np.searchsorted(schedule.unit[order], np.arange(units))
    before = np.concatenate([[0.0], total])[first]
    done[order] = total - before[schedule.unit[order]]
    return done


def _builds(truth: Truth, fleet: Fleet, history: History) -> pd.DataFrame:
    builds = history.builds
    return pd.DataFrame(
        {
            "unit": [fleet.units[build.unit].name for build in builds],
            "build": [build.number for build in builds],
            "began": days_or_none([build.began for build in builds]),
            "ended": days_or_none([build.ended for build in builds]),
            "ending": [build.ending for build in builds],
            "entry": [build.entry for build in builds],
            "age": [build.age for build in builds],
            "runs": [int(build.count - build.entry) for build in builds],
            "failed": [build.mode != "" for build in builds],
            "mode": [build.mode for build in builds],
            "failed_at": [build.failed_at for build in builds],
            "burn_age": [build.burn_age(truth) for build in builds],
            "start_tip_thou": [build.start_tip_thou for build in builds],
            "tip_rate_thou_per_run": [build.tip_rate_thou_per_run for build in builds],
            "jump_thou": [build.jump_thou for build in builds],
            "due": [build.due for build in builds],
            "strip_lot": [build.lot for build in builds],
            "hazard": [build.hazard for build in builds],
        }
    )


def _run_truth(
    fleet: Fleet, schedule: Schedule, history: History, paths: Paths, pressure: TrueBoost
) -> pd.DataFrame:
    names = np.array([unit.name for unit in fleet.units], object)
    hands = np.array([boat.hand for boat in fleet.boats], object)
    return pd.DataFrame(
        {
            "unit": names[schedule.unit],
            "build": history.build,
            "date": schedule.date.astype("datetime64[ns]"),
            "run": schedule.run,
            "hand": hands[schedule.boat],
            "load": schedule.load,
            "runs_on_strips": history.count,
            "age_before": history.age_before,
            "age_after": history.age_after,
            "state": history.state,
            "tip_thou": history.tip_thou,
            "mesh_thou": paths.mesh_thou,
            "end_thou": paths.end_thou,
            "metal_thou": paths.metal_thou[schedule.unit],
            "expected_boost_psi": pressure.expected_psi,
            "normalised_boost_psi": pressure.normalised_psi,
            "psi_per_thou": pressure.psi_per_thou,
        }
    )

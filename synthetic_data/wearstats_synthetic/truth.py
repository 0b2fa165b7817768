"""The true parameters of a simulated season, each with its unit and why it is what it is.

Where no source is named the number is common practice or a plain choice of this scenario,
no source; none of them describes a real blower.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from wearstats.errors import UsageError

FRAILTY_NODES = 40
"""Gauss-Hermite nodes over the unit frailty; 40 are exact to 12 digits for sd up to 1."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true in the simulated world and unknown to whoever reads its records.

    Parameters
    ----------
    shape, scale_runs : float
        Weibull life of an outside strip to burn-through in load-weighted runs, for a unit of
        frailty 1. A shape of 2.5 is wear-out: strips do not fail new. A scale of 11 runs puts
        about as many burn-throughs as planned restrips into a season.
    frailty_sd : float
        Standard deviation of a unit's log hazard. Small, so that a fit that knows no frailty
        still covers.
    overdrive_log_hazard : float
        Change of the log hazard per 10 points of overdrive above `overdrive_reference_pct`;
        0 in the demo, set by studies of what burns strips.
    overdrive_reference_pct : float
    bad_lot_log_hazard : float
        Change of the log hazard on strips of lot "L2"; 0 in the demo.
    pulled_per_run, rubbed_per_run : float
        Constant hazards of the two other modes: rare.
    start_tip_thou, start_tip_sd_thou : float
        Tip clearance of a fresh build, mean and standard deviation between builds.
    tip_rate_thou_per_run : float
        Median growth of tip clearance per load-weighted run.
    tip_rate_unit_log_sd, tip_rate_build_log_sd : float
        Spread of the log rate between units, and between builds of a unit.
    burn_jump_low_thou, burn_jump_high_thou : float
        Tip clearance gained when a strip burns through or pulls, uniform between.
    mesh_start_thou, mesh_rate_thou_per_run, end_start_thou, end_rate_thou_per_run : float
        The slow paths; they go on over restrips.
    path_start_sd_thou : float
        Spread of mesh and end clearance between units at the season's start.
    leak_multiplier : float
        The one factor on all leakage, theta; 1 means a discharge coefficient of 0.70.
    tip_closing_thou : float
        Tip clearance lost from cold to running; 0 in the demo, so that what is measured leaks.
    heat_share, swallowing : float
        Share of the compression heat left in the charge (alcohol through the blower), and
        volumetric efficiency of the engine over filling of the blower.
    unit_log_sd, meet_log_sd, noise_log_sd : float
        Spread of the log absolute pressure ratio between units, between meets, and from run to
        run; 0.015 is about 0.7 psi at 33 psi of boost.
    look_chance : float
        Chance that somebody looks at the strips after a run. Every teardown is a look.
    look_misses : float
        Chance that a look, other than a teardown, takes failed strips for sound.
    hot_from, hot_chance : float
        Share of its life from which a strip may look hot, and the chance that a look then
        says so.
    feeler_chance : float
        Chance that a look comes with feelers.
    feeler_sd_thou, height_sd_thou : float
        Error of one feeler reading before blades cut it into an interval, and of one strip
        height.
    entered_chance : float
        Chance that runs since restrip is filled in.
    planned_low, planned_high : int
        A build is due for a planned restrip after this many runs, uniform, both included.
    mended_in_shop : float
        Chance that work due after a meet waits for the shop instead of being done that evening.
    shut_off_chance : float
        Chance that a run is shut off early, at a load of 0.3 to 0.7.
    boost_missing : float
        Chance that the logger gave no boost.
    """

    shape: float = 2.5
    scale_runs: float = 11.0
    frailty_sd: float = 0.10
    overdrive_log_hazard: float = 0.0
    overdrive_reference_pct: float = 36.0
    bad_lot_log_hazard: float = 0.0
    pulled_per_run: float = 0.004
    rubbed_per_run: float = 0.003
    start_tip_thou: float = 3.0
    start_tip_sd_thou: float = 0.4
    tip_rate_thou_per_run: float = 0.15
    tip_rate_unit_log_sd: float = 0.10
    tip_rate_build_log_sd: float = 0.15
    burn_jump_low_thou: float = 1.5
    burn_jump_high_thou: float = 4.0
    mesh_start_thou: float = 4.0
    mesh_rate_thou_per_run: float = 0.010
    end_start_thou: float = 6.0
    end_rate_thou_per_run: float = 0.005
    path_start_sd_thou: float = 0.5
    leak_multiplier: float = 1.0
    tip_closing_thou: float = 0.0
    heat_share: float = 0.35
    swallowing: float = 1.0
    unit_log_sd: float = 0.015
    meet_log_sd: float = 0.006
    noise_log_sd: float = 0.015
    look_chance: float = 0.45
    look_misses: float = 0.0
    hot_from: float = 0.8
    hot_chance: float = 0.4
    feeler_chance: float = 0.6
    feeler_sd_thou: float = 0.25
    height_sd_thou: float = 0.25
    entered_chance: float = 0.85
    planned_low: int = 8
    planned_high: int = 14
    mended_in_shop: float = 0.6
    shut_off_chance: float = 0.08
    boost_missing: float = 0.04

    def __post_init__(self) -> None:
        for name in _POSITIVE:
            _must(self, name, lambda value: value > 0.0, "above 0")
        for name in _CHANCES:
            _must(self, name, lambda value: 0.0 <= value <= 1.0, "between 0 and 1")
        for name in _NOT_NEGATIVE:
            _must(self, name, lambda value: value >= 0.0, "0 or more")
        if not 1 <= self.planned_low <= self.planned_high:
            message = (
                f"planned restrips need 1 <= planned_low <= planned_high, got "
                f"{self.planned_low} and {self.planned_high}"
            )
            raise UsageError(message)
        if self.burn_jump_high_thou < self.burn_jump_low_thou:
            message = (
                f"burn_jump_high_thou ({self.burn_jump_high_thou}) must not be below "
                f"burn_jump_low_thou ({self.burn_jump_low_thou})"
            )
            raise UsageError(message)

    @property
    def mean_wear_thou_per_run(self) -> float:
        """Mean growth of tip clearance over all units and builds, thou per load-weighted run.

        The mean of the lognormal rate: median * exp((unit sd^2 + build sd^2) / 2).
        """
        variance = self.tip_rate_unit_log_sd**2 + self.tip_rate_build_log_sd**2
        return float(self.tip_rate_thou_per_run * np.exp(variance / 2.0))

    def survival(self, runs: float) -> float:
        """Return the share of fresh strips, over all units, not burned through after so many runs.

        Averages exp(-z (runs / scale)^shape) over the lognormal frailty z, with no effect of
        overdrive or lot.
        """
        hazard = (runs / self.scale_runs) ** self.shape
        nodes, weights = np.polynomial.hermite_e.hermegauss(FRAILTY_NODES)
        share = np.exp(-np.exp(self.frailty_sd * nodes) * hazard)
        return float(weights @ share / weights.sum())

    def life_at(self, failed: float) -> float:
        """Return the runs by which this share of all strips has burned through.

        Raises
        ------
        UsageError
            `failed` is not between 0 and 1.
        """
        if not 0.0 < failed < 1.0:
            message = f"a share failed lies between 0 and 1, got {failed}"
            raise UsageError(message)
        plain = self.scale_runs * (-np.log1p(-failed)) ** (1.0 / self.shape)
        room = np.exp(10.0 * self.frailty_sd / self.shape) * 2.0
        return float(
            brentq(lambda runs: self.survival(runs) - (1.0 - failed), plain / room, plain * room)
        )


_POSITIVE = (
    "shape",
    "scale_runs",
    "start_tip_thou",
    "tip_rate_thou_per_run",
    "leak_multiplier",
    "swallowing",
)
_CHANCES = (
    "look_chance",
    "look_misses",
    "hot_from",
    "hot_chance",
    "feeler_chance",
    "entered_chance",
    "mended_in_shop",
    "shut_off_chance",
    "boost_missing",
    "heat_share",
)
_NOT_NEGATIVE = (
    "frailty_sd",
    "pulled_per_run",
    "rubbed_per_run",
    "start_tip_sd_thou",
    "tip_rate_unit_log_sd",
    "tip_rate_build_log_sd",
    "burn_jump_low_thou",
    "unit_log_sd",
    "meet_log_sd",
    "noise_log_sd",
    "feeler_sd_thou",
    "height_sd_thou",
    "path_start_sd_thou",
)


def _must(truth: Truth, name: str, holds: Callable[[float], bool], expected: str) -> None:
    value = getattr(truth, name)
    if not holds(value):
        message = f"the true {name} must be {expected}, got {value}"
        raise UsageError(message)

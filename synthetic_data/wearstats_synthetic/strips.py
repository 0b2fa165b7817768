"""The life of strips: how a build ages, wears and fails, and when the shop renews it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from math import exp, inf, log

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats_synthetic.fleet import Fleet
from wearstats_synthetic.schedule import Schedule
from wearstats_synthetic.truth import Truth

LOTS = ("L1", "L2", "L3")
WINTER_WORK = timedelta(days=30)
"""Fresh builds of the season are fitted so long before the first meet."""
_SHOP_DELAY = np.timedelta64(2, "D")


@dataclass(slots=True)
class Build:
    """One build of one unit, as it truly is; grows old run by run.

    Parameters
    ----------
    unit, number : int
        Unit from 0 and build from 1.
    began : numpy.datetime64 or None
        Day the strips were fitted; None where that was before the records.
    entry : float
        Age at which the records begin to see it.
    hazard : float
        Multiplies the baseline hazard over the whole build: unit frailty and strip lot.
    left_to_burn : float
        Cumulative hazard left until burn-through.
    pulled_at, rubbed_at : float
        Ages of the other modes, were they first.
    start_tip_thou, tip_rate_thou_per_run, jump_thou : float
        The clearance line, and what a failure adds to it.
    due : int
        Runs after which a planned restrip is due.
    lot : str
    """

    unit: int
    number: int
    began: np.datetime64 | None
    entry: float
    hazard: float
    left_to_burn: float
    pulled_at: float
    rubbed_at: float
    start_tip_thou: float
    tip_rate_thou_per_run: float
    jump_thou: float
    due: int
    lot: str
    age: float = 0.0
    count: int = 0
    mode: str = ""
    failed_at: float = inf
    burned_at: float = inf
    ended: np.datetime64 | None = None
    ending: str = "in use"

    def advance(self, truth: Truth, load: float, log_hazard: float) -> None:
        """Make one run; notice within it whether the strips fail."""
        after = self.age + load
        rate = self.hazard * exp(log_hazard) if log_hazard else self.hazard
        if not self.mode:
            burn = self._burn_age(truth, rate)
            spent = rate * (_hazard(truth, after) - _hazard(truth, self.age))
            self.left_to_burn -= spent
            first, mode = min(
                (burn, "burned"), (self.pulled_at, "pulled"), (self.rubbed_at, "rubbed")
            )
            if first <= after:
                self.failed_at, self.mode = first, mode
                self.burned_at = burn
        self.age = after
        self.count += 1

    def tip_thou(self) -> float:
        """Return the true tip clearance now, thou."""
        line = self.start_tip_thou + self.tip_rate_thou_per_run * self.age
        return line + self.jump_thou if self.mode in {"burned", "pulled"} else line

    def burn_age(self, truth: Truth) -> float:
        """Return the age at burn-through, of sound strips if they ran on at the usual set-up."""
        return self.burned_at if self.mode else self._burn_age(truth, self.hazard)

    def _burn_age(self, truth: Truth, rate: float) -> float:
        total = _hazard(truth, self.age) + self.left_to_burn / rate
        return float(truth.scale_runs * total ** (1.0 / truth.shape))


@dataclass(frozen=True, slots=True)
class Fitting:
    """One restrip.

    Parameters
    ----------
    date : numpy.datetime64
    after_run : float
        Run of that day it followed; NaN on a day without runs.
    reason : str or None
        Why the old build ended; None where nobody knows.
    found : str or None
        What the old strips looked like.
    old : Build or None
    new : Build
    """

    date: np.datetime64
    after_run: float
    reason: str | None
    found: str | None
    old: Build | None
    new: Build


@dataclass(slots=True)
class History:
    """What happened to every run and build; the per-run arrays follow the schedule.

    Parameters
    ----------
    build, count : ndarray of int
        Build of the unit (from 1) and runs since the restrip, this one included.
    age_before, age_after : ndarray
        Load-weighted.
    tip_thou : ndarray
        True tip clearance after the run, cold; the run's boost sees it too.
    state : list of str
        What the strips truly are after the run: "" or a mode.
    strips : list of (str or None)
        What a look said; None where nobody looked.
    builds : list of Build
    fittings : list of Fitting
    """

    build: IntArray
    count: IntArray
    age_before: FloatArray
    age_after: FloatArray
    tip_thou: FloatArray
    state: list[str]
    strips: list[str | None]
    builds: list[Build] = field(default_factory=list)
    fittings: list[Fitting] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Chances:
    """Uniform draws for what happens after each run."""

    look: FloatArray
    miss: FloatArray
    hot: FloatArray
    shop: FloatArray


def play(
    truth: Truth, fleet: Fleet, schedule: Schedule, seeds: Sequence[np.random.SeedSequence]
) -> History:
    """Play every unit through its runs.

    Parameters
    ----------
    truth : Truth
    fleet : Fleet
    schedule : Schedule
    seeds : sequence of SeedSequence, one a unit
        Each unit has its own, so that one more unit changes no other's strips.
    """
    size = schedule.date.size
    history = History(
        build=np.zeros(size, np.int64),
        count=np.zeros(size, np.int64),
        age_before=np.zeros(size),
        age_after=np.zeros(size),
        tip_thou=np.zeros(size),
        state=[""] * size,
        strips=[None] * size,
    )
    order = np.argsort(schedule.unit, kind="stable")
    bounds = np.searchsorted(schedule.unit[order], np.arange(len(fleet.units) + 1))
    for number, seed in enumerate(seeds):
        own = order[bounds[number] : bounds[number + 1]]
        _Bench(truth, fleet, number, seed).play(schedule, own, history)
    return history


class _Bench:
    """Plays one unit."""

    def __init__(self, truth: Truth, fleet: Fleet, unit: int, seed: np.random.SeedSequence) -> None:
        self.truth, self.fleet, self.unit = truth, fleet, unit
        # Apart, so that a unit's strips do not depend on how often it runs.
        rng, self.dice = (np.random.default_rng(part) for part in seed.spawn(2))
        self.rng = rng
        self.spec = fleet.units[unit]
        self.frailty = exp(truth.frailty_sd * rng.standard_normal())
        self.log_rate = (
            log(truth.tip_rate_thou_per_run) + truth.tip_rate_unit_log_sd * rng.standard_normal()
        )

    def play(self, schedule: Schedule, own: IntArray, history: History) -> None:
        """Make the unit's runs (indices into the schedule, in order)."""
        truth = self.truth
        chances = _Chances(*self.dice.random((4, own.size)))
        crash = self._crash_run(schedule, own)
        build = self._first(history)
        overdrive = schedule.overdrive_pct[own] - truth.overdrive_reference_pct
        effect = truth.overdrive_log_hazard * overdrive / 10.0
        worked: np.datetime64 | None = None
        seen = None
        for place, index in enumerate(own.tolist()):
            history.age_before[index] = build.age
            build.advance(truth, float(schedule.load[index]), float(effect[place]))
            history.build[index] = build.number
            history.count[index] = build.count
            history.age_after[index] = build.age
            history.tip_thou[index] = build.tip_thou()
            history.state[index] = build.mode
            if chances.look[place] < truth.look_chance and place != crash:
                look = self._look(build, chances.miss[place], chances.hot[place])
                history.strips[index] = look
                seen = look if look not in {"sound", "hot"} else seen
            if place + 1 == own.size:
                break
            today, following = schedule.date[index], schedule.date[own[place + 1]]
            reason = self._reason(build, seen, last_today=today != following, crash=place == crash)
            if reason is None or today == worked:
                continue
            if crash == place:
                after, when = np.nan, self._shop_day(schedule, index)
            else:
                in_shop = schedule.meet[index] != schedule.meet[own[place + 1]]
                in_shop = in_shop and chances.shop[place] < truth.mended_in_shop
                after = np.nan if in_shop else float(schedule.run[index])
                when = self._shop_day(schedule, index) if in_shop else today
            found = None if reason == "crash" else self._look(build, 1.0, chances.hot[place])
            build.ended, build.ending = when, reason
            new = self._fresh(history, build.number + 1, when)
            history.fittings.append(Fitting(when, after, reason, found, build, new))
            build, worked, seen = new, when, None
        if self.spec.leaves_after is not None:
            build.ending = "retired"

    def _shop_day(self, schedule: Schedule, index: int) -> np.datetime64:
        """Return the day in the shop after a run's meet: nobody runs then."""
        return np.datetime64(self.fleet.meets[schedule.meet[index]].last_day) + _SHOP_DELAY

    def _reason(
        self, build: Build, seen: str | None, *, last_today: bool, crash: bool
    ) -> str | None:
        if crash:
            return "crash"
        if seen is not None:
            return seen
        return "planned" if last_today and build.count >= build.due else None

    def _look(self, build: Build, miss: float, hot: float) -> str:
        if build.mode:
            return "sound" if miss < self.truth.look_misses else build.mode
        near = build.age >= self.truth.hot_from * build.burn_age(self.truth)
        return "hot" if near and hot < self.truth.hot_chance else "sound"

    def _crash_run(self, schedule: Schedule, own: IntArray) -> int:
        if self.spec.crashes_at is None:
            return -1
        ran = np.flatnonzero(schedule.meet[own] == self.spec.crashes_at)
        return int(ran[-1]) if ran.size else -1

    def _first(self, history: History) -> Build:
        if self.spec.runs_on_strips:
            return self._fresh(history, 1, None, worn=self.spec.runs_on_strips)
        joined = self.fleet.meets[self.spec.joins_at].first_day
        when = np.datetime64(joined - WINTER_WORK + timedelta(days=self.unit % 20))
        build = self._fresh(history, 1, when)
        history.fittings.append(Fitting(when, np.nan, None, None, None, build))
        return build

    def _fresh(
        self, history: History, number: int, began: np.datetime64 | None, *, worn: int = 0
    ) -> Build:
        truth, rng = self.truth, self.rng
        lot = self._lot(began)
        bad = truth.bad_lot_log_hazard if lot == "L2" else 0.0
        pulled, rubbed = rng.standard_exponential(2)
        build = Build(
            unit=self.unit,
            number=number,
            began=began,
            entry=float(worn),
            hazard=self.frailty * exp(bad),
            # What is left from the age of entry on: strips that joined worn had not burned.
            left_to_burn=float(rng.standard_exponential()),
            pulled_at=worn + (pulled / truth.pulled_per_run if truth.pulled_per_run else inf),
            rubbed_at=worn + (rubbed / truth.rubbed_per_run if truth.rubbed_per_run else inf),
            start_tip_thou=max(
                0.5, truth.start_tip_thou + truth.start_tip_sd_thou * rng.standard_normal()
            ),
            tip_rate_thou_per_run=exp(
                self.log_rate + truth.tip_rate_build_log_sd * rng.standard_normal()
            ),
            jump_thou=float(rng.uniform(truth.burn_jump_low_thou, truth.burn_jump_high_thou)),
            due=int(rng.integers(truth.planned_low, truth.planned_high + 1)),
            lot=lot,
            age=float(worn),
            count=worn,
        )
        history.builds.append(build)
        return build

    def _lot(self, began: np.datetime64 | None) -> str:
        if began is None:
            return LOTS[0]
        meets = self.fleet.meets
        done = sum(np.datetime64(meet.first_day) < began for meet in meets)
        return LOTS[min(done * len(LOTS) // len(meets), len(LOTS) - 1)]


def _hazard(truth: Truth, age: float) -> float:
    return float((age / truth.scale_runs) ** truth.shape)

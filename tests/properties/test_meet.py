"""The plan of a meet against every plan there is, written out; and limits no plan may break."""

import functools
import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError
from wearstats.plans import Meet, MeetPlan, MeetUnit, plan_meet
from wearstats.records.costs import Costs

SEED = 20261125
INSTANCES = 200
EACH_TIME = 10


@dataclass(frozen=True)
class Weibull:
    """Two curves of equal weight."""

    shape: float
    scales: tuple[float, float]

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        scale = np.array(self.scales)[:, None]
        return np.exp(-((ages[None, :] / scale) ** self.shape)), np.ones(2)

    def sound(self, age: float, seen: float = 0.0) -> float:
        return float(
            np.mean(
                [np.exp((seen / b) ** self.shape - (age / b) ** self.shape) for b in self.scales]
            )
        )


@dataclass(frozen=True)
class Instance:
    meet: Meet
    units: tuple[MeetUnit, ...]
    costs: Costs


def instance(rng: np.random.Generator) -> Instance:
    count, runs = ((2, 4), (3, 3), (2, 3), (1, 4))[int(rng.integers(4))]
    units = []
    for place in range(count):
        age = float(rng.integers(0, 9)) / 2
        scale = rng.uniform(3, 12)
        units.append(
            MeetUnit(
                f"K{place}",
                Weibull(rng.uniform(1.2, 4.0), (scale, scale * rng.uniform(1, 1.5))),
                age=age,
                last_look=age if rng.random() < 0.5 else age / 2,
                must_restrip=bool(rng.random() < 0.15),
                service_limit_runs=float(rng.integers(2, 8)) if rng.random() < 0.4 else None,
                loss_psi_by_age=(lambda ages: 0.1 * ages) if rng.random() < 0.5 else None,
            )
        )
    windows = tuple(float(each) for each in rng.choice([0.0, 3.0, 6.0], runs))
    timed = rng.random() < 0.7
    meet = Meet(
        runs=runs,
        sets=int(rng.integers(0, 4)) if rng.random() < 0.7 else None,
        hours_per_restrip=3.0,
        hours=float(rng.choice([3.0, 6.0, 9.0])) if rng.random() < 0.4 else None,
        windows=windows if timed else None,
        load=float(rng.choice([1.0, 0.5])),
        bound=float(rng.uniform(0.2, 0.8)) if rng.random() < 0.3 else None,
    )
    costs = Costs(planned=1.0, burn_through=rng.uniform(1, 12), lost_psi_per_run=rng.uniform(0, 1))
    return Instance(meet, tuple(units), costs)


@dataclass(frozen=True)
class Stand:
    """A unit on its way through a meet: age, whether on new strips."""

    age: float
    new: bool


def every_plan(  # noqa: C901 - the rules one after another
    one: Instance,
) -> Iterator[tuple[float, tuple[tuple[int, int], ...]]]:
    """Yield cost, and runs and restrips of each unit, of every plan within the limits.

    Before each run any of the units may be restripped and any one of them makes the run: the
    rules of the meet one after another, with no program and no table. New strips are run.
    """
    meet, units = one.meet, one.units
    start = tuple(Stand(unit.age, new=False) for unit in units)
    nothing = tuple((0, 0) for _ in units)
    least = [least_per_run(unit, one.costs) for unit in units]

    @functools.cache
    def left_of(place: int, stand: Stand) -> float:
        return used_up(units[place], stand, one.costs, least[place])

    @functools.cache
    def cost_of(place: int, stand: Stand) -> float | None:
        return run_cost(one, units[place], stand, least[place])

    def on_from(
        run: int, stands: tuple[Stand, ...], shares: tuple[tuple[int, int], ...], spent: float
    ) -> Iterator[tuple[float, tuple[tuple[int, int], ...]]]:
        if run == meet.runs:
            if not unused((True,) * len(units), stands):
                yield spent + sum(left_of(*each) for each in enumerate(stands)), shares
            return
        for fitted in itertools.product((False, True), repeat=len(units)):
            if unused(fitted, stands) or not allowed(meet, run, fitted, shares):
                continue
            ready = refitted(stands, fitted)
            now = worked(shares, fitted)
            for place in range(len(units)):
                cost = cost_of(place, ready[place])
                if cost is None:
                    continue
                after = list(ready)
                after[place] = Stand(ready[place].age + meet.load, ready[place].new)
                made, done = now[place]
                share = (*now[:place], (made + 1, done), *now[place + 1 :])
                whole = spent + cost + one.costs.planned * sum(fitted)
                yield from on_from(run + 1, tuple(after), share, whole)

    before = sum(left_of(*each) for each in enumerate(start))
    yield from on_from(0, start, nothing, -before)


def unused(fitted: tuple[bool, ...], stands: tuple[Stand, ...]) -> bool:
    """Say whether one of these units has new strips that made no run."""
    return any(fit and one.new and not one.age for fit, one in zip(fitted, stands, strict=True))


def refitted(stands: tuple[Stand, ...], fitted: tuple[bool, ...]) -> tuple[Stand, ...]:
    pairs = zip(stands, fitted, strict=True)
    return tuple(Stand(0.0, new=True) if fit else stand for stand, fit in pairs)


def worked(
    shares: tuple[tuple[int, int], ...], fitted: tuple[bool, ...]
) -> tuple[tuple[int, int], ...]:
    return tuple((made, done + fit) for (made, done), fit in zip(shares, fitted, strict=True))


def allowed(
    meet: Meet, run: int, fitted: tuple[bool, ...], shares: tuple[tuple[int, int], ...]
) -> bool:
    now = sum(fitted)
    total = now + sum(done for _, done in shares)
    if meet.sets is not None and total > meet.sets:
        return False
    if meet.hours is not None and 3.0 * total > meet.hours:
        return False
    return meet.windows is None or 3.0 * now <= meet.windows[run]


def curve(unit: MeetUnit) -> Weibull:
    assert isinstance(unit.draws, Weibull)
    return unit.draws


def sound(unit: MeetUnit, age: float, *, new: bool) -> float:
    return curve(unit).sound(age, 0.0 if new else unit.last_look)


def loss(unit: MeetUnit, age: float) -> float:
    return 0.0 if unit.loss_psi_by_age is None else 0.1 * age


def run_cost(one: Instance, unit: MeetUnit, stand: Stand, least: float) -> float | None:
    after = stand.age + one.meet.load
    if unit.must_restrip and not stand.new:
        return None
    if unit.service_limit_runs is not None and after > unit.service_limit_runs:
        return None
    then = sound(unit, after, new=stand.new)
    if one.meet.bound is not None and then < one.meet.bound:
        return None
    now = sound(unit, stand.age, new=stand.new)
    owed = 1.0 if not stand.new and stand.age == unit.age else now
    lost = now * loss(unit, after) * one.meet.load
    cost = one.costs.burn_through * (owed - then) + one.costs.lost_psi_per_run * lost
    return cost + least * (1 - owed) * one.meet.load


def least_per_run(unit: MeetUnit, costs: Costs) -> float:
    most = 300 if unit.service_limit_runs is None else int(unit.service_limit_runs)
    best, lost, runs = np.inf, 0.0, 0.0
    for made in range(1, most + 1):
        now = sound(unit, made - 1, new=True)
        lost, runs = lost + now * loss(unit, made), runs + now
        fails = 1 - sound(unit, made, new=True)
        cycle = costs.planned + costs.burn_through * fails + costs.lost_psi_per_run * lost
        best = min(best, cycle / runs)
        if now < 1e-9:
            break
    return best


def used_up(unit: MeetUnit, stand: Stand, costs: Costs, least: float) -> float:
    if unit.must_restrip and not stand.new:
        return costs.planned
    still = sound(unit, stand.age, new=stand.new)
    limit = unit.service_limit_runs
    most = 300 if limit is None else int(np.floor(limit - stand.age + 1e-9))
    gain, best = 0.0, 0.0
    for more in range(1, most + 1):
        now = sound(unit, stand.age + more - 1, new=stand.new) / still
        then = sound(unit, stand.age + more, new=stand.new) / still
        gain += now * (least - costs.lost_psi_per_run * loss(unit, stand.age + more))
        best = max(best, gain - costs.burn_through * (1 - then))
        if now < 1e-9:
            break
    return still * (costs.planned - best) + (1 - still) * costs.planned


@pytest.mark.parametrize("part", range(INSTANCES // EACH_TIME))
def test_no_plan_written_out_is_cheaper(part: int) -> None:
    rng = np.random.default_rng([SEED, part])
    for _ in range(EACH_TIME):
        one = instance(rng)
        by_share: dict[tuple[tuple[int, int], ...], float] = {}
        for cost, shares in every_plan(one):
            by_share[shares] = min(cost, by_share.get(shares, np.inf))
        if not by_share:
            with pytest.raises(PlanError):
                plan_meet(one.meet, one.units, one.costs)
            continue
        found = plan_meet(one.meet, one.units, one.costs)
        assert found.cost == pytest.approx(min(by_share.values()), abs=1e-7)
        ours = tuple(found.shares.get(unit.unit, (0, 0)) for unit in one.units)
        assert by_share[ours] == pytest.approx(found.cost, abs=1e-7)
        assert (found.next_best is None) == (len(by_share) == 1)
        if found.next_best is not None:
            theirs = tuple(found.next_best.shares.get(unit.unit, (0, 0)) for unit in one.units)
            assert theirs != ours
            assert found.next_best.cost == pytest.approx(by_share[theirs], abs=1e-7)
            others = (cost for shares, cost in by_share.items() if shares != ours)
            assert found.next_best.cost == pytest.approx(min(others), abs=1e-7)


@st.composite
def meets(draw: st.DrawFn) -> Instance:
    runs = draw(st.integers(1, 8))
    count = draw(st.integers(1, 5))
    units = []
    for place in range(count):
        age = draw(st.integers(0, 12))
        scale = draw(st.floats(2.0, 20.0))
        shape = draw(st.floats(0.8, 4.0))
        units.append(
            MeetUnit(
                f"K{place}",
                Weibull(shape, (scale, 1.3 * scale)),
                age=age,
                last_look=min(age, draw(st.integers(0, 3))),
                must_restrip=draw(st.booleans()),
                service_limit_runs=draw(st.none() | st.integers(1, 12)),
            )
        )
    hours = draw(
        st.none() | st.lists(st.sampled_from([0.0, 4.0, 9.0]), min_size=runs, max_size=runs)
    )
    meet = Meet(
        runs=runs,
        sets=draw(st.none() | st.integers(0, 4)),
        hours_per_restrip=4.0,
        hours=draw(st.none() | st.floats(0, 20)),
        windows=None if hours is None else tuple(hours),
        bound=draw(st.none() | st.floats(0.1, 0.9)),
    )
    prices = draw(st.none() | st.just(Costs(planned=1.0, burn_through=6.0)))
    return Instance(meet, tuple(units), prices or Costs(planned=1.0, burn_through=0.0))


def check(plan: MeetPlan, one: Instance) -> None:
    """Go through the plan run by run and hold it to every limit."""
    meet, units = one.meet, {unit.unit: unit for unit in one.units}
    ages = {name: (unit.age, False) for name, unit in units.items()}
    fitted = 0
    assert [step.run for step in plan.steps] == list(range(1, meet.runs + 1))
    for place, step in enumerate(plan.steps):
        for name in step.restrips:
            ages[name] = (0.0, True)
        fitted += len(step.restrips)
        if meet.windows is not None:
            assert meet.hours_per_restrip * len(step.restrips) <= meet.windows[place] + 1e-9
        age, new = ages[step.unit]
        assert step.age_before == pytest.approx(age)
        assert step.age_after == pytest.approx(age + meet.load)
        ages[step.unit] = (age + meet.load, new)
        unit = units[step.unit]
        assert new or not unit.must_restrip
        if unit.service_limit_runs is not None:
            assert step.age_after <= unit.service_limit_runs + 1e-9
        assert step.lasts.estimate is not None
        if meet.bound is not None:
            assert step.lasts.estimate >= meet.bound - 1e-9
    assert plan.sets == fitted
    assert meet.sets is None or fitted <= meet.sets
    assert meet.hours is None or plan.hours <= meet.hours + 1e-9


@settings(deadline=None)
@given(one=meets())
def test_no_plan_breaks_a_window_the_stock_the_hours_or_a_service_limit(one: Instance) -> None:
    costs = one.costs if one.costs.burn_through else None
    try:
        plan = plan_meet(one.meet, one.units, costs)
    except PlanError:
        return
    check(plan, one)
    if plan.next_best is not None:
        check(plan.next_best, one)
        assert plan.next_best.shares != plan.shares

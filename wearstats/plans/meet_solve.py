"""The cheapest plan of a meet with work windows, by mixed-integer programming: SciPy's HiGHS.

Binary variables say how many runs each set of strips makes and in which window each restrip is
done; continuous ones say which set makes each run, and come out whole once the others are. Where
the restrips of the cheapest splits (see `meet_share`, which leaves the windows out) fit the
windows, that is the answer; so those splits alone are asked for first.

One program of unit, run and age, binary throughout, said the same and took 18 to 30 s for twelve
units and sixteen runs, because so many orders of the same runs cost the same.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from wearstats.arrays import FloatArray
from wearstats.errors import PlanError
from wearstats.plans.meet_share import Shares
from wearstats.plans.meet_ways import Split, Ways

Windows = dict[tuple[int, int], int]
"""For unit and set (from 1), the window its restrip is done in."""

_INFEASIBLE = 2
_SOLVED = 0
_GAP = 1e-9
_SECONDS = 300.0
_HALF = 0.5


@dataclass(slots=True)
class Program:
    """A mixed-integer program as it is written: columns with costs, sparse rows with ends."""

    costs: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    at: list[tuple[int, int, float]] = field(default_factory=list)

    def column(self, cost: float = 0.0, *, whole: bool = True) -> int:
        """Add a variable from 0 to 1 and return its place."""
        self.costs.append(cost)
        self.whole.append(whole)
        return len(self.costs) - 1

    def row(self, terms: Iterable[tuple[int, float]], low: float, high: float) -> None:
        """Add a constraint on a sum of terms; a sum of nothing is nought."""
        self.at += [(len(self.low), column, value) for column, value in terms]
        self.low.append(low)
        self.high.append(high)

    def solved(self) -> FloatArray | None:
        """Return the cheapest values, None where no values keep the constraints.

        Raises
        ------
        PlanError
            The solver did not finish.
        """
        rows, columns, values = zip(*self.at, strict=True)
        matrix = csr_array((values, (rows, columns)), shape=(len(self.low), len(self.costs)))
        found = milp(
            np.array(self.costs),
            integrality=np.array(self.whole, dtype=np.int64),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix, self.low, self.high),
            options={"mip_rel_gap": _GAP, "time_limit": _SECONDS},
        )
        if found.status == _INFEASIBLE:
            return None
        if found.status != _SOLVED:
            message = f"no best plan was found in {_SECONDS:.0f} s; plan fewer runs or units"
            raise PlanError(message)
        return np.asarray(found.x)


def within_windows(
    ways: Sequence[Ways],
    open_for: Sequence[int],
    restrips: int,
    *,
    held: Sequence[Split] | None = None,
    unlike: Shares | None = None,
    at_least: float = -np.inf,
    reach: Sequence[tuple[int, int]] | None = None,
) -> tuple[tuple[Split, ...], Windows] | None:
    """Return the cheapest splits whose restrips fit the windows, and when each is done.

    Parameters
    ----------
    ways : sequence of Ways
        One a unit.
    open_for : sequence of int
        Restrips each window has hours for, one number a run.
    restrips : int
        The most there may be.
    held : sequence of Split, optional
        Only these splits are asked for.
    unlike : Shares, optional
        Another way of sharing out runs and restrips is wanted.
    at_least : float
        No splits cost less than this: spares the solver the proof.
    reach : sequence of (int, int), optional
        Runs and restrips of each unit beyond which nothing is asked for.
    """
    program, runs = Program(), len(open_for)
    making: list[list[tuple[int, float]]] = [[] for _ in range(runs)]
    working: list[list[tuple[int, float]]] = [[] for _ in range(runs)]
    ends = reach or [(runs, restrips)] * len(ways)
    units = [
        _Unit(program, costs, open_for, end, None if held is None else held[place])
        for place, (costs, end) in enumerate(zip(ways, ends, strict=True))
    ]
    for unit in units:
        unit.join(making, working)
    for now, working_now, most in zip(making, working, open_for, strict=True):
        program.row(now, 1.0, 1.0)
        program.row(working_now, 0.0, most)
    program.row([term for unit in units for term in unit.restrips], 0.0, restrips)
    if unlike is not None:
        _another_share(program, units, unlike, runs)
    if np.isfinite(at_least):
        counted = [(at, cost) for at, cost in enumerate(program.costs) if cost]
        program.row(counted, at_least - _GAP * max(1.0, abs(at_least)), np.inf)
    values = program.solved()
    if values is None:
        return None
    done = {
        (place, number): window
        for place, unit in enumerate(units)
        for (number, window), at in unit.done.items()
        if values[at] > _HALF
    }
    return tuple(unit.split(values) for unit in units), done


class _Unit:
    """The variables of one unit: runs on each set, the window of each restrip, who makes a run."""

    def __init__(
        self,
        program: Program,
        costs: Ways,
        open_for: Sequence[int],
        reach: tuple[int, int],
        held: Split | None,
    ) -> None:
        self.program, self.costs, self.open_for = program, costs, open_for
        self.most_runs, self.most = reach
        if held is not None:
            self.most = len(held) - 1
        self.held = held
        self.runs_on: dict[tuple[int, int, bool], int] = {}
        for number in range(self.most + 1):
            self._choices(number)
        self.done = {
            (number, window): program.column()
            for number in range(1, self.most + 1)
            for window, most in enumerate(open_for)
            if most > 0
        }
        self.makes = {
            (number, run): program.column(whole=False)
            for number in range(self.most + 1)
            for run in range(len(open_for))
        }

    def _choices(self, number: int) -> None:
        costs, new = self.costs, number > 0
        spent, left = (costs.new, costs.new_left) if new else (costs.old, costs.old_left)
        for runs in range(int(new), min(spent.size, self.most_runs + 1)):
            for last in (False, True):
                if not self._asked(number, runs, last=last):
                    continue
                cost = float(spent[runs] + (left[runs] - costs.at_start if last else 0.0))
                self.runs_on[number, runs, last] = self.program.column(cost)

    def _asked(self, number: int, runs: int, *, last: bool) -> bool:
        if self.held is not None:
            return self.held[number] == runs and last == (number == self.most)
        return last or number < self.most

    def _on(self, number: int, *, last: bool | None = None) -> list[tuple[int, int]]:
        """Return the variables of one set, with their runs."""
        return [
            (at, runs)
            for (each, runs, ends), at in self.runs_on.items()
            if each == number and last in {None, ends}
        ]

    @property
    def restrips(self) -> list[tuple[int, float]]:
        """Terms that add up to the restrips."""
        return [(at, 1.0) for (number, _, _), at in self.runs_on.items() if number]

    @property
    def runs(self) -> list[tuple[int, float]]:
        """Terms that add up to the runs."""
        return [(at, float(runs)) for (_, runs, _), at in self.runs_on.items()]

    def join(
        self, making: list[list[tuple[int, float]]], working: list[list[tuple[int, float]]]
    ) -> None:
        """Write the rows of this unit, and add its terms to those of each run and window."""
        program = self.program
        program.row([(at, 1.0) for at, _ in self._on(0)], 1.0, 1.0)
        for number in range(self.most):
            on = [(at, 1.0) for at, _ in self._on(number, last=False)]
            after = [(at, -1.0) for at, _ in self._on(number + 1)]
            program.row([*on, *after], 0.0, 0.0)
        for number in range(self.most + 1):
            made = [(self.makes[number, run], 1.0) for run in range(len(self.open_for))]
            planned = [(at, -float(runs)) for at, runs in self._on(number)]
            program.row([*made, *planned], 0.0, 0.0)
            if number:
                done = [(at, 1.0) for (each, _), at in self.done.items() if each == number]
                fitted = [(at, -1.0) for at, _ in self._on(number)]
                program.row([*done, *fitted], 0.0, 0.0)
            for run in range(len(self.open_for)):
                self._in_between(number, run)
        for (_, run), at in self.makes.items():
            making[run].append((at, 1.0))
        for (_, window), at in self.done.items():
            working[window].append((at, 1.0))

    def _in_between(self, number: int, run: int) -> None:
        """Let a set make a run only once it is fitted and until the next one is."""
        makes = (self.makes[number, run], 1.0)
        if number:
            self.program.row([makes, *self._by(number, run, -1.0)], -np.inf, 0.0)
        after = self._by(number + 1, run, 1.0)
        if after:
            self.program.row([makes, *after], -np.inf, 1.0)

    def _by(self, number: int, run: int, sign: float) -> list[tuple[int, float]]:
        return [
            (at, sign)
            for (each, window), at in self.done.items()
            if each == number and window <= run
        ]

    def split(self, values: FloatArray) -> Split:
        """Return the split chosen."""
        taken = sorted(key for key, at in self.runs_on.items() if values[at] > _HALF)
        return tuple(runs for _, runs, _ in taken)


def _another_share(program: Program, units: Sequence[_Unit], unlike: Shares, runs: int) -> None:
    """Want runs or restrips of some unit to differ from `unlike`.

    Runs add up, so where they differ some unit makes more of them. One of three switches a unit
    is on: more runs, more restrips, fewer restrips.
    """
    switches = []
    for unit, (made, fitted) in zip(units, unlike, strict=True):
        more, fit, less = (program.column() for _ in range(3))
        program.row([*unit.runs, (more, -(made + 1.0))], 0.0, np.inf)
        program.row([*unit.restrips, (fit, -(fitted + 1.0))], 0.0, np.inf)
        program.row([*unit.restrips, (less, runs - fitted + 1.0)], -np.inf, float(runs))
        switches += [more, fit, less]
    program.row([(at, 1.0) for at in switches], 1.0, np.inf)

"""In which order the runs of a meet are made, once each set of strips has its number of runs."""

from collections.abc import Sequence
from dataclasses import dataclass

from wearstats.plans.meet_solve import Windows
from wearstats.plans.meet_ways import Split


@dataclass(frozen=True, slots=True)
class Turn:
    """One run: which unit makes it on which of its sets of strips."""

    unit: int
    number: int


@dataclass(slots=True)
class _Job:
    turn: Turn
    left: int
    first: int
    last: int
    """Runs it still has to make, and the first and last run of the meet it may make."""


def in_order(splits: Sequence[Split], done: Windows | None, runs: int) -> tuple[Turn, ...]:
    """Return who makes each run: a unit stays on as long as no other set would come too late.

    Parameters
    ----------
    splits : sequence of Split
        One a unit.
    done : Windows or None
        When each restrip is done; None: right before its first run.
    runs : int
    """
    if done is None:
        units = sorted(range(len(splits)), key=lambda unit: (len(splits[unit]), unit))
        return tuple(
            Turn(unit, number)
            for unit in units
            for number, made in enumerate(splits[unit])
            for _ in range(made)
        )
    jobs = [
        _Job(
            Turn(unit, number),
            made,
            done.get((unit, number), 0),
            done.get((unit, number + 1), runs) - 1,
        )
        for unit, split in enumerate(splits)
        for number, made in enumerate(split)
    ]
    order: list[Turn] = []
    for run in range(runs):
        ready = [job for job in jobs if job.left > 0 and job.first <= run]
        urgent = min(ready, key=lambda job: (job.last, job.turn.unit))
        staying = [job for job in ready if order and job.turn.unit == order[-1].unit]
        chosen = next((job for job in staying if _in_time(jobs, job, run)), urgent)
        chosen.left -= 1
        order.append(chosen.turn)
    return tuple(order)


def _in_time(jobs: Sequence[_Job], chosen: _Job, run: int) -> bool:
    """Say whether every set still makes its runs in time if this one makes this run."""
    left = [job.left - (job is chosen) for job in jobs]
    for now in range(run + 1, run + sum(left) + 1):
        ready = [at for at, job in enumerate(jobs) if left[at] > 0 and job.first <= now]
        if not ready:
            return False
        at = min(ready, key=lambda place: jobs[place].last)
        if jobs[at].last < now:
            return False
        left[at] -= 1
    return True

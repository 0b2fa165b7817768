"""Work spread over the cores of this machine or over a cluster; the answers are the same.

What is spread is a function of one item. Whatever is drawn at random is drawn beforehand, or from
a seed that belongs to the item; so neither where the work is done nor in which order changes an
answer.
"""

import logging
import os
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, TypeVar, cast

from wearstats.errors import UsageError

if TYPE_CHECKING:
    from distributed import Client

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")

_CLUSTER: ContextVar["Client | None"] = ContextVar("cluster", default=None)

PROCESSES_VARIABLE = "WEARSTATS_PROCESSES"
"""How many processes may be used, where not as many as there are processors."""

_WAIT = 10
"""Seconds a cluster has to answer."""

_LIBRARIES = ("wearstats", "numpy", "scipy", "pandas")
"""Libraries whose versions decide what a figure comes to."""


def processors() -> int:
    """Return how many processors this process may use, or `WEARSTATS_PROCESSES` where set."""
    asked = os.environ.get(PROCESSES_VARIABLE, "")
    if asked.isdecimal():
        return max(1, int(asked))
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on macOS and Windows
        return os.cpu_count() or 1


def spread(function: Callable[[_Item], _Result], items: Iterable[_Item]) -> Iterator[_Result]:
    """Yield what a function makes of each item, in the order of the items.

    In this process, item by item as they are asked for, unless `on_workers` or joblib's own
    `parallel_config` stands around it; then all items are handed out at the first one asked for.

    Parameters
    ----------
    function : callable
        Of one item; it and the items go to other processes, so they must be such as can be packed.
    items : iterable

    Examples
    --------
    >>> list(spread(abs, [-2, 1]))
    [2, 1]
    """
    client = _CLUSTER.get()
    if client is not None:
        yield from _on_cluster(client, function, list(items))
        return
    # Where joblib was never loaded nobody asked for workers, and loading it would cost a moment.
    if "joblib" not in sys.modules or _alone():
        yield from map(function, items)
        return
    from joblib import Parallel, delayed

    # No arrays mapped from files: those cannot be written to, and another machine has them not.
    jobs = Parallel(return_as="generator", max_nbytes=None)
    yield from jobs([delayed(_here)(function, item) for item in items])


@contextmanager
def on_workers(count: int = 1, *, cluster: str = "") -> Iterator[None]:
    """Let whatever is spread within the block use other processes.

    Parameters
    ----------
    count : int
        Processes on this machine; 1: this one alone.
    cluster : str
        Address of a Dask scheduler, for example tcp://tower:8786; its workers do the work, however
        many it has, and `count` says nothing.

    Raises
    ------
    UsageError
        No cluster answers there, the extra `wearstats[cluster]` is missing, or a worker was lost.

    Examples
    --------
    >>> with on_workers(1):
    ...     list(spread(abs, [-2, 1]))
    [2, 1]
    """
    if cluster:
        with _told_of_loss(), _client(cluster) as client:
            token = _CLUSTER.set(client)
            try:
                yield
            finally:
                _CLUSTER.reset(token)
    elif count > 1:
        # One thread of linear algebra each: our matrices are small.
        settings = {"backend": "loky", "n_jobs": count, "inner_max_num_threads": 1}
        with _told_of_loss(), _settings(**settings):
            yield
    else:
        yield


def _on_cluster(
    client: "Client", function: Callable[[_Item], _Result], items: list[_Item]
) -> Iterator[_Result]:
    """Hand the items to Dask ourselves.

    joblib 1.6 waits for ever where Dask gives up on a piece of work, as when its workers die of it.
    """
    shared = client.scatter(function, broadcast=True, hash=False)  # type: ignore[no-untyped-call]
    with warnings.catch_warnings():
        # Dask minds many megabytes of items; each has to travel once anyhow.
        warnings.simplefilter("ignore", UserWarning)
        jobs = client.map(_here, [shared] * len(items), items, pure=False)
    for job in jobs:
        yield job.result()


@contextmanager
def _settings(**named: object) -> Iterator[None]:
    from joblib import parallel_config

    with parallel_config(**named):
        yield


def _alone() -> bool:
    from joblib.parallel import get_active_backend

    backend, asked = get_active_backend()
    count: int = backend.default_n_jobs if asked is None else asked
    return count == 1


def _here(function: Callable[[_Item], _Result], item: _Item) -> _Result:
    """Do one item; what its work spreads in turn stays with the same worker."""
    with _settings(backend="sequential", n_jobs=1):
        return function(item)


@contextmanager
def _told_of_loss() -> Iterator[None]:
    try:
        yield
    except (BrokenProcessPool, CancelledError) as lost:
        message = "a worker was lost before its work was done: out of memory, or out of reach"
        raise UsageError(message, hint="Try again with fewer workers, or with none.") from lost


@contextmanager
def _client(address: str) -> Iterator["Client"]:
    try:
        from distributed import Client, KilledWorker
    except ImportError as missing:
        message = "a cluster needs Dask, which is not installed here"
        raise UsageError(message, hint='pip install "wearstats[cluster]"') from missing
    try:
        with warnings.catch_warnings():
            # Dask's word on versions that differ; ours is `_alike`.
            warnings.simplefilter("ignore")
            client = Client(address, timeout=_WAIT, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as silent:
        message = f"no Dask scheduler answers at {address}: {silent}"
        hint = "An address looks like tcp://tower:8786; start one with: dask scheduler"
        raise UsageError(message, hint=hint) from silent
    with _quiet("distributed.client"), client:
        _alike(client, address)
        try:
            yield client
        except KilledWorker as killed:
            raise BrokenProcessPool from killed


@contextmanager
def _quiet(name: str) -> Iterator[None]:
    """Keep a library from logging tracebacks of what is told in words here."""
    logger = logging.getLogger(name)
    level = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        logger.setLevel(level)


def _alike(client: "Client", address: str) -> None:
    """Refuse a cluster without workers, or one whose libraries could answer otherwise than ours."""
    # Called from outside Dask's own loop it waits for the answer.
    found = cast("dict[str, Any]", client.get_versions(packages=_LIBRARIES))
    if not found["workers"]:
        message = f"the cluster at {address} has no workers"
        raise UsageError(message, hint=f"Start some: dask worker {address}")
    ours = found["client"]["packages"]
    for name in ("python", *_LIBRARIES):
        there = {
            each["packages"].get(name) for each in (found["scheduler"], *found["workers"].values())
        }
        if there != {ours[name]}:
            said = " and ".join(sorted(each or "none" for each in there))
            message = f"the cluster at {address} has {name} {said}, here it is {ours[name]}"
            hint = "Scheduler and workers need the very versions that are installed here."
            raise UsageError(message, hint=hint)

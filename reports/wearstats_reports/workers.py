"""Unit pages rendered by several processes at once: the same pages, sooner."""

import pickle
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from functools import lru_cache
from multiprocessing import get_context
from types import TracebackType
from typing import ParamSpec, Self, TypeVar

from wearstats.spread import processors
from wearstats_reports.render import unit_page
from wearstats_reports.report import SeasonReport

_Arguments = ParamSpec("_Arguments")
_Result = TypeVar("_Result")

_MOST = 8
"""Unasked, no more than this: more wait for one another's memory."""


class PageWorkers:
    """Processes that render pages beside this one.

    They are started where the block begins, so that they load the drawing library while this
    process still fits. Where none can be started, or one is lost, this process does the work.
    A script that uses them needs the usual `if __name__ == "__main__":` around its own work, as
    every process loads the script anew.

    Parameters
    ----------
    processes : int or None
        In all, this one counted; None for as many as there are processors.

    Examples
    --------
    >>> with PageWorkers(1) as workers:  # this process alone
    ...     workers.processes
    1
    """

    def __init__(self, processes: int | None = None) -> None:
        self.processes = max(1, min(_MOST, processors()) if processes is None else processes)
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Self:
        if self.processes > 1:
            try:
                # Spawned, not forked: threads of the libraries may hold locks.
                self._pool = ProcessPoolExecutor(self.processes - 1, get_context("spawn"))
                for _ in range(self.processes - 1):
                    self._pool.submit(_load)
            except (OSError, ImportError):  # systems without shared semaphores
                self._pool = None
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def begin(
        self,
        work: Callable[_Arguments, _Result],
        *words: _Arguments.args,
        **named: _Arguments.kwargs,
    ) -> Callable[[], _Result]:
        """Begin work in another process; the call that comes back waits for what it comes to.

        What no process has begun by then, or has lost, is done in this one.
        """
        future = None
        if self._pool is not None:
            with suppress(BrokenProcessPool):
                future = self._pool.submit(work, *words, **named)

        def result() -> _Result:
            if future is not None and not future.cancel():
                with suppress(BrokenProcessPool):
                    return future.result()
            return work(*words, **named)

        return result

    def unit_pages(self, report: SeasonReport) -> list[str]:
        """Return the page of every unit, in the order of the report."""
        units = report.units
        given = self._hand_out(report)
        pages: dict[int, str] = {}
        # This process takes from the end what no other has begun.
        for number in reversed(range(len(units))):
            if number >= len(given) or given[number].cancel():
                pages[number] = unit_page(report, units[number])
        for number, future in enumerate(given):
            if number not in pages:
                pages[number] = _result(future) or unit_page(report, units[number])
        return [pages[number] for number in range(len(units))]

    def _hand_out(self, report: SeasonReport) -> "Sequence[Future[str]]":
        if self._pool is None or len(report.units) <= 1:
            return ()
        packed = pickle.dumps(report)
        try:
            return [self._pool.submit(_page, packed, n) for n in range(len(report.units))]
        except BrokenProcessPool:
            return ()


def _result(future: "Future[str]") -> str:
    """Return a page, or nothing where its process was lost."""
    try:
        return future.result()
    except BrokenProcessPool:
        return ""


def _load() -> None:
    """Do nothing: this module and the drawing library are loaded by now."""


@lru_cache(maxsize=1)
def _unpacked(packed: bytes) -> SeasonReport:
    # Made by our own process a moment ago.
    report: SeasonReport = pickle.loads(packed)  # noqa: S301
    return report


def _page(packed: bytes, number: int) -> str:
    report = _unpacked(packed)
    return unit_page(report, report.units[number])

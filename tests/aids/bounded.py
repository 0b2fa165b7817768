"""A case that is given so long, and that says its number when it fails."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def bounded(number: int, most_seconds: float) -> Iterator[None]:
    """Let a case take no longer than this, and say which case it was that failed."""

    def late(_signal: int, _frame: FrameType | None) -> None:
        message = f"more than {most_seconds:g} s"
        raise AssertionError(message)

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, most_seconds)
    try:
        yield
    except Exception as error:
        message = f"case {number}: {type(error).__name__}: {error}"
        raise AssertionError(message) from error
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)

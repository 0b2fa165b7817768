"""One tree of errors. Each carries data as well as a sentence, so that a caller may go on."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wearstats.records.findings import Finding


class WearstatsError(Exception):
    """Root of every error this package raises on purpose.

    Attributes
    ----------
    exit_code : int
        What the command line returns: 1 the data cannot answer, 2 wrong usage,
        3 rows were set aside.
    hint : str
        What to do next, or empty.
    """

    exit_code = 1

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.hint = hint

    def __reduce__(self) -> tuple[object, ...]:
        """Pack the error for another process: named arguments and all."""
        return _unpacked, (type(self), self.args, self.__dict__)


def _unpacked(
    kind: type[WearstatsError], words: tuple[object, ...], data: dict[str, object]
) -> WearstatsError:
    error = kind.__new__(kind, *words)
    error.__dict__.update(data)
    return error


class UsageError(WearstatsError):
    """The caller asked for something that does not exist or cannot be combined."""

    exit_code = 2


class RecordError(WearstatsError):
    """A file or sheet could not be read at all.

    Attributes
    ----------
    findings : tuple of Finding
        What is wrong, with file, sheet, row, column, value and what was expected.
    """

    exit_code = 2

    def __init__(self, message: str, *, findings: Sequence["Finding"] = (), hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.findings = tuple(findings)


class BookError(WearstatsError):
    """The book cannot be opened, is damaged, or is in use."""

    exit_code = 2


class ObservationError(WearstatsError):
    """Records do not make a usable set of lives, readings or boost rows."""


class FitError(WearstatsError):
    """A model could not be fitted; the message says why in plain words."""


class TooFewError(FitError):
    """Fewer lives, failures or readings than the model needs.

    Attributes
    ----------
    have, need : int
    """

    def __init__(self, message: str, *, have: int, need: int, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.have = have
        self.need = need


class NotIdentifiedError(FitError):
    """The likelihood has no finite maximum.

    Attributes
    ----------
    direction : str
        Where the likelihood keeps rising, in words (for example "shape grows without bound").
    """

    def __init__(self, message: str, *, direction: str, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.direction = direction


class NotConvergedError(FitError):
    """The optimiser did not reach a maximum.

    Attributes
    ----------
    last : tuple of float
        The last point it visited.
    """

    def __init__(self, message: str, *, last: Sequence[float], hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.last = tuple(float(value) for value in last)


class PlanError(WearstatsError):
    """No plan satisfies what was asked; the message names the limit that binds."""

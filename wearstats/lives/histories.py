"""Lives with what was known of each stretch of them: what a regression sees."""

from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import ObservationError
from wearstats.lives.observations import Observations


@dataclass(frozen=True, slots=True)
class Indicator:
    """A covariate that is 1 where a column of words says `word`, told against `base`."""

    column: str
    word: str
    base: str

    @property
    def title(self) -> str:
        """The covariate's name."""
        return f"{self.column} {self.word} against {self.base}"


@dataclass(frozen=True, slots=True, eq=False)
class Histories:
    """Lives cut into stretches over which their covariates stay as they are.

    Parameters
    ----------
    observations : Observations
        n lives.
    units : tuple of str, length n
        What lives share a frailty, or a cluster.
    names : tuple of str, length p
        Of the covariates.
    life : ndarray of int, shape (s,)
        Which life a stretch belongs to; stretches stand in the order of lives and ages.
    start, stop : ndarray, shape (s,), runs
        Stretch (start, stop]. Those of a life adjoin from its entry to its upper end, or to
        its lower end where it has not failed; a life that says nothing has none.
    covariates : ndarray, shape (s, p)
    indicators : tuple of (Indicator or None), length p
        What a covariate of 0 and 1 stands for; None for a number. Left out: all are numbers.

    Raises
    ------
    ObservationError
        Shapes differ, a number is missing, or the stretches of a life leave a gap; the message
        names the first life at fault.
    """

    observations: Observations
    units: tuple[str, ...]
    names: tuple[str, ...]
    life: IntArray
    start: FloatArray
    stop: FloatArray
    covariates: FloatArray
    indicators: tuple[Indicator | None, ...] = ()

    def __post_init__(self) -> None:
        """Check that the stretches make up the lives."""
        lives, stretches = len(self.observations.labels), self.life.size
        if not self.indicators:
            object.__setattr__(self, "indicators", (None,) * len(self.names))
        shapes = {
            "units": (len(self.units), lives),
            "start": (self.start.shape, (stretches,)),
            "stop": (self.stop.shape, (stretches,)),
            "covariates": (self.covariates.shape, (stretches, len(self.names))),
            "indicators": (len(self.indicators), len(self.names)),
        }
        for name, (found, expected) in shapes.items():
            if found != expected:
                message = f"{name} has shape {found}, expected {expected}"
                raise ObservationError(message)
        if not np.isfinite(self.covariates).all():
            at, which = (int(part[0]) for part in np.nonzero(~np.isfinite(self.covariates)))
            self._refuse(int(self.life[at]), f"{self.names[which]} is missing or no number")
        self._check_stretches()

    def _check_stretches(self) -> None:
        seen = self.observations
        end = np.where(seen.failed, seen.upper, seen.lower)
        first = np.searchsorted(self.life, np.arange(end.size))
        after = np.searchsorted(self.life, np.arange(end.size), side="right")
        begins = np.zeros(self.life.size, dtype=np.bool_)
        begins[first[after > first]] = True
        before = np.where(begins, seen.entry[self.life], np.roll(self.stop, 1))
        broken = (np.diff(self.life, prepend=0) < 0) | (self.stop <= self.start)
        broken |= self.start != before
        if broken.any():
            self._refuse(int(self.life[np.argmax(broken)]), "its stretches leave a gap or overlap")
        last = np.where(after > first, self.stop[np.minimum(after, self.life.size) - 1], seen.entry)
        if (short := np.flatnonzero(last != end)).size:
            self._refuse(int(short[0]), "its stretches end elsewhere than the life")

    def _refuse(self, life: int, why: str) -> None:
        message = f"{self.observations.labels[life]}: {why}"
        raise ObservationError(message)

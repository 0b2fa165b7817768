"""The questions a regression answers, once for the likelihood and for Bayes' rule."""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.estimates import Estimate
from wearstats.life.distributions import Law, keeps_form, law_named
from wearstats.life.exposures import Exposures, Segments
from wearstats.life.frailties import Frailty
from wearstats.life.quantities import (
    Acceleration,
    Coordinate,
    LogHazard,
    LogLife,
    Quantity,
    steady,
)
from wearstats.life.results import HELD, certain, check_runs, check_share

if TYPE_CHECKING:
    from wearstats.lives.histories import Indicator

At = Mapping[str, float]
"""Covariates by name; one that is not named has its mean over the runs watched."""

NEW_UNIT = "of a unit not seen before"


@dataclass(frozen=True, slots=True)
class Factor:
    """What one covariate does to the hazard.

    Parameters
    ----------
    name : str
    log_hazard_ratio : Estimate
        Of one unit of the covariate.
    hazard_ratio : Estimate
    per_sd : Estimate
        Hazard ratio of one standard deviation.
    deviation : float
        Standard deviation over the runs watched.
    acceleration : Estimate or None
        Factor on life of one unit of the covariate held over a life; Weibull and exponential.
    indicator : Indicator or None
        What a covariate of 0 and 1 stands for; None for a number.
    """

    name: str
    log_hazard_ratio: Estimate
    hazard_ratio: Estimate
    per_sd: Estimate
    deviation: float
    acceleration: Estimate | None
    indicator: "Indicator | None" = None

    @property
    def step(self) -> float:
        """How much more of the covariate `ratio` is for."""
        return self.deviation if self.indicator is None else 1.0

    @property
    def ratio(self) -> Estimate:
        """The hazard ratio to show: of one standard deviation, or of the word indicated."""
        return self.per_sd if self.indicator is None else self.hazard_ratio


class Questions(ABC):
    """What can be asked of a fitted regression.

    Subclasses state `baseline`, `frailty`, `fixed_shape` and `exposures` and answer `ask`.
    """

    __slots__ = ()

    baseline: str
    frailty: str
    fixed_shape: float | None
    exposures: Exposures

    @abstractmethod
    def ask(
        self, quantity: Quantity, level: float, critical: float | None
    ) -> tuple[float, float | None, float | None]:
        """Return estimate and ends of a quantity, None where the data do not bound it."""

    @property
    @abstractmethod
    def effects(self) -> Frailty | None:
        """The unit effects that chances and lives are summed over."""

    @property
    def law(self) -> Law:
        """The law of the baseline."""
        return law_named(self.baseline, self.fixed_shape if self.baseline == "weibull" else None)

    def factors(
        self, level: float = 0.9, critical: float | Mapping[str, float] | None = None
    ) -> dict[str, Factor]:
        """Return what each covariate does to the hazard, by name.

        Parameters
        ----------
        level : float
        critical : float, mapping or None
            One for all, or by name; for a name that is not there, chi-square's.
        """

        def limit(name: str) -> float | None:
            return critical.get(name) if isinstance(critical, Mapping) else critical

        return {
            name: self._factor(place, level, limit(name))
            for place, name in enumerate(self.exposures.names)
        }

    def _factor(self, place: int, level: float, critical: float | None) -> Factor:
        lives = self.exposures
        spread = float(lives.spread[place])
        found = self.ask(Coordinate(2 + place), level, critical)
        faster: Estimate | None = None
        if keeps_form(self.law):
            life = self.ask(Acceleration(2 + place), level, critical)
            faster = _raised(life, 1 / spread, level)
        return Factor(
            name=lives.names[place],
            log_hazard_ratio=_times(found, 1 / spread, level),
            hazard_ratio=_raised(found, 1 / spread, level),
            per_sd=_raised(found, float(lives.deviation[place]) / spread, level),
            deviation=float(lives.deviation[place]),
            acceleration=faster,
            indicator=lives.indicators[place],
        )

    def parameters(self, level: float = 0.9, critical: float | None = None) -> dict[str, Estimate]:
        """Return the shape and the median life, in runs, at the mean covariates."""
        if self.fixed_shape is not None:
            shape = Estimate(self.fixed_shape, None, None, level, note=HELD)
        else:
            shape = _raised(self.ask(Coordinate(1), level, critical), 1.0, level)
        return {"shape": shape, "median": self.life_at(0.5, level=level, critical=critical)}

    def life_at(
        self,
        failed: float,
        at: At | None = None,
        level: float = 0.9,
        critical: float | None = None,
    ) -> Estimate:
        """Return the runs by which this share of strips has failed.

        Parameters
        ----------
        failed : float
        at : mapping or None
            Covariates, the same in every run; those not named have their mean.
        level : float
        critical : float or None
        """
        x = self._placed(at)
        quantity = LogLife(self.law, self.effects, x, check_share(failed))
        found = self.ask(quantity, level, critical)
        typical = self.exposures.typical_age
        ends = [None if end is None else float(np.exp(end)) * typical for end in found]
        return Estimate(ends[0], ends[1], ends[2], level, "runs", self._whose)

    def survival(
        self,
        runs: float,
        at: At | None = None,
        level: float = 0.9,
        critical: float | None = None,
    ) -> Estimate:
        """Return the chance that new strips last this many runs at fixed covariates."""
        return self.chance(0.0, runs, at, level, critical)

    def chance(
        self,
        age: float,
        more: float,
        at: At | None = None,
        level: float = 0.9,
        critical: float | None = None,
    ) -> Estimate:
        """Return the chance that strips sound at this age last `more` runs."""
        if check_runs(more) == 0:
            return certain(level)
        return self._lasting(age, [more], self._placed(at)[None, :], level, critical)

    def chance_along(
        self,
        age: float,
        coming: Sequence[At],
        runs: Sequence[float] | None = None,
        level: float = 0.9,
        critical: float | None = None,
    ) -> Estimate:
        """Return the chance that strips sound at this age last the coming runs.

        Parameters
        ----------
        age : float
        coming : sequence of mapping
            Covariates of each coming run.
        runs : sequence of float or None
            How much each counts (its load); None counts each as 1.
        level : float
        critical : float or None
        """
        steps = [1.0] * len(coming) if runs is None else [check_runs(one) for one in runs]
        if len(steps) != len(coming):
            message = f"{len(coming)} coming runs but {len(steps)} loads"
            raise UsageError(message)
        kept = [place for place, step in enumerate(steps) if step > 0]
        if not kept:
            return certain(level)
        rows = np.array([self._placed(coming[place]) for place in kept])
        return self._lasting(age, [steps[place] for place in kept], rows, level, critical)

    def _lasting(
        self,
        age: float,
        steps: Sequence[float],
        rows: FloatArray,
        level: float,
        critical: float | None,
    ) -> Estimate:
        edges = check_runs(age) + np.concatenate([[0.0], np.cumsum(steps)])
        past = self._stretch(np.array([0.0, age] if age > 0 else []), rows[0])
        quantity = LogHazard(self.law, self.effects, past, self._stretch(edges, rows))
        found = self.ask(quantity, level, critical)
        # The chance falls as the hazard grows.
        value, high, low = (
            None if part is None else float(np.exp(-np.exp(min(part, 700.0)))) for part in found
        )
        return Estimate(value, low, high, level, note=self._whose)

    def _stretch(self, edges: FloatArray, rows: FloatArray) -> Segments:
        logs = self.exposures.log_age(edges)
        return steady(logs[:-1], logs[1:], rows)

    @property
    def _whose(self) -> str:
        return "" if self.effects is None else NEW_UNIT

    def _placed(self, at: At | None) -> FloatArray:
        """Return standardised covariates, shape (p,)."""
        lives = self.exposures
        given = {} if at is None else dict(at)
        if unknown := sorted({*given} - {*lives.names}):
            message = f"no covariate {unknown[0]!r} in this fit; there is {', '.join(lives.names)}"
            raise UsageError(message)
        values = np.array(
            [given.get(name, mean) for name, mean in zip(lives.names, lives.mean, strict=True)]
        )
        if not np.isfinite(values).all():
            name = lives.names[int(np.argmin(np.isfinite(values)))]
            message = f"{name} must be a number, not {given[name]}"
            raise UsageError(message)
        return lives.standardised(values)


def _times(
    found: tuple[float, float | None, float | None], factor: float, level: float
) -> Estimate:
    value, low, high = (None if part is None else part * factor for part in found)
    return Estimate(value, low, high, level)


def _raised(
    found: tuple[float, float | None, float | None], factor: float, level: float
) -> Estimate:
    """Turn a log into its ratio; an end that is no float is no end."""
    with np.errstate(over="ignore"):
        value, low, high = (
            None if part is None else float(np.exp(part * factor)) for part in found
        )
    return Estimate(value, low or None, high, level)

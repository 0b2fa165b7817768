"""Meet by meet: refit on what was known that morning, say what would have been said."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from wearstats.errors import FitError, ObservationError, TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior, Prior, posterior
from wearstats.lives import Observations, StripLives, lives_of
from wearstats.lookback.boosts import MeetBoosts, meet_boosts
from wearstats.lookback.calibration import CountForecast
from wearstats.lookback.forecasts import (
    Rule,
    curve_chances,
    model_chances,
    rule_chances,
    rule_of,
)
from wearstats.lookback.meets import Meet, known_before, meets_of
from wearstats.lookback.savings import planned_runs
from wearstats.lookback.strips import LivesByRun, NoStart, Start, starts_of
from wearstats.plans.draws import checked_share
from wearstats.plans.in_use import FAILED, InUse
from wearstats.records.costs import Costs
from wearstats.records.season import Season
from wearstats.spread import spread


@dataclass(frozen=True, slots=True)
class Forecast:
    """What would have been said of one unit's strips on the morning of a meet.

    Attributes
    ----------
    start : Start
    chance : Estimate
        Of strips burned through by the end of the unit's runs at the meet, given that they were
        sound at the last look.
    by_rule, by_curve : float or None
        The same from the shop's rule and from the fleet's curve; None where these are silent.
    """

    start: Start
    chance: Estimate
    by_rule: float | None
    by_curve: float | None


@dataclass(frozen=True, slots=True)
class MeetForecast:
    """Everything said on the morning of one meet.

    Attributes
    ----------
    meet : Meet
    forecasts : tuple of Forecast
    without : tuple of NoStart
        Units at the meet of which nothing could be said, and why.
    count : CountForecast or None
        Burn-throughs expected among the units forecast.
    lives, failures : float
        Behind the fit.
    rule : Rule
        As it was known that morning.
    plan_runs : mapping of str to float
        Runs after which the plan restripped each unit, infinite: never. Empty without costs or
        fit.
    boosts : MeetBoosts or None
        None unless asked for.
    """

    meet: Meet
    forecasts: tuple[Forecast, ...]
    without: tuple[NoStart, ...]
    count: CountForecast | None
    lives: float
    failures: float
    rule: Rule
    plan_runs: Mapping[str, float]
    boosts: MeetBoosts | None = None


@dataclass(frozen=True, slots=True)
class _Morning:
    """What is known on the morning of a meet."""

    meet: Meet
    known: StripLives
    starts: list[Start]
    without: list[NoStart]
    boosts: MeetBoosts | None


@dataclass(frozen=True, slots=True)
class LookBack:
    """How to look back.

    Parameters
    ----------
    level : float
        Nominal coverage of every interval.
    rule_runs : float, optional
        Runs after which the shop restrips by its own rule; else the median age at the planned
        restrips known on the morning of each meet.
    costs : Costs, optional
        To plan with; None leaves the plan out.
    curve : bool
        Whether to ask the fleet's curve as well.
    prior : Prior, optional
        What is believed before the first record; None as in every plan.
    boost : bool
        Whether to forecast each unit's boost as well.
    """

    level: float = 0.9
    rule_runs: float | None = None
    costs: Costs | None = None
    curve: bool = True
    prior: Prior | None = None
    boost: bool = False

    def __post_init__(self) -> None:
        """Refuse settings that make no sense."""
        checked_share(self.level, "the level")
        if self.rule_runs is not None and not self.rule_runs > 0:
            message = f"the shop's rule must be a number of runs above 0, not {self.rule_runs:g}"
            raise UsageError(message)

    def forecasts(self, season: Season) -> Iterator[MeetForecast]:
        """Yield what would have been said at each meet.

        Rows dated on a meet's first day or later have no say in its forecasts, but for which
        units run at it, how often, at what load and on which strips: that is the plan.
        """
        mornings = spread(partial(self._morning, season), enumerate(meets_of(season.runs)))
        return spread(self._said, _with_earlier(mornings))

    def _morning(self, season: Season, meet: tuple[int, Meet]) -> _Morning:
        number, at = meet
        known = lives_of(known_before(season, at.first))
        starts, without = starts_of(season, at, number, known)
        boosts = None
        if self.boost:
            boosts = meet_boosts(season, at, known, starts, self.level)
            boosts = replace(boosts, without=(*boosts.without, *without))
        return _Morning(at, known, starts, without, boosts)

    def _said(self, at: tuple[_Morning, tuple[Start, ...]]) -> MeetForecast:
        morning, earlier = at
        meet, known = morning.meet, morning.known
        starts, without = morning.starts, morning.without
        rule = rule_of(known, self.rule_runs)
        observations = known.observations(FAILED)
        life = fitted(observations, self.prior)
        failures = observations.failures
        if isinstance(life, str) or not starts:
            silent = [NoStart(start.meet, start.unit, str(life)) for start in starts]
            everyone, lives = (*without, *silent), observations.count
            return MeetForecast(meet, (), everyone, None, lives, failures, rule, {}, morning.boosts)
        in_use = InUse.planned(known, life)
        chances, count = model_chances(in_use, starts, self.level)
        by_rule = rule_chances(starts, rule, earlier, LivesByRun(known))
        silence: list[float | None] = [None] * len(starts)
        by_curve = curve_chances(starts, observations) if self.curve else silence
        return MeetForecast(
            meet,
            tuple(map(Forecast, starts, chances, by_rule, by_curve)),
            tuple(without),
            count,
            life.lives,
            failures,
            rule,
            self._plan(in_use, morning),
            morning.boosts,
        )

    def _plan(self, in_use: InUse, morning: _Morning) -> dict[str, float]:
        if self.costs is None:
            return {}
        units = {start.unit for start in morning.starts} | {no.unit for no in morning.without}
        return {unit: planned_runs(in_use.of_unit(unit), self.costs) for unit in sorted(units)}


def _with_earlier(
    mornings: Iterable[_Morning],
) -> Iterator[tuple[_Morning, tuple[Start, ...]]]:
    """Put the strips that went into earlier meets beside each morning."""
    earlier: tuple[Start, ...] = ()
    for morning in mornings:
        yield morning, earlier
        earlier += tuple(morning.starts)


def fitted(observations: Observations, prior: Prior | None = None) -> LifePosterior | str:
    """Return the fit that plans are made from, or why there is none."""
    try:
        return posterior(observations, prior=prior)
    except TooFewError:
        return "no strips had been seen to last or to fail yet"
    except (FitError, ObservationError) as error:
        return str(error)


def shared_out(life: LifePosterior, since: float, end: float, found: float) -> float:
    """Return the chance that strips burned by `end`, known sound at `since`, burned by `found`.

    Parameters
    ----------
    life : LifePosterior
        Of all records: what is known today.
    since, end, found : float, runs
        Rising; `found` may be infinite.
    """
    ages = np.array([since, end, end if np.isinf(found) else found])
    matrix, weights = life.survival_matrix(ages)
    top, middle, bottom = (weights @ matrix).tolist()
    bottom = 0.0 if np.isinf(found) else bottom
    return 0.5 if top <= bottom else min(max((top - middle) / (top - bottom), 0.0), 1.0)

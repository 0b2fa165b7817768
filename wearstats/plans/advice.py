"""From chances to one word of advice and the sentence that gives its reason."""

from dataclasses import dataclass
from enum import StrEnum

from wearstats.plans.chance import Chances
from wearstats.plans.restrip import RestripInterval
from wearstats.plans.words import (
    percent,
    percent_exactly,
    percent_with_interval,
    runs_in_words,
    stretch,
)


class Advice(StrEnum):
    """What the records speak for; never permission to run."""

    RUN = "run"
    LOOK = "look first"
    RESTRIP = "restrip"


@dataclass(frozen=True, slots=True)
class Case:
    """What is known of one unit whose strips have not been found failed.

    Parameters
    ----------
    age : float
        Load-weighted runs on the strips.
    last_look : float
        Age at which they were last known sound.
    ever_looked : bool
        False where that is only their age when fitted.
    hot : bool
        The last look found them hot.
    runs_ahead : int
    bound : float
        Least chance asked for.
    service_limit_runs : float or None
    interval : RestripInterval or None
        Only one that rests on costs counts here.
    """

    age: float
    last_look: float
    ever_looked: bool
    hot: bool
    runs_ahead: int
    bound: float
    service_limit_runs: float | None
    interval: RestripInterval | None


def advise(case: Case, chances: Chances) -> tuple[Advice, str]:
    """Return the advice and its reason, the first of these that holds.

    1. the runs ahead would pass the service limit: restrip;
    2. even if a look finds the strips sound, the chance is under the bound: restrip;
    3. the runs ahead go past every number of runs that costs nearly as little: restrip;
    4. the chance as known is under the bound: look first;
    5. else: run.
    """
    limit = over_service_limit(case)
    if limit is not None:
        return Advice.RESTRIP, limit
    ahead = runs_in_words(case.runs_ahead)
    as_known, if_sound = chances.ahead.estimate or 0.0, chances.ahead_if_sound.estimate or 0.0
    asked = percent_exactly(case.bound)
    if if_sound < case.bound:
        reason = (
            f"even if a look found them sound, the chance of lasting {ahead} more is "
            f"{percent_with_interval(chances.ahead_if_sound, case.bound)}, "
            f"under the {asked} asked for"
        )
        return Advice.RESTRIP, _sentence(reason, case)
    dear = _over_cheap(case)
    if dear is not None:
        return Advice.RESTRIP, _sentence(dear, case)
    if as_known < case.bound:
        reason = (
            f"{_since_look(case)}; a look would move the chance of lasting {ahead} more from "
            f"{percent(as_known, case.bound)} to {percent(if_sound)} or tell you to restrip"
        )
        return Advice.LOOK, _sentence(reason, case)
    reason = (
        f"the chance of lasting {ahead} more is {percent_with_interval(chances.ahead)}, "
        f"at or over the {asked} asked for"
    )
    return Advice.RUN, _sentence(reason, case)


def over_service_limit(case: Case) -> str | None:
    """Return the sentence saying that the runs ahead would pass the service limit, or None."""
    limit = case.service_limit_runs
    if limit is None or case.age + case.runs_ahead <= limit:
        return None
    if case.age >= limit:
        return f"The service limit of {runs_in_words(limit)} is reached at {_at(case)}."
    return (
        f"{runs_in_words(case.runs_ahead).capitalize()} more from {_at(case)} would pass the "
        f"service limit of {runs_in_words(limit)}."
    )


def _over_cheap(case: Case) -> str | None:
    interval = case.interval
    if interval is None or interval.basis != "cost" or interval.latest is None:
        return None
    if case.age + case.runs_ahead <= interval.latest:
        return None
    cheap = stretch(interval.near_best[-1][0], interval.latest)
    return (
        f"{runs_in_words(case.runs_ahead)} more would bring them to "
        f"{runs_in_words(case.age + case.runs_ahead)}, past the {cheap} that cost least"
    )


def _since_look(case: Case) -> str:
    if case.ever_looked:
        return f"nobody has looked for {runs_in_words(case.age - case.last_look)}"
    return f"nobody has looked since they were fitted, {runs_in_words(case.age)} ago"


def _at(case: Case) -> str:
    return runs_in_words(case.age)


def _sentence(reason: str, case: Case) -> str:
    hot = "; the last look found them hot, which these chances do not count" if case.hot else ""
    return f"{reason[0].upper()}{reason[1:]}{hot}."

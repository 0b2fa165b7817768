"""From chances to one word of advice and the sentence that gives its reason."""

from dataclasses import dataclass, field
from enum import StrEnum

from wearstats.arrays import FloatArray
from wearstats.estimates import Estimate
from wearstats.plans.chance import Chances
from wearstats.plans.draws import estimate_over
from wearstats.plans.words import (
    about_money,
    less_or_more,
    percent,
    percent_exactly,
    percent_with_interval,
    runs_in_words,
)

_NO_MONEY = 0.5
_UNLIKE = 1.5
"""A factor of so much, or its inverse, sets a unit apart where its interval agrees."""
ENOUGH_FAILURES = 3
EVEN = 0.5
"""With fewer burn-throughs than enough, records speak for runs whose chance is surely over even."""


class Advice(StrEnum):
    """What the records speak for; never permission to run."""

    RUN = "run"
    LOOK = "look first"
    RESTRIP = "restrip"


@dataclass(frozen=True, slots=True)
class Stakes:
    """What running on and restripping cost.

    Parameters
    ----------
    least_per_run : ndarray, shape (n,)
        Cost of a run under the best plan, by draw.
    burn_through : float
        What a burn-through costs beyond a planned restrip.
    lost_boost : tuple of float
        What lost boost costs in each of the runs ahead.
    currency : str
    """

    least_per_run: FloatArray = field(repr=False)
    burn_through: float
    lost_boost: tuple[float, ...]
    currency: str

    def gain(self, chances: Chances) -> Estimate:
        """Return what the runs ahead gain over new strips now, if these are sound now.

        Either way a restrip follows, now or at their end, so only the rest counts: what as many
        runs cost under the best plan, less what these cost.
        """
        ahead = chances.by_draw
        on = (1.0 - ahead.lasting) * self.burn_through + ahead.starting @ self.lost_boost
        gained = self.least_per_run * ahead.starting.sum(axis=1) - on
        level = chances.ahead_if_sound.level
        return estimate_over(gained, ahead.weights, level, unit=self.currency)

    def weighed(self, chances: Chances) -> "Weighed":
        """Return the gain, and what a look is worth before the runs ahead.

        A look that finds the strips failed saves a run on them, which would cost a burn-through;
        one that finds them sound lets them run on where they would have been renewed. What has
        already been lost is lost with or without it.
        """
        gain = self.gain(chances)
        sound, middle = _middle(chances.sound_now), _middle(gain)
        without = sound * middle - (1.0 - sound) * self.burn_through
        return Weighed(gain, sound * max(middle, 0.0) - max(without, 0.0))


@dataclass(frozen=True, slots=True)
class Weighed:
    """What running on is worth against restripping.

    Parameters
    ----------
    gain : Estimate
        What the runs ahead gain over new strips now, if these are sound; in the currency.
    value_of_look : float
        All that is unknown averaged over.
    """

    gain: Estimate
    value_of_look: float


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
        False where that is only their age when fitted, or when the unit joined.
    hot : str
        Empty, or where a look found them hot, what the records say of such strips.
    runs_ahead : int
    bound : float
        Least chance asked for.
    asks_for_chance : bool
        Whether the runs ahead must keep the bound; else only "still sound now" must, and the
        rest is weighed by cost.
    service_limit_runs : float or None
    cost_of_look : float or None
        None where nobody said: then a look is asked for where the chance of being sound now is
        under the bound.
    failures : int or None
        Burn-throughs the draws rest on, where that is known.
    factor : Estimate or None
        On the hazard of strips on this unit; None where units are not compared.
    """

    age: float
    last_look: float
    ever_looked: bool
    hot: str
    runs_ahead: int
    bound: float
    asks_for_chance: bool
    service_limit_runs: float | None
    cost_of_look: float | None = None
    failures: int | None = None
    factor: Estimate | None = None


def advise(case: Case, chances: Chances, weighed: Weighed | None) -> tuple[Advice, str]:
    """Return the advice and its reason, the first of these that holds; None weighs no cost.

    1. the runs ahead would pass the service limit: restrip;
    2. a chance is asked for, and even strips found sound would not keep it: restrip where new
       ones do clearly better, else look between the runs;
    3. the runs ahead, on strips found sound, cost more than as many runs under the best plan:
       restrip;
    4. the chance as known is under the bound (of lasting the runs ahead where a chance is asked
       for, of being sound now where cost is weighed), or a look is worth more than it costs
       where that is known: look first;
    5. fewer than three burn-throughs are on record and the interval of lasting the runs ahead
       reaches under even: look first;
    6. else: run.
    """
    limit = over_service_limit(case)
    if limit is not None:
        return Advice.RESTRIP, limit
    if case.asks_for_chance and _middle(chances.ahead_if_sound) < case.bound:
        advice, reason = _never_enough(case, chances)
        return advice, _sentence(reason, case)
    dear = _too_dear(case, weighed)
    if dear is not None:
        return Advice.RESTRIP, _sentence(dear, case)
    if case.asks_for_chance:
        advice, reason = _by_chance(case, chances)
    else:
        advice, reason = _by_cost(case, chances, weighed)
    if advice is Advice.RUN and _prior_speaks(case, chances):
        advice, reason = Advice.LOOK, _too_few(case, chances)
    return advice, _sentence(reason, case)


def _prior_speaks(case: Case, chances: Chances) -> bool:
    few = case.failures is not None and case.failures < ENOUGH_FAILURES
    return few and (chances.ahead.low or 0.0) < EVEN


def _too_few(case: Case, chances: Chances) -> str:
    seen = ("no burn-through", "one burn-through", "two burn-throughs")[case.failures or 0]
    more = runs_in_words(case.runs_ahead, more=True)
    return (
        f"with {seen} on record it is hardly known whether they last {more}: "
        f"{percent_with_interval(chances.ahead)}; look before and between the runs"
    )


def _never_enough(case: Case, chances: Chances) -> tuple[Advice, str]:
    ahead, asked = runs_in_words(case.runs_ahead, more=True), percent_exactly(case.bound)
    found = percent_with_interval(chances.ahead_if_sound, case.bound)
    new = percent(_middle(chances.ahead_if_new), case.bound)
    reason = f"even if a look found them sound, the chance of lasting {ahead} is {found}"
    if _middle(chances.ahead_if_new) >= case.bound:
        return Advice.RESTRIP, f"{reason}, under the {asked} asked for; with new strips {new}"
    short = f"{reason}; with new strips {new}, which is under the {asked} asked for as well"
    # New strips that are hardly better are no reason to fit them.
    if _middle(chances.ahead_if_sound) < case.bound * _middle(chances.ahead_if_new):
        return Advice.RESTRIP, short
    return Advice.LOOK, f"{short}: look between the runs, or plan fewer"


def _by_chance(case: Case, chances: Chances) -> tuple[Advice, str]:
    ahead = runs_in_words(case.runs_ahead, more=True)
    if _middle(chances.ahead) < case.bound:
        return Advice.LOOK, _what_a_look_does(case, chances, case.bound)
    return Advice.RUN, (
        f"the chance of lasting {ahead} is {percent_with_interval(chances.ahead)}, "
        f"at or over the {percent_exactly(case.bound)} asked for"
    )


def _by_cost(case: Case, chances: Chances, weighed: Weighed | None) -> tuple[Advice, str]:
    if _pays_to_look(case, chances, weighed):
        worth = ""
        if weighed is not None:
            value = about_money(weighed.value_of_look, weighed.gain.unit)
            worth = f"; it is worth up to {value}"
        return Advice.LOOK, _what_a_look_does(case, chances) + worth
    return Advice.RUN, _against_new(case, weighed)


def _pays_to_look(case: Case, chances: Chances, weighed: Weighed | None) -> bool:
    if weighed is None or case.cost_of_look is None:
        return _middle(chances.sound_now) < case.bound
    return weighed.value_of_look > case.cost_of_look


def _what_a_look_does(case: Case, chances: Chances, bound: float | None = None) -> str:
    more = runs_in_words(case.runs_ahead, more=True)
    return (
        f"{_since_look(case)}; a look would move the chance of lasting "
        f"{more} from {percent(_middle(chances.ahead), bound)} to "
        f"{percent(_middle(chances.ahead_if_sound))} or tell you to restrip"
    )


def _against_new(case: Case, weighed: Weighed | None) -> str:
    more = runs_in_words(case.runs_ahead, more=True)
    if weighed is None:
        return f"no cost speaks against {more}"
    gain = weighed.gain
    verb = "costs" if case.runs_ahead == 1 else "cost"
    between = less_or_more(gain)
    if abs(_middle(gain)) < _NO_MONEY:
        return f"{more} on these strips {verb} as much as on new ones ({between})"
    worth = about_money(abs(_middle(gain)), gain.unit)
    than = "more" if _middle(gain) < 0 else "less"
    return f"{more} on these strips {verb} {worth} {than} than on new ones ({between})"


def _middle(known: Estimate) -> float:
    return known.estimate or 0.0


def over_service_limit(case: Case) -> str | None:
    """Return the sentence saying that the runs ahead would pass the service limit, or None."""
    limit = case.service_limit_runs
    if limit is None or case.age + case.runs_ahead <= limit:
        return None
    if case.age == limit:
        return f"The service limit of {runs_in_words(limit)} is reached."
    if case.age > limit:
        made = runs_in_words(case.age)
        return f"The service limit of {runs_in_words(limit)} is passed: {made} are on these strips."
    more = runs_in_words(case.runs_ahead, more=True).capitalize()
    return (
        f"{more} after the {runs_in_words(case.age)} on these strips would pass the service limit "
        f"of {runs_in_words(limit)}."
    )


def _too_dear(case: Case, weighed: Weighed | None) -> str | None:
    if weighed is None or _middle(weighed.gain) >= 0:
        return None
    unseen = ", even if a look finds these sound" if case.age > case.last_look else ""
    return f"{_against_new(case, weighed)}{unseen}"


def _since_look(case: Case) -> str:
    if case.ever_looked:
        return f"nobody has looked for {runs_in_words(case.age - case.last_look)}"
    since = f"{runs_in_words(case.age - case.last_look)} ago"
    if case.last_look > 0:
        with_runs = f"with {runs_in_words(case.last_look)} on them"
        return f"nobody has looked since they came {with_runs}, {since}"
    return f"nobody has looked since they were fitted, {since}"


def _sentence(reason: str, case: Case) -> str:
    hot = f"; a look found them hot: {case.hot}" if case.hot else ""
    return f"{reason[0].upper()}{reason[1:]}{hot}{_unlike_others(case.factor)}."


def _unlike_others(factor: Estimate | None) -> str:
    """Return what sets a unit apart, as a clause; empty where the records do not tell it apart."""
    if factor is None or factor.estimate is None or factor.low is None or factor.high is None:
        return ""
    if factor.low < 1.0 < factor.high or 1.0 / _UNLIKE < factor.estimate < _UNLIKE:
        return ""
    return (
        f"; strips on this unit burn through {factor.estimate:.1f} times as readily as the "
        f"fleet's ({factor.low:.1f} to {factor.high:.1f})"
    )

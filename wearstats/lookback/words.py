"""What a lookback tells, in sentences."""

from wearstats.estimates import Estimate
from wearstats.lookback.boost_scores import LEAST_BOOSTS, BoostLookback
from wearstats.lookback.result import LEAST_BURNED, Comparison, Lookback, Total, told_by
from wearstats.numbers import chance, level, quantity
from wearstats.plans.advice import ENOUGH_FAILURES
from wearstats.shown import counted

_OTHERS = {"rule": "the shop's rule", "curve": "the fleet's curve"}


def verdict(answer: Lookback) -> str:
    """Return the one sentence that says whether the forecasts can be believed."""
    total = answer.total
    if total is None:
        return (
            "Nothing can be told yet: no meet has strip lives on record before it and runs to "
            "forecast in it."
        )
    burned = counted(total.burned, "burn-through")
    if not answer.tells:
        return (
            f"Nothing can be told yet: {counted(len(answer.scored), 'forecast')} met {burned}, "
            f"and it takes {LEAST_BURNED}."
        )
    return f"{_as_said(total)}{_beside(answer.comparisons)}."


def _as_said(total: Total) -> str:
    expected = f"{total.expected.estimate:.1f} expected"
    burned = f"{total.burned} found"
    if total.not_known:
        burned += f" and {total.not_known} not known"
    numbers = f"{expected}, {burned}"
    said = total.told
    if said == "as said":
        return f"About as many strips burned through as was said ({numbers})"
    if said == "more than said":
        return f"More strips burned through than was said ({numbers}): do not trust these chances"
    if said == "fewer than said":
        return f"Fewer strips burned through than was said ({numbers}): the chances look too dark"
    return f"Whether as many strips burned through as was said cannot be told ({numbers})"


def _beside(comparisons: tuple[Comparison, ...]) -> str:
    if not comparisons:
        return ""
    groups: dict[str, list[str]] = {}
    for each in comparisons:
        groups.setdefault(each.told, []).append(_OTHERS[each.other])
    words = {
        "better": "the forecasts were better than {}",
        "worse": "the forecasts were worse than {}",
        "cannot be told": "whether they beat {} cannot be told",
    }
    parts = [words[told].format(" and ".join(names)) for told, names in groups.items()]
    return "; " + ", ".join(parts)


def apart_sentence(answer: Lookback) -> str:
    """Return how many forecasts the table of chances leaves out, and why; empty where none."""
    if not answer.by_prior:
        return ""
    return (
        f"Left out of this table: {counted(answer.by_prior, 'forecast')} made with fewer than "
        f"{ENOUGH_FAILURES} burn-throughs on record; the prior had most of the say."
    )


def boost_sentence(answer: BoostLookback) -> str:
    """Say how far forecasts of boost can be believed."""
    count, scores = len(answer.scored), answer.scores
    if scores is None or not answer.tells:
        return (
            f"Whether boost came as said cannot be told: {counted(count, 'forecast')} could be "
            f"compared, and it takes {LEAST_BOOSTS}."
        )
    words = {
        "as said": "about as often as said",
        "too narrow": "less often than said, so do not trust them",
        "too wide": "more often than said, so they are wider than they need be",
    }
    beside = {"better": "better than", "worse": "worse than"}.get(
        told_by(scores.gain), "which cannot be told from"
    )
    return (
        f"Boost kept within its {level(answer.level)} intervals in {answer.held} of {count} "
        f"cases, {chance(scores.coverage)}: {words[answer.told]}. Forecasts were off by "
        f"{quantity(scores.absolute)} on "
        f"average, {beside} the unit's mean at its last meet, off by "
        f"{quantity(scores.absolute_as_last)}; mean error {quantity(scores.error)}."
    )


def savings_told(answer: Lookback) -> str:
    """Return `cheaper`, `dearer` or `cannot be told`: the plan against what was done."""
    if answer.savings is None:
        return "cannot be told"
    told = told_by(answer.savings.a_season)
    return {"better": "cheaper", "worse": "dearer"}.get(told, told)


def savings_sentence(answer: Lookback) -> str:
    """Say what following the plan would have saved, or that it cannot be told."""
    saved = answer.savings
    if saved is None:
        return f"Cannot be told: {answer.no_savings}."
    counts = (
        f"{saved.plan_planned:.0f} planned restrips and {saved.plan_burned:.0f} burn-throughs "
        f"instead of {saved.done_planned} and {saved.done_burned}, {saved.followed} of "
        f"{saved.units} units followed"
    )
    amount = f"following the plan would have {_saved(saved.a_season, saved.currency)}"
    if savings_told(answer) == "cannot be told":
        return f"Cannot be told: {amount}, which may be no difference ({counts})."
    return f"{amount[0].upper()}{amount[1:]} ({counts})."


def _saved(amount: Estimate, currency: str) -> str:
    middle, low, high = (value or 0.0 for value in (amount.estimate, amount.low, amount.high))
    money = f" {currency}" if currency else ""
    if middle >= 0:
        return f"saved {_grouped(middle)} ({_grouped(low)} to {_grouped(high)}){money} a season"
    middle, low, high = -middle, -high, -low
    return f"cost {_grouped(middle)} ({_grouped(low)} to {_grouped(high)}){money} more a season"


def _grouped(value: float) -> str:
    return f"{value:,.0f}".replace(",", "\u202f").replace("-", "\u2212")

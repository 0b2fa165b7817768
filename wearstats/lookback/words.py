"""What a lookback tells, in sentences."""

from wearstats.estimates import Estimate
from wearstats.lookback.result import LEAST_BURNED, Comparison, Lookback, Total, told_by

_OTHERS = {"rule": "the shop's rule", "curve": "the fleet's curve"}


def verdict(answer: Lookback) -> str:
    """Return the one sentence that says whether the forecasts can be believed."""
    total = answer.total
    if total is None:
        return (
            "Nothing can be told yet: no meet has strip lives on record before it and runs to "
            "forecast in it."
        )
    burned = _counted(total.burned, "burn-through")
    if not answer.tells:
        return (
            f"Nothing can be told yet: {_counted(len(answer.scored), 'forecast')} met {burned}, "
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
    amount = _money(saved.a_season, saved.currency)
    counts = (
        f"{saved.plan_planned:.0f} planned restrips and {saved.plan_burned:.0f} burn-throughs "
        f"instead of {saved.done_planned} and {saved.done_burned}"
    )
    told = savings_told(answer)
    if told == "cheaper":
        return f"Following the plan would have saved {amount} a season: {counts}."
    if told == "dearer":
        turned = Estimate(
            -(saved.a_season.estimate or 0.0),
            -(saved.a_season.high or 0.0),
            -(saved.a_season.low or 0.0),
            saved.a_season.level,
        )
        return (
            f"Following the plan would have cost {_money(turned, saved.currency)} more a season: "
            f"{counts}."
        )
    return (
        f"Cannot be told: following the plan would have saved {amount} a season, and that may be "
        f"nothing ({counts})."
    )


def _money(amount: Estimate, currency: str) -> str:
    middle, low, high = (_grouped(value) for value in (amount.estimate, amount.low, amount.high))
    return f"{middle} ({low} to {high}){' ' if currency else ''}{currency}"


def _grouped(value: float | None) -> str:
    return f"{value or 0.0:,.0f}".replace(",", "\u202f").replace("-", "\u2212")


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"

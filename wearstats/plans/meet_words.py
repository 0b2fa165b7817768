"""Which limit of a meet binds, and how the next-best plan differs, in sentences."""

from wearstats.plans.meet import Meet, MeetPlan
from wearstats.plans.words import money, percent_exactly, runs_in_words

_FREE = 0.005


def named(limit: str, meet: Meet, bound: float | None) -> str:
    """Return a limit as people say it."""
    if limit == "sets":
        return f"the stock of {_sets(meet.sets or 0)}"
    if limit == "hours":
        return f"the {meet.hours:g} hours of work"
    if limit == "bound":
        return f"the chance of {percent_exactly(bound or 0.0)} asked for"
    return {"windows": "the hours in the work windows", "service": "the service limit"}[limit]


def enough(limit: str, restrips: int, meet: Meet) -> str:
    """Return what would be enough, or nothing where it cannot be counted."""
    if limit == "sets":
        return f"{_sets(restrips).capitalize()} would do."
    if limit == "hours":
        return f"{restrips * meet.hours_per_restrip:g} hours would do."
    return ""


def _sets(count: int) -> str:
    return f"{count} strip set" if count == 1 else f"{count} strip sets"


def on_next_best(plan: MeetPlan) -> tuple[str, ...]:
    """Say what the next-best plan does otherwise and what it costs."""
    other = plan.next_best
    if other is None:
        return ("No other way to share out the runs fits the limits.",)
    ours, theirs = plan.shares, other.shares
    differ = [
        f"{name} {_share(theirs.get(name, (0, 0)))} instead of {_share(ours.get(name, (0, 0)))}"
        for name in sorted({*ours, *theirs})
        if ours.get(name) != theirs.get(name)
    ]
    said = f"Next best: {', '.join(differ)}"
    price = plan.price_of_next_best
    if price is None:
        more = (other.burn_throughs.estimate or 0.0) - (plan.burn_throughs.estimate or 0.0)
        return (f"{said}; {other.sets - plan.sets:+d} sets, {more:+.2f} burn-throughs expected.",)
    if price < _FREE * abs(plan.cost or 1.0):
        return (f"{said}; it costs the same to within {percent_exactly(_FREE)}.",)
    return (f"{said}; it costs {money(price, plan.currency)} more.",)


def _share(share: tuple[int, int]) -> str:
    runs, restrips = share
    fitted = "" if restrips == 0 else f" and {restrips} restrip{'s' if restrips > 1 else ''}"
    return f"{runs_in_words(runs)}{fitted}"

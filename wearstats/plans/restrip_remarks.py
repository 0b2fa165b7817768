"""The sentences that go with a restrip interval; no arithmetic beyond rounding."""

import math

from wearstats.estimates import Estimate
from wearstats.plans.advice import ENOUGH_FAILURES
from wearstats.plans.words import money_with_interval, percent_exactly, runs_in_words, stretch


def on_cost(
    best: int | None,
    near_best: tuple[tuple[int, int | None], ...],
    tolerance: float,
    at_best: Estimate,
    to_failure: Estimate,
) -> tuple[str, ...]:
    """Say which number of runs costs least, or that none does."""
    unplanned = f"{money_with_interval(to_failure)} a run"
    if best is None:
        never = (
            "Run to failure costs no more: no planned number of runs lowers the cost below "
            f"{unplanned}."
        )
        return (never,)
    nearly = " or ".join(stretch(low, high) for low, high in near_best)
    least = (
        f"Restripping after {runs_in_words(best)} costs least, "
        f"{money_with_interval(at_best)} a run; what costs within "
        f"{percent_exactly(tolerance)} of that: {nearly}."
    )
    if near_best[-1][1] is not None:
        return (least,)
    return (
        least,
        f"Run to failure costs hardly more, {unplanned}: money alone does not decide.",
    )


def on_bound(best: int | None, bound: float, *, capped: bool) -> str:
    """Say how long the chance of burn-through stays within what was asked for."""
    asked = percent_exactly(1 - bound)
    if best is None:
        return f"The chance of burn-through does not pass {asked} however long the strips run."
    if best == 0:
        return f"Not even the first run on new strips keeps the chance of burn-through at {asked}."
    upto = f"The chance of burn-through stays at or under {asked} up to {runs_in_words(best)}"
    return f"{upto}." if capped else f"{upto} and passes it with the next."


def on_limit(limit: float | None, wanted: float) -> tuple[str, ...]:
    """Say that a service limit holds the plan back, if it does."""
    if limit is None or wanted <= math.floor(limit):
        return ()
    free = f"{wanted:.0f} runs" if math.isfinite(wanted) else "no planned restrip at all"
    capped = (
        f"The service limit of {runs_in_words(limit)} caps this plan; the records alone would "
        f"say {free}."
    )
    return (capped,)


def on_reach(best: int | None, longest_seen: float | None) -> tuple[str, ...]:
    """Say that the answer lies beyond what the records have seen, if it does."""
    if longest_seen is None or (best is not None and best <= longest_seen):
        return ()
    beyond = (
        f"This lies beyond the oldest strips in the records ({runs_in_words(longest_seen)}): "
        "it rests on the fitted curve alone."
    )
    return (beyond,)


def on_failures(failures: int | None) -> tuple[str, ...]:
    """Say that hardly anything has failed yet, if that is so."""
    if failures is None or failures >= ENOUGH_FAILURES:
        return ()
    if failures == 0:
        return ("No burn-through is on record: this rests on the prior and on what has lasted.",)
    few = "One burn-through is" if failures == 1 else "Two burn-throughs are"
    return (f"{few} on record: the prior carries much of this.",)


UNCOUNTED_LOSS = (
    "Lost boost is not counted: how it grows with runs cannot be told from the records."
)
"""Where a lost psi has a price but no loss by run is known."""

"""`wearstats plan` in the terminal."""

from typing import TYPE_CHECKING

from wearstats.plans.settings import spoken
from wearstats.plans.words import money
from wearstats_cli import show, tables
from wearstats_reports import numbers
from wearstats_reports.cells import count

if TYPE_CHECKING:
    from wearstats.estimates import Estimate
    from wearstats.plans import MeetPlan, SetsNeeded, WhatIf
    from wearstats_cli.plan_asked import Plans
    from wearstats_reports.fits import Attempt

_CHANCES = (0.9, 0.95, 0.99)


def show_plans(plans: "Plans") -> None:
    """Print everything asked, and the cautions that belong to it."""
    fleet = plans.fleet
    show.banner(simulated=fleet.simulated)
    tables.fleet(fleet)
    show.bullets("When to restrip", fleet.restrip.remarks)
    _show_sets(plans.sets, plans.hours_per_restrip)
    if plans.meet is not None:
        _show_meet(plans.meet)
    if plans.what_if is not None:
        _show_what_if(plans.what_if)
    tables.cautions(fleet)


def _show_sets(sets: "SetsNeeded", hours: float | None) -> None:
    show.heading("Strip sets to carry")
    said = []
    for chance in _CHANCES:
        taken = "" if hours is None else numbers.number(sets.hours(chance, hours), "hours")
        work = f", {taken} hours of work" if taken else ""
        said.append(f"{numbers.percent(chance)}: {count(sets.enough(chance), 'set')}{work}")
    ahead = count(sets.runs_ahead, "run")
    show.line(f"Enough for {ahead} on each of {count(sets.units, 'unit')}, with a chance of")
    show.listed(said)


def _show_meet(attempt: "Attempt[MeetPlan]") -> None:
    show.heading("The meet ahead")
    plan = attempt.fit
    if plan is None:
        show.line(attempt.why_not)
        return
    show.table(
        ("run", "restrip before it", "unit", "age before", "strips last it"),
        [
            (
                step.run,
                ", ".join(step.restrips),
                step.unit,
                numbers.age(step.age_before),
                str(numbers.chance(step.lasts)),
            )
            for step in plan.steps
        ],
        right=("run", "age before"),
    )
    show.line("strips last it: chance, as known today, that they come through this run.")
    show.line(f"Expected: {_burn_throughs(plan.burn_throughs)}; {_work(plan)}.")
    if plan.cost is not None:
        worth = money(plan.value_of_strips or 0.0, plan.currency)
        show.line(
            f"Expected cost {money(plan.cost, plan.currency)}, of which {worth} is what the runs "
            "take out of the strips, less what new ones add."
        )
    for remark in plan.remarks:
        show.line(remark)


def _burn_throughs(estimate: "Estimate") -> str:
    return (
        f"{estimate.estimate:.1f} burn-throughs ({estimate.low:.1f} to {estimate.high:.1f}, "
        "at its widest)"
    )


def _work(plan: "MeetPlan") -> str:
    hours = f", {plan.hours:g} hours of work" if plan.hours else ""
    return f"{count(plan.sets, 'strip set')}{hours}"


def _show_what_if(attempt: "Attempt[WhatIf]") -> None:
    show.heading("What if")
    found = attempt.fit
    if found is None:
        show.line(f"It cannot be told: {attempt.why_not}")
        return
    asked = ", ".join(spoken(name, value) for name, value in found.asked.items())
    best = [
        "never" if each.interval.best is None else f"{each.interval.best} runs"
        for each in (found.now, found.then)
    ]
    rows: list[tuple[str, str, str]] = [
        ("half burned through by", _said(found.now.life), _said(found.then.life)),
        (
            f"new strips last {count(found.runs_ahead, 'run')}",
            str(numbers.chance(found.now.lasting)),
            str(numbers.chance(found.then.lasting)),
        ),
    ]
    if found.now.lost is not None:
        after = count(found.runs_ahead, "run")
        lost = "not known" if found.then.lost is None else _said(found.then.lost)
        rows.append((f"boost lost after {after}", _said(found.now.lost), lost))
    rows.append(("restrip after", best[0], best[1]))
    now, then = found.now.interval.cost_per_run, found.then.interval.cost_per_run
    if now is not None and then is not None:
        rows.append(("cost a run", _said(now), _said(then)))
    show.table(("", "as recorded", asked), rows)
    show.line(
        f"With {asked}, life changes by a factor of {show.bare(found.life_ratio)}. From "
        f"{count(int(found.lives), 'life', 'lives')}, {found.failures:g} burned through; "
        f"{found.left_out} left out for want of the column."
    )
    show.listed(found.remarks)


def _said(estimate: "Estimate") -> str:
    return str(numbers.quantity(estimate))

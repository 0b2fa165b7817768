"""`wearstats lookback`: how past forecasts came out."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.lookback import BoostLookback, BoostMeet, Comparison, Lookback, MeetScore


NAMES = {"rule": "shop's rule", "curve": "fleet's curve"}
"""What the forecasts are compared with."""


@click.command(
    "lookback",
    epilog="Example: wearstats lookback shop.book --rule 10",
)
@options.book_argument
@click.option(
    "--rule",
    type=click.FloatRange(0.5, 200),
    help="Your own rule, to compare with: restrip after so many runs. Left out, it is the median "
    "age at the planned restrips on record.",
)
@options.costs
@options.level
@options.seed
@options.workers
@options.as_json
def command(
    *,
    book: str,
    rule: float | None,
    costs: Path | None,
    level: float,
    seed: int,
    workers: int,
    cluster: str,
    as_json: bool,
) -> int:
    """Say of each past meet in BOOK what was to be said that morning, and how it came out.

    Burn-throughs, and where boost was logged each unit's boost. Every forecast rests on the
    records dated before its meet and on nothing later. Exit code 1 where too few strips burned
    through to tell anything.
    """
    from wearstats.lookback import look_back
    from wearstats.records.costs import read_costs
    from wearstats.spread import on_workers
    from wearstats_cli import reading, show

    season = reading.season_of(book)
    money = read_costs(costs) if costs is not None else None
    with show.working("Looking back"), on_workers(workers, cluster=cluster):
        answer = look_back(
            season,
            level=level,
            rule_runs=rule,
            costs=money,
            seed=seed,
            boost=bool(season.runs["boost_psi"].notna().any()),
        )
    if as_json:
        show.as_json("lookback", answer.as_dict())
    else:
        show.banner(simulated=season.simulated)
        _show(answer)
    return 0 if answer.tells else 1


def _show(answer: "Lookback") -> None:
    from wearstats.lookback import savings_sentence, verdict
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    show.line(verdict(answer))
    show.line(f"Intervals {numbers.level(answer.level)}.")
    if any(meet.said.forecasts for meet in answer.meets):
        _show_meets(answer)
        _show_calibration(answer)
        _show_comparisons(answer)
    if answer.boost is not None:
        _show_boost(answer.boost)
    show.bullets("Had the plan been followed", [savings_sentence(answer)])
    unknown, without = answer.not_known(), answer.without()
    show.bullets(
        f"Outcomes not known: {sum(unknown.values())} of {len(answer.scored)}", _counted(unknown)
    )
    show.bullets(f"No forecast: {count(sum(without.values()), 'case')}", _counted(without))


def _show_meets(answer: "Lookback") -> None:
    from wearstats_cli import show

    show.heading("Burn-throughs by meet, as said that morning and as they came")
    show.table(
        ("meet", "from", "past", "units", "said", "burned", "held"),
        [_meet_row(meet) for meet in answer.meets if meet.said.forecasts],
        right=("past", "units"),
    )
    show.line(
        "past: burn-throughs on record that morning (while few, the prior has most of the say); "
        "said: mean and interval of the number of units whose strips burn through; burned: as far "
        "as is known; held: it came within the interval."
    )


def _meet_row(meet: "MeetScore") -> tuple[str, ...]:
    said = meet.said
    held = {True: "yes", False: "no", None: "not known"}[meet.held]
    return (
        said.meet.name or "no name",
        f"{said.meet.first:%Y-%m-%d}",
        f"{said.failures:g}",
        str(len(said.forecasts)),
        _number(meet),
        f"{meet.burned} to {meet.burned + meet.not_known}" if meet.not_known else f"{meet.burned}",
        held,
    )


def _number(meet: "MeetScore") -> str:
    if meet.said.count is None:
        return ""
    count = meet.said.count.count
    return f"{count.estimate:.1f} ({count.low:.0f} to {count.high:.0f})"


def _show_calibration(answer: "Lookback") -> None:
    from wearstats.lookback import apart_sentence
    from wearstats_cli import show
    from wearstats_reports import numbers

    show.heading("Chances said, and how often they came true")
    show.table(
        ("chance", "forecasts", "said", "burned", "not known", "came true"),
        [
            (
                f"{100 * row.low:.0f} to {100 * row.high:.0f}{numbers.PERCENT}",
                str(row.forecasts),
                numbers.percent(row.said),
                str(row.burned),
                str(row.not_known or ""),
                str(numbers.chance(row.happened)),
            )
            for row in answer.calibration
        ],
        right=("chance", "forecasts", "said", "burned", "not known"),
    )
    show.line(
        "came true: outcomes not known are shared out by what all records say today; the "
        "interval holds whatever they were."
    )
    apart = apart_sentence(answer)
    if apart:
        show.line(apart)


def _show_comparisons(answer: "Lookback") -> None:
    from wearstats_cli import show

    scores = answer.scores
    if scores is None:
        return
    show.heading("Scores, 0 is best")
    own = ("forecasts", str(len(answer.scored)), scores.brier, scores.log_score)
    others = [
        (NAMES[each.other], str(each.forecasts), each.brier, each.log_score)
        for each in answer.comparisons
    ]
    show.table(
        ("", "cases", "Brier score", "log score"),
        [
            (name, cases, show.bare(brier), show.bare(log))
            for name, cases, brier, log in (own, *others)
        ],
        right=("cases",),
    )
    for each in answer.comparisons:
        show.line(_comparison_sentence(each))
    if answer.not_known():
        low, high = scores.brier_bounds
        show.line(
            "Whatever the outcomes not known were, the Brier score of the forecasts lies between "
            f"{low:.2f} and {high:.2f}."
        )
    rule = _rule_sentence(answer)
    if rule:
        show.line(rule)


def _comparison_sentence(each: "Comparison") -> str:
    from wearstats_cli import show

    told = {"better": "the forecasts are better", "worse": "the forecasts are worse"}
    words = told.get(each.told, "which of them is better cannot be told")
    return (
        f"The {NAMES[each.other]} scores {show.bare(each.brier_gain)} above the forecasts on the "
        f"same cases: {words}."
    )


def _rule_sentence(answer: "Lookback") -> str:
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    last = next((meet.said.rule for meet in reversed(answer.meets) if meet.said.rule.runs), None)
    if last is None or last.runs is None:
        return "No planned restrip is on record to take the shop's rule from (--rule RUNS)."
    runs = f"restrip after {numbers.age(last.runs)} runs"
    if answer.rule_given:
        return f"The shop's rule, as given: {runs}."
    return (
        f"The shop's rule, taken as the median age at planned restrips known before each meet; "
        f"by the last meet: {runs} ({count(last.planned, 'planned restrip')})."
    )


def _show_boost(boost: "BoostLookback") -> None:
    from wearstats.lookback import boost_sentence
    from wearstats_cli import show
    from wearstats_reports.cells import count

    show.heading("Boost by meet, psi at 29.921 inHg")
    if boost.meets:
        show.table(
            ("meet", "from", "units", "said", "logged", "held"),
            [_boost_row(meet) for meet in boost.meets],
            right=("units", "said", "logged"),
        )
        show.line(
            "said, logged: mean over the units, each on the strips it came with; held: units whose "
            "boost came within the interval said."
        )
    show.line(boost_sentence(boost))
    left_out, without = boost.runs_left_out, boost.without
    runs, cases = sum(left_out.values()), sum(without.values())
    show.bullets(f"Boost not compared: {count(runs, 'run')}", _counted(left_out))
    show.bullets(f"No forecast of boost: {count(cases, 'case')}", _counted(without))


def _boost_row(meet: "BoostMeet") -> tuple[str, ...]:
    return (
        meet.meet.name or "no name",
        f"{meet.meet.first:%Y-%m-%d}",
        str(meet.units),
        f"{meet.said:.1f}",
        f"{meet.logged:.1f}",
        f"{meet.held} of {meet.units}",
    )


def _counted(reasons: dict[str, int]) -> list[str]:
    return [f"{number}: {why}" for why, number in sorted(reasons.items(), key=lambda one: -one[1])]

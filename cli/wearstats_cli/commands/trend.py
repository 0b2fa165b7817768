"""`wearstats trend`: is a unit wearing strips out faster, build after build."""

from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.estimates import Estimate
    from wearstats.recurrence import RecurrenceAnswer, Trend

_ROWS_AT_MOST = 10


@click.command(
    "trend",
    epilog="Example: wearstats trend shop.book --mode burned",
)
@options.book_argument
@options.mode
@options.level
@options.as_json
def command(*, book: str, mode: str, level: float, as_json: bool) -> int:
    """Follow the failures of BOOK over each unit's total runs, and say whether they come faster.

    Each unit is compared with itself: do the gaps between its failures grow shorter? Exit code 1
    where that cannot be told of any unit nor of the fleet.
    """
    from wearstats.lives import lives_of
    from wearstats.recurrence import histories_of, recurrence_of
    from wearstats_cli import reading, show

    season = reading.season_of(book)
    answer = recurrence_of(histories_of(lives_of(season), mode), level)
    if as_json:
        show.as_json("trend", {**answer.as_dict(), "simulated": season.simulated})
    else:
        show.banner(simulated=season.simulated)
        _show(answer)
    return 0 if answer.tells else 1


def _show(answer: "RecurrenceAnswer") -> None:
    from wearstats_cli import show, words
    from wearstats_reports import numbers

    level = numbers.level(answer.level)
    ended = words.ENDS[answer.followed.mode]
    curve, fleet = answer.curve, answer.fleet
    show.heading(f"Strips {ended}, over each unit's total runs")
    show.line(
        f"{curve.failures} found {ended} in {numbers.age(fleet.runs)} runs of {curve.units} units. "
        f"Intervals {level}."
    )
    show.table(
        ("unit", "runs", "found", "power law beta", "order", "Laplace", "faster?"),
        [_row(trend) for trend in (*answer.units, fleet)],
        right=("runs", "found", "order", "Laplace"),
    )
    show.line(
        "beta: above 1, failures come faster. order, Laplace: chance of a lean as far if nothing "
        "changed, by the order of the gaps, and against an even rate."
    )
    show.bullets("In words", _sentences(answer))
    show.heading("Failures of one unit, on average")
    show.table(("runs", "units", "failures so far"), _means(answer), right=("runs", "units"))
    show.bullets("Not followed", [str(each) for each in answer.followed.not_followed])
    show.bullets("Worth knowing", answer.warnings)


def _sentences(answer: "RecurrenceAnswer") -> list[str]:
    """Return a sentence for each verdict; units with too few failures share one."""
    from wearstats.recurrence import failures_needed
    from wearstats_reports import numbers

    told = [trend for trend in answer.units if not trend.too_few]
    few = [f"{trend.unit} {trend.gaps}" for trend in answer.units if trend.too_few]
    sentences = [trend.sentence for trend in (*told, answer.fleet)]
    if few:
        sentences.append(
            f"Cannot be told, as {numbers.level(answer.level)} takes "
            f"{failures_needed(answer.level)} complete gaps in one unit: {', '.join(few)}."
        )
    return sentences


def _row(trend: "Trend") -> tuple[str, ...]:
    from wearstats_cli import show
    from wearstats_reports import numbers

    tests = [trend.test(name) for name in ("order of gaps", "Laplace")]
    beta: Estimate | None = None
    if trend.power_law is not None:
        beta = trend.power_law.estimate("beta", trend.level)
    return (
        trend.unit or "fleet",
        numbers.age(trend.runs),
        str(trend.failures),
        show.bare(beta),
        *("" if test is None else numbers.percent(test.p_value) for test in tests),
        trend.told,
    )


def _means(answer: "RecurrenceAnswer") -> list[tuple[str, str, str]]:
    """Return rows of the mean cumulative function, evenly thinned; the last stays."""
    from wearstats_cli import show
    from wearstats_reports import numbers

    curve = answer.curve
    last = curve.age.size - 1
    steps = min(last, _ROWS_AT_MOST - 1)
    rows = sorted({round(last * step / max(steps, 1)) for step in range(steps + 1)})
    return [
        (
            numbers.age(float(curve.age[row])),
            str(int(curve.at_risk[row])),
            show.bare(curve.at(float(curve.age[row]))),
        )
        for row in rows
    ]

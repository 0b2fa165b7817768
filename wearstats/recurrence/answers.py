"""Everything told of recurrence, in one frozen answer."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from wearstats.errors import TooFewError
from wearstats.estimates import Estimate
from wearstats.recurrence.cumulative import MeanCumulative, mean_cumulative
from wearstats.recurrence.histories import UnitHistories, failures_in
from wearstats.recurrence.verdicts import Trend, fleet_trend, unit_trend
from wearstats.shown import Cell, Column, Readable, Summary, counted, intervals

if TYPE_CHECKING:
    import pandas as pd

_CLOCK = (
    "runs count from each unit's first build followed, not from new: the mean by so many runs and "
    "the power law take that for a common start; the comparison of each unit with itself does not"
)


@dataclass(frozen=True, slots=True, repr=False)
class RecurrenceAnswer(Readable):
    """Mean failures by runs, and the trend of each unit and of the fleet.

    Parameters
    ----------
    level : float
    followed : UnitHistories
    curve : MeanCumulative
    units : tuple of Trend
    fleet : Trend
    warnings : tuple of str
    """

    level: float
    followed: UnitHistories
    curve: MeanCumulative
    units: tuple[Trend, ...]
    fleet: Trend
    warnings: tuple[str, ...]

    @property
    def tells(self) -> bool:
        """Whether anything is told of a trend."""
        return any(each.told != "cannot be told" for each in (*self.units, self.fleet))

    def summary(self) -> Summary:
        """Return for each unit and the fleet whether failures come faster."""
        curve = self.curve
        return Summary(
            title=f"Strips found {self.followed.mode}, over each unit's total runs",
            basis=(
                f"{counted(curve.failures, 'failure')} in {self.fleet.runs:g} runs of "
                f"{counted(curve.units, 'unit')}; {intervals(self.level)}."
            ),
            columns=(
                Column("unit"),
                Column("runs", "number"),
                Column("failures", "number"),
                Column("beta", "estimate"),
                Column("faster"),
            ),
            rows=tuple(_row(trend) for trend in (*self.units, self.fleet)),
            notes=(self.fleet.sentence, *self.warnings),
        )

    @property
    def steps(self) -> "pd.DataFrame":
        """Each unit's count for a figure: columns unit, runs, failures, found.

        A row at 0, one after each failure (found is True) and one at the end.
        """
        import pandas as pd

        rows = []
        for history in self.followed.histories:
            rows.append((history.unit, 0.0, 0, False))
            rows += [(history.unit, age, at, True) for at, age in enumerate(history.found, start=1)]
            rows.append((history.unit, history.end, history.failures, False))
        return pd.DataFrame(rows, columns=["unit", "runs", "failures", "found"])

    def as_dict(self) -> dict[str, object]:
        """Return the stable JSON form; see docs/json.md."""
        curve = self.curve
        means = [
            {
                "runs": runs,
                "at_risk": int(at_risk),
                "failures": int(failed),
                "mean": Estimate(mean, low, high, self.level).as_dict(),
            }
            for runs, at_risk, failed, mean, low, high in zip(
                *(each.tolist() for each in (curve.age, curve.at_risk, curve.failed)),
                *(each.tolist() for each in (curve.mean, curve.low, curve.high)),
                strict=True,
            )
        ]
        return {
            "mode": self.followed.mode,
            "level": self.level,
            "units": [
                {**trend.as_dict(), "found_at": list(history.found)}
                for trend, history in zip(self.units, self.followed.histories, strict=True)
            ],
            "fleet": self.fleet.as_dict(),
            "mean_cumulative": means,
            "not_followed": [
                {"unit": each.unit, "builds": list(each.builds), "why": each.why}
                for each in self.followed.not_followed
            ],
            "warnings": list(self.warnings),
        }


def _row(trend: Trend) -> tuple[Cell, ...]:
    law = trend.power_law
    return (
        trend.unit or "fleet",
        trend.runs,
        trend.failures,
        None if law is None else law.estimate("beta", trend.level),
        trend.told,
    )


def recurrence_of(followed: UnitHistories, level: float = 0.9) -> RecurrenceAnswer:
    """Tell what the histories of a fleet tell.

    Raises
    ------
    TooFewError
        No failure in any history.
    """
    histories = followed.histories
    if not failures_in(histories):
        runs = sum(history.end for history in histories)
        message = (
            f"nothing can be told of recurrence: no strips found {followed.mode} in {runs:g} runs "
            f"of {len(histories)} units"
        )
        hint = "What is known of each build: wearstats lives" if not histories else ""
        raise TooFewError(message, have=0, need=1, hint=hint)
    units = tuple(unit_trend(history, followed.mode, level) for history in histories)
    fleet = fleet_trend(histories, followed.mode, level)
    return RecurrenceAnswer(
        level=level,
        followed=followed,
        curve=mean_cumulative(histories, level),
        units=units,
        fleet=fleet,
        warnings=(*followed.notes, _CLOCK, *_even_rate_differs((*units, fleet), level)),
    )


def _even_rate_differs(trends: tuple[Trend, ...], level: float) -> list[str]:
    """Name those of whom Laplace's test, which weighs the runs since the last failure, tells."""
    said = []
    for trend in trends:
        test = trend.test("Laplace")
        if test is None or test.p_value > 1 - level or not test.lean:
            continue
        word = "faster" if test.lean > 0 else "slower"
        if word != trend.told:
            said.append(
                f"{trend.unit or 'the fleet'}: against an even rate, which also weighs the runs "
                f"since the last failure, failures came {word} later on (Laplace's test, chance "
                f"{test.p_value:.2g})"
            )
    return said

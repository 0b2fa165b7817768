"""What is told of each unit and of the fleet, in words: faster, slower, no faster, or nothing."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from wearstats.errors import FitError, TooFewError
from wearstats.recurrence.cumulative import check_level
from wearstats.recurrence.histories import History, failures_in
from wearstats.recurrence.power_law import PowerLaw, PowerLawFit
from wearstats.recurrence.trend_tests import (
    TrendTest,
    gap_order,
    handbook,
    laplace,
    lewis_robinson,
    orders_of,
    reversals,
)

Told: TypeAlias = Literal["faster", "slower", "no faster", "cannot be told"]

_VERBS = {
    "burned": "burns its strips",
    "pulled": "pulls its strips out",
    "cut": "has its strips cut",
    "rubbed": "rubs its strips",
}


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether a unit, or the fleet, wears strips out faster than it did.

    Parameters
    ----------
    unit : str
        Empty for the fleet.
    told : str
        "faster", "slower", "no faster" or "cannot be told".
    sentence : str
        The same in words, with how sure.
    failures, gaps : int
        Failures, and complete gaps between them.
    too_few : bool
        Whether nothing is told because the gaps are too few at this level.
    runs : float
        Total runs followed.
    p_value : float or None
        Of the order of the gaps, failures where they were found.
    tests : tuple of TrendTest
        Those that could be made.
    power_law : PowerLawFit or None
    level : float
    no_power_law : str
        Why there is none, or empty.
    """

    unit: str
    told: Told
    sentence: str
    failures: int
    gaps: int
    too_few: bool
    runs: float
    p_value: float | None
    tests: tuple[TrendTest, ...]
    power_law: PowerLawFit | None
    level: float
    no_power_law: str = ""

    def test(self, name: str) -> TrendTest | None:
        """Return the test of this name, None where it could not be made."""
        return next((each for each in self.tests if each.name == name), None)

    def as_dict(self) -> dict[str, object]:
        """Return plain data, every estimate with its interval."""
        fit = self.power_law
        law = None
        if fit is not None:
            law = {name: each.as_dict() for name, each in fit.parameters(self.level).items()}
            law["runs_between_now"] = fit.runs_between_at(level=self.level).as_dict()
        return {
            "unit": self.unit or None,
            "told": self.told,
            "sentence": self.sentence,
            "failures": self.failures,
            "gaps": self.gaps,
            "runs": self.runs,
            "p_value": self.p_value,
            "tests": [
                {
                    "name": each.name,
                    "statistic": each.statistic,
                    "p_value": each.p_value,
                    "lean": each.lean,
                    "failures": each.failures,
                    "reference": each.reference,
                }
                for each in self.tests
            ],
            "power_law": law,
            "no_power_law": self.no_power_law,
        }


def failures_needed(level: float) -> int:
    """Return the fewest failures of one unit from which anything can be told at this level.

    The order of n gaps is one of n!; the two most telling of them, together, must be rarer than
    1 - level if nothing changes.

    Examples
    --------
    >>> failures_needed(0.9), failures_needed(0.95)
    (4, 5)
    """
    check_level(level)
    return next(count for count in range(2, 200) if _tells(math.factorial(count), level))


def _tells(orders: int, level: float) -> bool:
    return orders * (1 - level) >= 2 * (1 - 1e-12)


def unit_trend(history: History, mode: str = "burned", level: float = 0.9) -> Trend:
    """Tell whether one unit fails faster than it did.

    The verdict rests on the exact test of the order of the gaps (`gap_order`) and holds only if
    it comes out alike with every failure where it was found and with every failure as early as
    the looks allow.
    """
    return _trend([history], history.unit, history.unit, mode, level)


def fleet_trend(histories: Sequence[History], mode: str = "burned", level: float = 0.9) -> Trend:
    """Tell whether units fail faster than they did, each compared with itself only."""
    return _trend(histories, "", "the fleet, each unit against itself,", mode, level)


def _trend(histories: Sequence[History], unit: str, who: str, mode: str, level: float) -> Trend:
    check_level(level)
    tests = _tests(histories)
    law, no_law = None, ""
    try:
        law = PowerLaw().fit(histories)
    except FitError as error:
        no_law = str(error)
    found = [history.gaps for history in histories]
    early = [history.earliest_gaps for history in histories]
    p_value = next((each.p_value for each in tests if each.name == "order of gaps"), None)
    told, sentence = _verdict(found, early, who, _VERBS.get(mode, f"fails ({mode})"), level)
    return Trend(
        unit=unit,
        told=told,
        sentence=sentence,
        failures=failures_in(histories),
        gaps=sum(map(len, found)),
        too_few=not _tells(orders_of(found), level),
        runs=round(math.fsum(history.end for history in histories), 9),
        p_value=p_value,
        tests=tests,
        power_law=law,
        level=level,
        no_power_law=no_law,
    )


def _tests(histories: Sequence[History]) -> tuple[TrendTest, ...]:
    made = []
    attempts: list[Callable[[], TrendTest]] = [
        lambda: gap_order([history.gaps for history in histories]),
        lambda: laplace(histories),
        lambda: handbook(histories),
    ]
    if len(histories) == 1:
        attempts += [lambda: lewis_robinson(histories[0]), lambda: reversals(histories[0])]
    for attempt in attempts:
        try:
            made.append(attempt())
        except TooFewError:
            continue
    return tuple(made)


def _verdict(
    found: Sequence[Sequence[float]],
    early: Sequence[Sequence[float]],
    who: str,
    verb: str,
    level: float,
) -> tuple[Told, str]:
    count = sum(len(gaps) for gaps in found)
    said = f"{count} gaps between failures" if count != 1 else "1 gap between failures"
    if not _tells(orders_of(found), level):
        need = failures_needed(level)
        return "cannot be told", (
            f"Whether {who} {verb} faster than it did cannot be told from {said}; "
            f"it takes {need} in one unit, or as many orders of them shared among units."
        )
    late, soon = gap_order(found), _early_order(early)
    words = {_word(late, level), _word(soon, level)}
    if len(words) > 1:
        return "cannot be told", (
            f"Whether {who} {verb} faster than it did cannot be told: it turns on when "
            f"between two looks the strips failed (chance of such an order of {said} if nothing "
            f"changed: {_percent(late.p_value)} as found, {_percent(soon.p_value)} at the "
            "earliest)."
        )
    told = _word(late, level)
    if told == "no faster":
        return told, (
            f"{_upper(who)} {verb} no faster than it did, as far as {said} show: if nothing "
            f"changed, an order that leans as far comes about in {_percent(late.p_value)} of cases."
        )
    return told, (
        f"{_upper(who)} {verb} {told} than it did: if nothing had changed, {said} would come in "
        f"an order that leans as far in {_percent(late.p_value)} of cases."
    )


def _early_order(early: Sequence[Sequence[float]]) -> TrendTest:
    """Test the earliest gaps; where none is above nought there is nothing that leans."""
    try:
        return gap_order(early)
    except TooFewError:
        return TrendTest("order of gaps", 0.0, 1.0, 0, 0, "nothing")


def _word(test: TrendTest, level: float) -> Told:
    if test.p_value > 1 - level or test.lean == 0:
        return "no faster"
    return "faster" if test.lean > 0 else "slower"


def _upper(who: str) -> str:
    return "The" + who[3:] if who.startswith("the fleet,") else who


def _percent(share: float) -> str:
    if share < 0.01:  # noqa: PLR2004 - one percent
        return "under 1 %"
    return f"{100 * share:.0f} %"

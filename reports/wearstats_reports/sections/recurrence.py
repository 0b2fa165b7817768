"""Whether units wear strips out faster, build after build."""

from dataclasses import dataclass

from wearstats.recurrence import failures_needed
from wearstats_reports import cells, numbers
from wearstats_reports.fits import Fits


@dataclass(frozen=True, slots=True)
class CountPoint:
    """Failures of one unit, on average, by so many total runs; no ends where there are none."""

    runs: float
    mean: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class UnitCount:
    """One unit's failures by total runs.

    Parameters
    ----------
    unit : str
    found_at : tuple of float, runs
    end : float, runs
        Until when it was followed.
    """

    unit: str
    found_at: tuple[float, ...]
    end: float


@dataclass(frozen=True, slots=True)
class Recurrence:
    """Failures over total runs.

    Parameters
    ----------
    sentences : tuple of str
        A verdict each.
    curve : tuple of CountPoint
    counts : tuple of UnitCount
    why_not : str
        A sentence where nothing can be told.
    """

    sentences: tuple[str, ...]
    curve: tuple[CountPoint, ...]
    counts: tuple[UnitCount, ...]
    why_not: str


def recurrence(fits: Fits) -> Recurrence:
    """Return what is told of recurrence, or why nothing is."""
    answer = fits.recurrence.fit
    if answer is None:
        return Recurrence((), (), (), fits.recurrence.why_not)
    told = [trend.sentence for trend in (*answer.units, answer.fleet) if not trend.too_few]
    few = [trend for trend in answer.units if trend.too_few]
    if few:
        need = failures_needed(fits.level)
        named = ", ".join(f"{trend.unit} has {trend.gaps}" for trend in few)
        told.append(
            f"Cannot be told of one unit alone, as {numbers.level(fits.level)} takes {need} "
            f"complete gaps: {named}."
        )
    curve = answer.curve
    columns = (curve.age, curve.mean, curve.low, curve.high)
    points = tuple(
        CountPoint(float(runs), float(mean), cells.number(low), cells.number(high))
        for runs, mean, low, high in zip(*(part.tolist() for part in columns), strict=True)
    )
    counts = tuple(
        UnitCount(each.unit, tuple(float(age) for age in each.found), float(each.end))
        for each in answer.followed.histories
    )
    return Recurrence(tuple(told), points, counts, "")

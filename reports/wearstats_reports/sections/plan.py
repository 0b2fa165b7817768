"""How many runs until a restrip costs least."""

from dataclasses import dataclass

from wearstats.plans import RestripInterval
from wearstats_reports import cells
from wearstats_reports.answers import Answer
from wearstats_reports.fits import Fits
from wearstats_reports.sections.lives import behind


@dataclass(frozen=True, slots=True)
class PlanPoint:
    """What restripping every `runs` runs comes to.

    Parameters
    ----------
    value : float
        Cost per run where the basis is "cost", else the chance of still being sound.
    near_best : bool
        Whether it costs nearly as little as the least.
    """

    runs: float
    value: float
    low: float | None
    high: float | None
    near_best: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """Runs `low` to `high`, both included; `high` None where there is no upper end."""

    low: int
    high: int | None


@dataclass(frozen=True, slots=True)
class Interval:
    """The restrip interval.

    Parameters
    ----------
    basis : str
        "cost", "bound", or empty where there is no plan.
    best : Answer
    near_best : tuple of Stretch
        Intervals that cost nearly as little.
    remarks : tuple of str
        The plan's own sentences.
    curve : tuple of PlanPoint
    currency : str
    """

    basis: str
    best: Answer
    near_best: tuple[Stretch, ...]
    remarks: tuple[str, ...]
    curve: tuple[PlanPoint, ...]
    currency: str


def restrip_interval(fits: Fits) -> Interval:
    """Return when to restrip, or why it cannot be told."""
    currency = fits.season.costs.currency if fits.season.costs is not None else ""
    fleet = fits.outlook.fit
    if fleet is None:
        return Interval("", Answer(why_not=fits.outlook.why_not), (), (), (), currency)
    found = fleet.restrip
    answer = Answer(found.runs, behind(fits)) if found.best else Answer(why_not=found.remarks[0])
    return Interval(
        basis=found.basis,
        best=answer,
        near_best=tuple(Stretch(low, high) for low, high in found.near_best),
        remarks=found.remarks if found.best else found.remarks[1:],
        curve=_curve(found),
        currency=currency,
    )


def _curve(found: RestripInterval) -> tuple[PlanPoint, ...]:
    value = "cost_per_run" if found.basis == "cost" else "survival"
    return tuple(
        PlanPoint(
            runs=float(row["runs"]),
            value=float(row[value]),
            low=cells.number(row["low"]),
            high=cells.number(row["high"]),
            near_best=bool(row.get("near_best", False)),
        )
        for row in cells.rows(found.curve)
    )

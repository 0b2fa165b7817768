"""`wearstats wear`: how fast clearances open."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from wearstats.estimates import Estimate
from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.lives import StripLives
    from wearstats.wear import ClearanceWearFit
    from wearstats_cli.quantities import Scale


@dataclass(frozen=True, slots=True)
class _Unit:
    unit: str
    build: int
    age: float
    now: Estimate
    ahead: Estimate
    due: Estimate | None

    def as_dict(self) -> dict[str, object]:
        return {
            "unit": self.unit,
            "build": self.build,
            "age": self.age,
            "now": self.now.as_dict(),
            "ahead": self.ahead.as_dict(),
            "runs_to_limit": None if self.due is None else self.due.as_dict(),
        }


@click.command(
    "wear",
    short_help="Clearance and strip height against runs, with forecasts.",
    epilog="Example: wearstats wear shop.book --what tip --limit 8",
)
@options.book_argument
@click.option(
    "--what",
    type=click.Choice(["tip", "mesh", "end", "strip height"]),
    default="tip",
    show_default=True,
    help="Which reading.",
)
@click.option(
    "--limit",
    type=float,
    help="Clearance (or height) at which the strips are due, in the units shown; "
    "adds the runs until it is reached.",
)
@click.option(
    "--runs", type=click.IntRange(1, 200), default=4, show_default=True, help="Runs ahead."
)
@options.level
@options.system
@options.as_json
def command(
    *,
    book: str,
    what: str,
    limit: float | None,
    runs: int,
    level: float,
    system: str,
    as_json: bool,
) -> int:
    """Fit how readings of BOOK change with runs on the strips, and forecast each unit."""
    from wearstats.lives import clearance_readings, lives_of
    from wearstats.wear import ClearanceWear
    from wearstats_cli import quantities, reading, show

    season = reading.season_of(book)
    lives = lives_of(season)
    fit = ClearanceWear(what, level=level).fit(clearance_readings(season, lives))
    scale = quantities.gap(system)
    units = _units(fit, lives, runs, limit, scale)
    if as_json:
        body = {
            "simulated": season.simulated,
            "what": what,
            "unit": scale.name,
            "readings": fit.readings,
            "builds": fit.builds,
            "units": fit.units,
            "rate": scale.estimate(fit.rate).as_dict(),
            "start": scale.estimate(fit.start).as_dict(),
            "runs_ahead": runs,
            "forecast": [unit.as_dict() for unit in units],
            "not_used": [{"reason": each.reason, "count": each.count} for each in fit.left_out],
            "warnings": list(fit.notes),
        }
        show.as_json("wear", body)
        return 0
    show.banner(simulated=season.simulated)
    _show(fit, units, scale, runs)
    return 0


def _units(
    fit: "ClearanceWearFit",
    lives: "StripLives",
    runs: int,
    limit: float | None,
    scale: "Scale",
) -> list["_Unit"]:
    frame = lives.frame
    known = frame["open"] & ~frame["left_out"] & frame["age"].notna()
    units = []
    for unit, build, age in zip(
        *(frame.loc[known, name] for name in ("unit", "build", "age")), strict=True
    ):
        path = fit.forecast(str(unit), build, [age, age + runs])
        now, ahead = (
            scale.estimate(Estimate(float(middle), float(low), float(high), fit.level, "thou"))
            for middle, low, high in path[["estimate", "low", "high"]].to_numpy()
        )
        due = None if limit is None else fit.runs_to(scale.keep(limit), str(unit), build, age)
        units.append(_Unit(str(unit), int(build), float(age), now, ahead, due))
    return units


def _show(fit: "ClearanceWearFit", units: list["_Unit"], scale: "Scale", runs: int) -> None:
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    show.heading(f"{fit.what.capitalize()} against runs on the strips")
    show.line(
        f"{count(fit.readings, 'reading')} of {count(fit.builds, 'build')} of "
        f"{count(fit.units, 'unit')}. "
        f"Intervals {numbers.level(fit.level)}."
    )
    show.estimates(
        {
            "change per run": scale.estimate(fit.rate),
            "on fresh strips": scale.estimate(fit.start),
        },
        fit.level,
    )
    limited = any(unit.due is not None for unit in units)
    columns = ["unit", "build", "age", f"now, {scale.name}", f"in {count(runs, 'run')}"]
    show.table(
        [*columns, "runs to the limit"] if limited else columns,
        [
            (
                unit.unit,
                unit.build,
                numbers.age(unit.age),
                show.bare(unit.now),
                show.bare(unit.ahead),
                *([] if unit.due is None else [show.bare(unit.due)]),
            )
            for unit in units
        ],
        right=("build", "age"),
    )
    show.bullets(
        "Not used", [f"{count(each.count, 'reading')}: {each.reason}" for each in fit.left_out]
    )
    show.bullets("Doubtful", fit.notes)

"""`wearstats wear`: how fast clearances open."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from wearstats.errors import FitError, PlanError
from wearstats.estimates import Estimate
from wearstats_cli import options

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives import StripLives
    from wearstats.plans import SurvivalDraws
    from wearstats.wear import ClearanceWearFit
    from wearstats_cli.quantities import Scale

_FARTHEST = 200
"""Runs ahead up to which the sooner of limit and burn-through is followed."""


@dataclass(frozen=True, slots=True)
class _First:
    """The limit or burn-through, whichever comes first: chances by each run, and runs until it."""

    by_run: "pd.DataFrame"
    until: Estimate


@dataclass(frozen=True, slots=True)
class _Unit:
    unit: str
    build: int
    age: float
    now: Estimate
    ahead: Estimate
    due: Estimate | None
    first: _First | None

    def as_dict(self) -> dict[str, object]:
        from wearstats_cli import show

        first = self.first
        return {
            "unit": self.unit,
            "build": self.build,
            "age": self.age,
            "now": self.now.as_dict(),
            "ahead": self.ahead.as_dict(),
            "runs_to_limit": None if self.due is None else self.due.as_dict(),
            "runs_to_either": None if first is None else first.until.as_dict(),
            "by_run": None if first is None else show.records(first.by_run),
        }


@dataclass(frozen=True, slots=True)
class _Ask:
    runs: int
    limit_thou: float | None
    lasting: "SurvivalDraws | None"


@click.command(
    "wear",
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
    "adds the runs until it is reached, and until it or burn-through, whichever is first.",
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
    from wearstats_reports.cells import count

    season = reading.season_of(book)
    lives = lives_of(season)
    with show.working("Fitting"):
        fit = ClearanceWear(what, level=level).fit(clearance_readings(season, lives))
    scale = quantities.gap(system)
    lasting, why_not = (None, "") if limit is None else _lasting(lives)
    ask = _Ask(runs, None if limit is None else scale.keep(limit), lasting)
    units = _units(fit, lives, ask, scale)
    warnings = [*fit.notes, *([why_not] if why_not else [])]
    if as_json:
        body = {
            "simulated": season.simulated,
            "what": what,
            "unit": scale.name,
            "readings": fit.readings,
            "one_sided": fit.one_sided,
            "by_height": fit.by_height,
            "builds": fit.builds,
            "units": fit.units,
            "rate": scale.estimate(fit.rate).as_dict(),
            "start": scale.estimate(fit.start).as_dict(),
            "runs_ahead": runs,
            "forecast": [unit.as_dict() for unit in units],
            "not_used": [{"reason": each.reason, "count": each.count} for each in fit.left_out],
            "warnings": warnings,
        }
        show.as_json("wear", body)
        return 0
    show.banner(simulated=season.simulated)
    _show(fit, units, scale, runs)
    _show_first(units, runs)
    show.bullets(
        "Not used", [f"{count(each.count, 'reading')}: {each.reason}" for each in fit.left_out]
    )
    show.bullets("Doubtful", warnings)
    return 0


def _lasting(lives: "StripLives") -> "tuple[SurvivalDraws | None, str]":
    """Return the curve of burn-through, or why there is none."""
    from wearstats.life import posterior

    try:
        return posterior(lives.observations("burned")), ""
    except FitError as error:
        return None, f"burn-through is not weighed in: {error}"


def _units(
    fit: "ClearanceWearFit", lives: "StripLives", ask: _Ask, scale: "Scale"
) -> list["_Unit"]:
    frame = lives.frame
    known = frame["open"] & ~frame["left_out"] & frame["age"].notna()
    units = []
    for unit, build, age in zip(
        *(frame.loc[known, name] for name in ("unit", "build", "age")), strict=True
    ):
        path = fit.forecast(str(unit), build, [age, age + ask.runs])
        now, ahead = (
            scale.estimate(Estimate(float(middle), float(low), float(high), fit.level, "thou"))
            for middle, low, high in path[["estimate", "low", "high"]].to_numpy()
        )
        limit = ask.limit_thou
        due = None if limit is None else fit.runs_to(limit, str(unit), build, age)
        first = None if limit is None else _first(fit, str(unit), int(build), float(age), ask)
        units.append(_Unit(str(unit), int(build), float(age), now, ahead, due, first))
    return units


def _first(fit: "ClearanceWearFit", unit: str, build: int, age: float, ask: _Ask) -> _First | None:
    import numpy as np

    from wearstats.plans.chance import chances
    from wearstats.wear import whichever_first

    if ask.lasting is None or ask.limit_thou is None:
        return None
    try:
        found = chances(ask.lasting, age=age, last_look=age, runs_ahead=_FARTHEST, level=fit.level)
    except PlanError:
        return None
    lasts = found.starting_sound
    reached = fit.limit_reached(ask.limit_thou, unit, build, age)
    table = whichever_first(reached, np.arange(float(len(lasts))), lasts)
    tail = (1.0 - fit.level) / 2.0
    low, middle, high = (_by(table, share) for share in (tail, 0.5, 1.0 - tail))
    return _First(table.iloc[1 : ask.runs + 1], Estimate(middle, low, high, fit.level, "runs"))


def _by(table: "pd.DataFrame", share: float) -> float | None:
    """Return the runs by which either has come with this chance; a line between whole runs."""
    import numpy as np

    chance = table["either"].to_numpy(float)
    if chance[-1] < share:
        return None
    place = int(np.argmax(chance >= share))
    if place == 0:
        return 0.0
    return place - (float(chance[place]) - share) / float(chance[place] - chance[place - 1])


def _show(fit: "ClearanceWearFit", units: list["_Unit"], scale: "Scale", runs: int) -> None:
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    show.heading(f"{fit.what.capitalize()} against runs on the strips")
    heights = f", and {count(fit.by_height, 'strip height')} beside them" if fit.by_height else ""
    show.line(
        f"{count(fit.readings, 'reading')} of {count(fit.builds, 'build')} of "
        f"{count(fit.units, 'unit')}{heights}. Intervals {numbers.level(fit.level)}."
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


def _show_first(units: list["_Unit"], runs: int) -> None:
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    known = [(unit.unit, unit.first) for unit in units if unit.first is not None]
    if not known:
        return
    show.heading(f"Limit or burn-through within {count(runs, 'run')}, whichever comes first")
    last = [first.by_run.iloc[-1] for _, first in known]
    show.table(
        ("unit", "limit", "burned through", "either", "runs to either"),
        [
            (
                unit,
                *(numbers.percent(row[name]) for name in ("limit", "burned", "either")),
                show.bare(first.until),
            )
            for (unit, first), row in zip(known, last, strict=True)
        ],
        right=("limit", "burned through", "either"),
    )
    show.line("On strips sound now; wear and burn-through taken as independent.")

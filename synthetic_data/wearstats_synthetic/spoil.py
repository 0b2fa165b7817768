"""Known faults put into good sheets, each listed, to ask whether all are found."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from wearstats.arrays import BoolArray
from wearstats_synthetic.hands import DOCK, TRAILER
from wearstats_synthetic.season import SimulatedSeason
from wearstats_synthetic.sheets import Cell, Draft


class Outcome(StrEnum):
    """What a good reader of the sheets makes of a fault."""

    READ = "read"
    """Odd, but it can mean one thing only: the row is logged with the right value."""
    ASIDE = "aside"
    """The row is set aside with the reason beside it."""
    THERE = "already there"
    """The row says what another has said."""
    ASKED = "asked"
    """A unit's id that looks like another's: whoever reads it is asked, nothing is guessed."""
    LEFT_OUT = "left out"
    """Every row reads well, but they disagree: the builds concerned stay out of the fit."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault put in on purpose.

    Parameters
    ----------
    code : str
        What kind ("gap-unit-unclear"); ours, not the findings'.
    outcome : Outcome
    file : str
    row : int or None
        As the writer counts, the header being row 1; None where rows are missing.
    column : str or None
        The header.
    value, right : str
        As written, and as it should have been.
    unit : str
        The unit whose row it is; several are joined by a comma.
    build : int or None
        Its build.
    """

    code: str
    outcome: Outcome
    file: str
    row: int | None
    column: str | None
    value: str
    right: str
    unit: str
    build: int | None


Slip = Callable[[Cell], Cell | None]
"""From the right cell to the wrong one; None where this cell cannot be got wrong so."""


@dataclass(frozen=True, slots=True)
class _Plan:
    """One slip of the pen to be made somewhere in a sheet."""

    code: str
    outcome: Outcome
    field: str
    slip: Slip


def spoil(
    sheets: list[Draft], season: SimulatedSeason, rng: np.random.Generator
) -> tuple[list[Draft], tuple[Fault, ...]]:
    """Put the known faults into the two run sheets.

    A slip that breaks a build's history falls, where it can, into a build already broken, as
    one careless week does in a shop: most builds of the season stay whole.

    Parameters
    ----------
    sheets : list of Draft
        Not changed.
    season : SimulatedSeason
    rng : numpy.random.Generator

    Returns
    -------
    list of Draft, tuple of Fault
        In a season too short for it a fault is not made.
    """
    spoiled = [sheet.copy() for sheet in sheets]
    dock, trailer = (_of(spoiled, f"runs_{hand.name}.") for hand in (DOCK, TRAILER))
    pen = _Pen(season, rng)
    pen.lose_a_week(trailer)
    for sheet, plans in ((dock, _DOCK_PLANS), (trailer, _TRAILER_PLANS)):
        for plan in plans:
            pen.slip(sheet, plan)
    pen.enter_twice(dock)
    return spoiled, tuple(pen.faults)


class _Pen:
    """Makes the slips and remembers where."""

    def __init__(self, season: SimulatedSeason, rng: np.random.Generator) -> None:
        self.rng = rng
        self.meet_count = len(season.fleet.meets)
        self.meet_names = [meet.name for meet in season.fleet.meets]
        self.unit = season.run_truth["unit"].to_numpy()
        self.build = season.run_truth["build"].to_numpy()
        self.touched: set[tuple[str, int]] = set()
        self.broken: set[tuple[str, int]] = set()
        self.faults: list[Fault] = []

    def lose_a_week(self, sheet: Draft) -> None:
        """Lose the rows of one whole meet."""
        meet = self.meet_names[self.meet_count // 2]
        column = sheet.at("meet")
        lost = [place for place, row in enumerate(sheet.rows) if row[column] == meet]
        if not lost or len(lost) == len(sheet.rows):
            return
        builds = sorted({self._key(sheet, place) for place in lost})
        self.broken.update(builds)
        for place in reversed(lost):
            del sheet.rows[place]
            del sheet.source[place]
        self.faults.append(
            Fault(
                "missing-week",
                Outcome.LEFT_OUT,
                sheet.file,
                None,
                None,
                "",
                f"{len(lost)} rows of {meet}",
                ", ".join(sorted({unit for unit, _ in builds})),
                None,
            )
        )

    def slip(self, sheet: Draft, plan: _Plan) -> None:
        """Get one cell wrong."""
        column = sheet.at(plan.field)
        wrong = {
            place: written
            for place, row in enumerate(sheet.rows)
            if (plan.field == "remark") == (row[column] is None)
            and (sheet.file, sheet.source[place]) not in self.touched
            and (written := plan.slip(row[column])) is not None
        }
        if not wrong:
            return
        places = np.array(list(wrong))
        in_broken = np.array([self._key(sheet, place) in self.broken for place in places])
        wanted = in_broken if plan.outcome is not Outcome.READ else ~in_broken
        place = int(self.rng.choice(places[wanted] if wanted.any() else places))
        right, sheet.rows[place][column] = sheet.rows[place][column], wrong[place]
        unit, build = self._key(sheet, place)
        self.touched.add((sheet.file, sheet.source[place]))
        if plan.outcome is not Outcome.READ:
            self.broken.add((unit, build))
        self.faults.append(
            Fault(
                plan.code,
                plan.outcome,
                sheet.file,
                place + 2,
                sheet.headers[column],
                str(wrong[place]),
                "" if right is None else str(right),
                unit,
                build,
            )
        )

    def enter_twice(self, sheet: Draft) -> None:
        """Enter one good row a second time, at the end of the sheet."""
        good: BoolArray = np.array(
            [(sheet.file, source) not in self.touched for source in sheet.source]
        )
        if not good.any():
            return
        place = int(self.rng.choice(np.flatnonzero(good)))
        sheet.rows.append(list(sheet.rows[place]))
        sheet.source.append(sheet.source[place])
        unit, build = self._key(sheet, place)
        self.faults.append(
            Fault(
                "duplicate-row",
                Outcome.THERE,
                sheet.file,
                len(sheet.rows) + 1,
                None,
                "",
                f"row {place + 2}",
                unit,
                build,
            )
        )

    def _key(self, sheet: Draft, place: int) -> tuple[str, int]:
        source = sheet.source[place]
        return str(self.unit[source]), int(self.build[source])


def _of(sheets: list[Draft], start: str) -> Draft:
    return next(sheet for sheet in sheets if sheet.file.startswith(start))


def _month_first(cell: Cell) -> str | None:
    year, month, day = str(cell).split("-")
    unclear = int(day) <= 12 and day != month  # noqa: PLR2004 - months of a year
    return f"{month}/{day}/{year}" if unclear else None


def _two_more(cell: Cell) -> str:
    return str(int(str(cell)) + 2)


def _kilopascal(cell: Cell) -> str:
    return TRAILER.boost.text(DOCK.boost.unit.keep(float(str(cell))))


def _inches(cell: Cell) -> str:
    return f'{float(str(cell)) / 1000.0:.4f}"'


def _fahrenheit(cell: Cell) -> str | None:
    if not isinstance(cell, (int, float)):
        return None
    return f"{TRAILER.temperature.unit.keep(cell):.1f} F"


_DOCK_PLANS = (
    _Plan("boost-range", Outcome.ASIDE, "boost_psi", lambda _: "900"),
    _Plan("text-in-number", Outcome.ASIDE, "boost_psi", lambda cell: f"about {cell}"),
    _Plan("gap-unit-unclear", Outcome.ASIDE, "tip_low_thou", lambda _: "0.004"),
    _Plan("date-ambiguous", Outcome.ASIDE, "date", _month_first),
    _Plan("date-impossible", Outcome.ASIDE, "date", lambda cell: f"{str(cell)[:5]}06-31"),
    _Plan("word-unknown", Outcome.ASIDE, "strips", lambda _: "sonud"),
    _Plan("counter-slip", Outcome.LEFT_OUT, "runs_since_restrip", _two_more),
    _Plan("unit-spelling", Outcome.ASKED, "unit", lambda cell: f"{str(cell)[0]} {str(cell)[1:]}"),
    _Plan("unit-spelling", Outcome.ASKED, "unit", lambda cell: f"{str(cell)[0]}-{str(cell)[1:]}"),
    _Plan("unit-in-cell", Outcome.READ, "boost_psi", lambda cell: f"{_kilopascal(cell)} kPa"),
    _Plan("unit-in-cell", Outcome.READ, "strip_height_thou", _inches),
    _Plan("formula-as-remark", Outcome.READ, "remark", lambda _: "=1+1 quick passes"),
)
_TRAILER_PLANS = (
    _Plan("barometer-range", Outcome.ASIDE, "barometer_inhg", lambda _: 29.6),
    _Plan("unit-in-cell", Outcome.READ, "air_temperature_f", _fahrenheit),
    _Plan("spaces-and-capitals", Outcome.READ, "strips", lambda cell: f" {cell} ".upper()),
    _Plan("unit-spelling", Outcome.ASKED, "unit", lambda cell: str(cell).lower()),
)

"""Metal-to-metal readings for the cut: from a book, a readings sheet, or the command itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from wearstats.errors import ObservationError, UsageError

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.records.findings import Finding
    from wearstats.records.season import Season


@dataclass(frozen=True, slots=True)
class Metal:
    """Readings to cut from.

    Parameters
    ----------
    readings : DataFrame
        As `wearstats.cut.metal_places`.
    unit : str
        Empty where the readings were given in the command.
    said : str
        Where they come from.
    rotor_diameter_in : float or None
    simulated : bool
    findings : tuple of Finding
        On rows of a sheet that could not be taken.
    """

    readings: "pd.DataFrame"
    unit: str
    said: str
    rotor_diameter_in: float | None = None
    simulated: bool = False
    findings: "tuple[Finding, ...]" = ()


def metal_given(book: str | None, sheet: Path | None, typed: Sequence[str], unit: str) -> Metal:
    """Return the readings from the one place that is named.

    Raises
    ------
    UsageError
        None or several are named; the unit is not.
    ObservationError
        There is no reading.
    """
    if sum((book is not None, sheet is not None, bool(typed))) != 1:
        message = "name one of BOOK, --sheet FILE and --metal READING"
        raise UsageError(message)
    if typed:
        return _typed(typed)
    if sheet is not None:
        return _of_sheet(sheet, unit)
    from wearstats_cli import reading

    return _of_season(reading.season_of(str(book)), unit, "the book")


def _typed(typed: Sequence[str]) -> Metal:
    import pandas as pd

    from wearstats.records.cells import Fault
    from wearstats.records.common import METAL
    from wearstats.records.values import cell_reader

    read = cell_reader(METAL)
    rows = []
    for number, text in enumerate(typed, start=1):
        value = read(text)
        if isinstance(value, Fault):
            message = f"--metal {text}: {value.message}"
            raise UsageError(message)
        rows.append((f"reading {number}", *value))
    table = pd.DataFrame(rows, columns=["station", "low_thou", "high_thou"])
    return Metal(table, "", "as given")


def _of_sheet(path: Path, unit: str) -> Metal:
    import pandas as pd

    from wearstats.records import Season
    from wearstats.records.kinds import Settings
    from wearstats.records.read import read_sheets
    from wearstats.records.schema import READINGS
    from wearstats.records.spellings import UnitSpellings
    from wearstats.records.take import take

    spellings = UnitSpellings()
    taken = [
        each
        for raw in read_sheets(path)
        for each in take(raw, Settings(), spellings)
        if each.kind == READINGS.name
    ]
    findings = tuple(finding for each in taken for row in each.aside for finding in row.findings)
    frames = [each.frame[list(READINGS.fields)] for each in taken if len(each.frame)]
    if not frames:
        message = f"{path.name} holds no reading that could be taken"
        raise ObservationError(message, hint="; ".join(str(finding) for finding in findings[:3]))
    season = Season.from_frames(readings=pd.concat(frames, ignore_index=True))
    found = _of_season(season, unit, path.name)
    return Metal(found.readings, found.unit, found.said, findings=findings)


def _of_season(season: "Season", unit: str, source: str) -> Metal:
    """Return the newest day's readings of a unit; those of single places before a single one."""
    from wearstats.lives import clearance_readings, lives_of

    table = clearance_readings(season, lives_of(season))
    metal = table.loc[(table["what"] == "metal") & ~table["left_out"]]
    units = sorted({str(name) for name in metal["unit"]})
    if not units:
        message = f"{source} holds no metal-to-metal reading"
        raise ObservationError(
            message, hint="Enter them in the readings sheet, with `metal` under what was read."
        )
    if not unit and len(units) > 1:
        message = f"name the unit with --unit: {', '.join(units)}"
        raise UsageError(message)
    chosen = unit or units[0]
    mine = metal.loc[metal["unit"] == chosen]
    if mine.empty:
        message = f"{source} holds no metal-to-metal reading of {chosen}"
        raise ObservationError(message, hint=f"There are readings of {', '.join(units)}.")
    placed = mine.loc[mine["source"] == "readings"]
    mine = placed if len(placed) else mine
    day = mine["date"].max()
    newest = mine.loc[mine["date"] == day]
    where = "" if len(placed) else ", one for the whole unit"
    return Metal(
        newest,
        chosen,
        f"read on {day:%Y-%m-%d}{where}",
        _diameter(season, chosen),
        season.simulated,
    )


def _diameter(season: "Season", unit: str) -> float | None:
    from wearstats_reports.cells import number

    rows = season.units.loc[season.units["unit"] == unit, "rotor_diameter_in"]
    return number(rows.iloc[0]) if len(rows) else None

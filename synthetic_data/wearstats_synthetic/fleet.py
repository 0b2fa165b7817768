"""Superchargers, boats and meets: who is there and when, before anything is simulated.

All names are invented; the lakes are no real places as far as we know.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from wearstats.errors import UsageError

SIMULATED = "SIMULATED"
"""Stands in every meet's name and wherever else the season is shown."""

OPENING_DAY = date(2024, 4, 12)
"""A Friday; fixed, so that no season depends on the clock."""

_LAKES = (
    "Lake Umberfell",
    "Lake Quillowen",
    "Tarn Ostravale",
    "Lake Thessiby",
    "Morvanth Water",
    "Lake Pellisander",
    "Lake Ivorsedge",
    "Carrowmint Pond",
    "Lake Fallowmarrow",
)
# Typical air temperature (F), station barometer (inHg) and humidity (%) of each lake's meet:
# spring, summer and autumn at heights from near the sea to about 2000 ft.
_CLIMATE = (
    (64.0, 29.55, 55.0),
    (71.0, 29.80, 60.0),
    (77.0, 28.60, 45.0),
    (84.0, 29.30, 58.0),
    (92.0, 29.65, 64.0),
    (95.0, 27.95, 32.0),
    (88.0, 29.10, 52.0),
    (79.0, 29.85, 66.0),
    (69.0, 29.40, 57.0),
)


@dataclass(frozen=True, slots=True)
class UnitSpec:
    """One supercharger.

    Parameters
    ----------
    name : str
    displacement_in3 : float
        Per turn of the blower.
    rotor_length_in, rotor_diameter_in : float
        A 19 in rotor of 5.8 in over the strips: common practice, no source.
    lobes : int
    engine_displacement_in3 : float
    service_limit_runs : float
    joins_at : int
        Meet before which it joins, from 0.
    runs_on_strips : int
        Runs its strips had seen when it joined; 0 means fresh strips.
    leaves_after : int or None
        Meet after which it is sold.
    crashes_at : int or None
        Meet at whose end its boat crashes; it is rebuilt before the next.
    """

    name: str
    displacement_in3: float = 500.0
    rotor_length_in: float = 19.0
    rotor_diameter_in: float = 5.8
    lobes: int = 3
    engine_displacement_in3: float = 500.0
    service_limit_runs: float = 18.0
    joins_at: int = 0
    runs_on_strips: int = 0
    leaves_after: int | None = None
    crashes_at: int | None = None


@dataclass(frozen=True, slots=True)
class BoatSpec:
    """One boat.

    Parameters
    ----------
    name : str
    hand : str
        Who keeps its sheet: "dock" or "trailer".
    overdrive_pct, engine_speed_rpm : float
        Usual set-up.
    """

    name: str
    hand: str
    overdrive_pct: float
    engine_speed_rpm: float


@dataclass(frozen=True, slots=True)
class MeetSpec:
    """One meet.

    Parameters
    ----------
    name : str
    first_day : date
    days : int
    air_temperature_f, barometer_inhg, humidity_pct : float
        Typical; the barometer is the station's.
    """

    name: str
    first_day: date
    days: int
    air_temperature_f: float
    barometer_inhg: float
    humidity_pct: float

    @property
    def last_day(self) -> date:
        """Last day of running."""
        return self.first_day + timedelta(days=self.days - 1)


@dataclass(frozen=True, slots=True)
class Fleet:
    """Who runs where.

    Parameters
    ----------
    units : tuple of UnitSpec
    boats : tuple of BoatSpec
    meets : tuple of MeetSpec
        In order, a week or more apart.
    fewest_runs, most_runs : int
        Runs of one boat on one day, uniform, both included.
    """

    units: tuple[UnitSpec, ...]
    boats: tuple[BoatSpec, ...]
    meets: tuple[MeetSpec, ...]
    fewest_runs: int = 3
    most_runs: int = 6

    def __post_init__(self) -> None:
        if not (self.units and self.boats and self.meets):
            message = "a fleet needs units, boats and meets"
            raise UsageError(message)
        if len({unit.name for unit in self.units}) != len(self.units):
            message = "two units of a fleet share a name"
            raise UsageError(message)
        if not 1 <= self.fewest_runs <= self.most_runs:
            message = f"runs a day must rise from 1: {self.fewest_runs} to {self.most_runs}"
            raise UsageError(message)
        for earlier, later in zip(self.meets, self.meets[1:], strict=False):
            if later.first_day - earlier.last_day < timedelta(days=4):
                message = f"{later.name} begins less than four days after {earlier.name} ends"
                raise UsageError(message)
        for number, meet in enumerate(self.meets):
            if len(self.present(number)) < len(self.boats):
                message = f"{meet.name} has {len(self.boats)} boats but fewer units"
                raise UsageError(message, hint="add units or take boats away")

    def present(self, meet: int) -> tuple[int, ...]:
        """Return the numbers of the units at hand at a meet (both counted from 0)."""
        return tuple(
            number
            for number, unit in enumerate(self.units)
            if unit.joins_at <= meet and (unit.leaves_after is None or meet <= unit.leaves_after)
        )


def demo_fleet(meets: int = 9, units: int = 7) -> Fleet:
    """Three boats that share superchargers K1, K2, ... over a season.

    In the whole demo K5 is there from the start with four runs on its strips, K7 joins before
    the third meet with three, K2's boat crashes at the fifth and K6 is sold after the seventh.
    """
    names = [f"K{number}" for number in range(1, units + 1)]
    changed = {
        "K2": UnitSpec("K2", crashes_at=4),
        "K5": UnitSpec("K5", runs_on_strips=4),
        "K6": UnitSpec("K6", leaves_after=6),
        "K7": UnitSpec("K7", runs_on_strips=3, joins_at=2 if meets > 2 else 0),  # noqa: PLR2004 - the third meet
    }
    specs = tuple(changed.get(name, UnitSpec(name)) for name in names)
    boats = (
        BoatSpec("Heron", "dock", 38.0, 8000.0),
        BoatSpec("Otter", "dock", 34.0, 8150.0),
        BoatSpec("Pike", "trailer", 36.0, 7900.0),
    )
    return Fleet(specs, boats[: max(1, min(3, units - 1))], _meets(meets, days_between=21))


def wide_fleet(units: int, runs_per_unit: int) -> Fleet:
    """Any number of units of about so many runs each, for measurements of speed.

    Three boats to seven units; a meet gives a unit about 5.8 runs, and meets follow each other
    every fortnight for as many seasons as it takes.

    Raises
    ------
    UsageError
        Fewer than two units or less than one run.
    """
    if units < 2 or runs_per_unit < 1:  # noqa: PLR2004 - one boat needs a spare
        message = f"a fleet needs two units and one run or more, got {units} and {runs_per_unit}"
        raise UsageError(message)
    boats = max(1, 3 * units // 7)
    per_meet = boats * 3 * 4.5 / units
    meets = max(1, round(runs_per_unit / per_meet))
    width = len(str(units))
    return Fleet(
        tuple(UnitSpec(f"K{number:0{width}d}") for number in range(1, units + 1)),
        tuple(
            BoatSpec(
                f"Boat {number + 1}",
                "trailer" if number % 3 == 2 else "dock",  # noqa: PLR2004 - one in three
                34.0 + 2.0 * (number % 3),
                7900.0 + 100.0 * (number % 4),
            )
            for number in range(boats)
        ),
        _meets(meets, days_between=14),
    )


def _meets(count: int, *, days_between: int) -> tuple[MeetSpec, ...]:
    if count < 1:
        message = f"a season needs a meet, got {count}"
        raise UsageError(message)
    meets = []
    for number in range(count):
        lake, (air, barometer, humidity) = (
            _LAKES[number % len(_LAKES)],
            _CLIMATE[number % len(_CLIMATE)],
        )
        again = f" {number // len(_LAKES) + 1}" if number >= len(_LAKES) else ""
        meets.append(
            MeetSpec(
                name=f"{lake}{again} ({SIMULATED})",
                first_day=OPENING_DAY + timedelta(days=days_between * number),
                days=3,
                air_temperature_f=air,
                barometer_inhg=barometer,
                humidity_pct=humidity,
            )
        )
    return tuple(meets)

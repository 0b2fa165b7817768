"""Which unit makes which run on which boat, and the air it makes it in."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from wearstats.arrays import FloatArray, IntArray
from wearstats_synthetic.fleet import Fleet
from wearstats_synthetic.truth import Truth


@dataclass(frozen=True, slots=True)
class Schedule:
    """All runs, in order of date, unit and run; one element a run.

    Parameters
    ----------
    date : ndarray of datetime64[D]
    meet, unit, boat : ndarray of int
        Numbers from 0 in the fleet's tuples.
    run : ndarray of int
        Order of the unit's runs that day, from 1.
    load : ndarray
        1, or 0.3 to 0.7 where shut off.
    overdrive_pct, engine_speed_rpm : ndarray
    air_temperature_f, barometer_inhg, humidity_pct : ndarray
        As they were; hands round them.
    """

    date: NDArray[np.datetime64]
    meet: IntArray
    unit: IntArray
    boat: IntArray
    run: IntArray
    load: FloatArray
    overdrive_pct: FloatArray
    engine_speed_rpm: FloatArray
    air_temperature_f: FloatArray
    barometer_inhg: FloatArray
    humidity_pct: FloatArray


def draw_schedule(truth: Truth, fleet: Fleet, rng: np.random.Generator) -> Schedule:
    """Draw who runs when: each day every boat carries one unit, and the units take turns.

    Parameters
    ----------
    truth : Truth
    fleet : Fleet
    rng : numpy.random.Generator
    """
    blocks: list[tuple[np.datetime64, int, int, int, int]] = []
    for number, meet in enumerate(fleet.meets):
        turn = rng.permutation(np.asarray(fleet.present(number)))
        for day in range(meet.days):
            when = np.datetime64(meet.first_day + timedelta(days=day))
            for place in range(len(fleet.boats)):
                taken = int(turn[(day * len(fleet.boats) + place) % turn.size])
                runs = int(rng.integers(fleet.fewest_runs, fleet.most_runs + 1))
                blocks.append((when, number, place, taken, runs))
    days = np.array([day for day, *_ in blocks])
    meets, boats, units, counts = np.array([numbers for _, *numbers in blocks], np.int64).T
    order = np.lexsort((units, days))
    repeats = counts[order]
    date = np.repeat(days[order], repeats)
    meet_index = np.repeat(meets[order], repeats)
    boat = np.repeat(boats[order], repeats)
    unit = np.repeat(units[order], repeats)
    run = np.concatenate([np.arange(1, count + 1) for count in repeats])
    return Schedule(
        date=date,
        meet=meet_index,
        unit=unit,
        boat=boat,
        run=run,
        load=_loads(truth, fleet, unit, rng),
        **_set_up(fleet, meet_index, boat, rng),
        **_weather(fleet, meet_index, date, rng),
    )


def _loads(truth: Truth, fleet: Fleet, unit: IntArray, rng: np.random.Generator) -> FloatArray:
    shut_off = rng.random(unit.size) < truth.shut_off_chance
    load = np.where(shut_off, np.round(rng.uniform(0.3, 0.7, unit.size), 1), 1.0)
    # A unit that joins with runs on its strips makes a full first run, so that the runs it
    # joined with are the entered count less one in whole runs.
    for number, spec in enumerate(fleet.units):
        own = np.flatnonzero(unit == number)
        if spec.runs_on_strips and own.size:
            load[own[0]] = 1.0
    return np.asarray(load)


def _set_up(
    fleet: Fleet, meet: IntArray, boat: IntArray, rng: np.random.Generator
) -> dict[str, FloatArray]:
    usual = np.array([spec.overdrive_pct for spec in fleet.boats])
    changed = rng.integers(-3, 4, (len(fleet.meets), len(fleet.boats)))
    speed = np.array([spec.engine_speed_rpm for spec in fleet.boats])
    return {
        "overdrive_pct": np.asarray((usual + changed)[meet, boat], float),
        "engine_speed_rpm": np.round((speed[boat] + 110.0 * rng.standard_normal(boat.size)) / 10.0)
        * 10.0,
    }


def _weather(
    fleet: Fleet, meet: IntArray, date: NDArray[np.datetime64], rng: np.random.Generator
) -> dict[str, FloatArray]:
    days, day = np.unique(date, return_inverse=True)
    air = np.array([spec.air_temperature_f for spec in fleet.meets])[meet]
    barometer = np.array([spec.barometer_inhg for spec in fleet.meets])[meet]
    humidity = np.array([spec.humidity_pct for spec in fleet.meets])[meet]
    warm = 4.0 * rng.standard_normal(days.size)[day] + 2.5 * rng.standard_normal(date.size)
    high = 0.12 * rng.standard_normal(days.size)[day] + 0.02 * rng.standard_normal(date.size)
    return {
        "air_temperature_f": air + warm,
        "barometer_inhg": np.clip(barometer + high, 20.5, 31.0),
        # Warmer air of the same water content is drier: about 1.5 points a degree F.
        "humidity_pct": np.clip(
            np.round(humidity - 1.5 * warm + 4.0 * rng.standard_normal(date.size)), 10.0, 98.0
        ),
    }

"""Boost against the age of the strips."""

import pandas as pd

from wearstats.errors import ObservationError
from wearstats.lives.states import last_seen
from wearstats.lives.strip_lives import StripLives
from wearstats.records.season import Season

_AS_RECORDED = (
    "date",
    "run",
    "meet",
    "engine",
    "load",
    "boost_psi",
    "overdrive_pct",
    "engine_speed_rpm",
    "air_temperature_f",
    "barometer_inhg",
    "humidity_pct",
)


def boost_rows(season: Season, lives: StripLives) -> pd.DataFrame:
    """Return one row for each run with a boost reading.

    Parameters
    ----------
    season : Season
        The season the lives were made from.
    lives : StripLives

    Returns
    -------
    DataFrame
        Sorted by unit, date and run: unit, build, age (after the run, in runs; NaN where
        unknown), date, run, meet, engine, load, boost_psi, overdrive_pct, engine_speed_rpm,
        air_temperature_f, barometer_inhg, humidity_pct, strips (as last seen in this build,
        None if nobody looked yet), known_sound (a look after this run or a later one found the
        strips sound), left_out (the build is left out of fits).

    Raises
    ------
    ObservationError
        The lives were made from another season.
    """
    runs = lives.runs
    builds = lives.frame.set_index(["unit", "build"])[["left_out", "lower"]]
    of_run = builds.reindex(pd.MultiIndex.from_frame(runs[["unit", "build"]]))
    table = pd.DataFrame(
        {
            "unit": runs["unit"],
            "build": runs["build"],
            "age": runs["age_after"],
            **{name: runs[name] for name in _AS_RECORDED},
            "strips": last_seen(runs),
            # Strips do not heal: sound at a later age is sound at this one.
            "known_sound": runs["age_after"].to_numpy() <= of_run["lower"].to_numpy(),
            "left_out": of_run["left_out"].to_numpy(dtype=bool),
        }
    )
    filled = table["boost_psi"].notna()
    if int(filled.sum()) != int(season.runs["boost_psi"].notna().sum()):
        message = "these lives were not made from this season: their boost readings differ"
        raise ObservationError(message)
    return table[filled].reset_index(drop=True)

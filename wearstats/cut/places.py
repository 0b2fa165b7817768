"""Metal-to-metal readings as numbers, one for each place: rotor, lobe, station, clock position."""

import math

import numpy as np
import pandas as pd

from wearstats.errors import ObservationError, TooFewError
from wearstats.feeler import feeler

PLACE = ("rotor", "lobe", "station", "clock")

REPEAT_U_THOU = 0.3
"""Scatter of one hand at one place (common practice, no source)."""
_FEWEST = 1
_ORDER = {"front": -math.inf, "center": 0.5, "rear": math.inf}


def metal_places(readings: pd.DataFrame) -> pd.DataFrame:
    """Turn metal-to-metal readings into one number a place.

    Parameters
    ----------
    readings : DataFrame
        low_thou, high_thou (NaN on an open side; equal for a number), and rotor, lobe, station,
        clock where known; several readings of a place are averaged.

    Returns
    -------
    DataFrame
        rotor, lobe, station, clock (missing as None or NaN), thou, u_thou (standard uncertainty
        of this place alone) and count, in the order of rotor, station, lobe and clock. What all
        places share, `wearstats.feeler.FEEL_U_THOU`, is not in u_thou.

    Raises
    ------
    ObservationError
        No column of readings; a reading with one end only.
    TooFewError
        No reading.

    Notes
    -----
    u^2 = (width^2 / 12 + repeat^2) / n: JCGM 100:2008, 4.3.7.
    """
    missing = [name for name in ("low_thou", "high_thou") if name not in readings]
    if missing:
        message = f"metal-to-metal readings lack the column(s) {', '.join(missing)}"
        raise ObservationError(message)
    table = readings.reindex(columns=[*PLACE, "low_thou", "high_thou"]).reset_index(drop=True)
    read = feeler(table["low_thou"].to_numpy(float), table["high_thou"].to_numpy(float))
    table = table.assign(thou=read.mean_thou, variance=read.u_thou**2, how=read.censoring)
    table = table.loc[table["how"] != "none"]
    if len(table) < _FEWEST:
        message = "there is no metal-to-metal reading to cut from"
        raise TooFewError(message, have=0, need=_FEWEST)
    for name in ("rotor", "station"):
        known = table[name].notna()
        table[name] = table[name].astype(object).where(known, "")
    _refuse_one_sided(table)
    groups = table.groupby(list(PLACE), dropna=False)
    places = groups.agg(
        thou=("thou", "mean"), variance=("variance", "mean"), count=("thou", "size")
    ).reset_index()
    spread = (places["variance"] + REPEAT_U_THOU**2) / places["count"]
    places = places.assign(u_thou=np.sqrt(spread)).drop(columns="variance")
    order = places.assign(at=places["station"].map(station_key))
    order = order.sort_values(["rotor", "at", "station", "lobe", "clock"], kind="stable")
    return order.drop(columns="at").reset_index(drop=True)


def place_name(rotor: object, lobe: object, station: object, clock: object) -> str:
    """Return the words for a place.

    Examples
    --------
    >>> place_name("drive", 2.0, "front", float("nan"))
    'drive rotor, lobe 2, front'
    >>> place_name("", float("nan"), "", 4.5)
    "4:30 o'clock"
    """
    words = [f"{rotor} rotor"] if rotor else []
    words += [f"lobe {int(number)}" for number in [_number(lobe)] if number is not None]
    words += [station_name(str(station))] if station else []
    words += [f"{clock_name(number)} o'clock" for number in [_number(clock)] if number is not None]
    return ", ".join(words) or "the only place"


def station_name(station: str) -> str:
    """Return the words for a station: a bare number is inches from the front."""
    return station if math.isnan(_inches(station)) else f"{station} in"


def clock_name(clock: float) -> str:
    """Return a clock position as it is spoken.

    Examples
    --------
    >>> clock_name(0.0), clock_name(4.5)
    ('12', '4:30')
    """
    hour, minutes = divmod(round(clock * 60.0), 60)
    said = int(hour) % 12 or 12
    return f"{said}:{minutes:02d}" if minutes else str(said)


def station_key(station: str) -> float:
    """Return where a station stands along the rotor, front first."""
    return _ORDER.get(station, _inches(station))


def _inches(station: str) -> float:
    try:
        return float(station.removesuffix("in").strip())
    except ValueError:
        return math.nan


def _number(value: object) -> float | None:
    if value is None or value is pd.NA:
        return None
    number = float(value)  # type: ignore[arg-type]  # a cell of a numeric column
    return number if math.isfinite(number) else None


def _refuse_one_sided(table: pd.DataFrame) -> None:
    for how, said in (
        ("right", "the thickest blade entered; read it with a thicker one"),
        ("left", "the thinnest blade did not enter; read it with a thinner one"),
    ):
        rows = table.loc[table["how"] == how]
        if len(rows):
            first = rows.iloc[0]
            where = place_name(*(first[name] for name in PLACE))
            message = f"at {where} {said}: a bound cannot be cut from"
            raise ObservationError(message)

"""From readings to looks: what one unit, build and age was read as, as an interval."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray
from wearstats.feeler import BLADE_STEP_THOU, feeler

GAPS = ("tip", "mesh", "end", "metal")
"""What is read by feeler and cannot be negative; the other thing is strip height."""

_FAILED = ("burned", "pulled", "cut", "rubbed")


@dataclass(frozen=True, slots=True)
class LeftOutReadings:
    """Readings a fit could not use.

    Parameters
    ----------
    reason : str
    count : int
    """

    reason: str
    count: int


def usable_readings(
    readings: pd.DataFrame, what: str
) -> tuple[pd.DataFrame, tuple[LeftOutReadings, ...]]:
    """Return the readings of `what` as intervals, and what could not be used.

    Parameters
    ----------
    readings : DataFrame
        As `ClearanceWear.fit`.
    what : str

    Returns
    -------
    DataFrame
        unit, build, age, date (None where not given), low, high: thou, infinite where open, equal
        where the number itself was read.
    tuple of LeftOutReadings
    """
    mine = readings.loc[readings["what"] == what]
    gap = what in GAPS
    ends = mine[["low_thou", "high_thou"]].to_numpy(float)
    read = feeler(ends[:, 0], ends[:, 1], step_thou=BLADE_STEP_THOU if gap else 0.0)
    placed = mine["build"].notna().to_numpy() & np.isfinite(mine["age"].to_numpy(float))
    aside = np.zeros(len(mine), dtype=bool)
    if "left_out" in mine:
        aside = mine["left_out"].to_numpy(dtype=bool)
    reasons: tuple[tuple[str, BoolArray], ...] = (
        ("set aside with its build or day", aside),
        ("no reading", read.censoring == "none"),
        ("no build or age known", ~placed),
        ("strips had failed", mine["strips"].isin(_FAILED).to_numpy()),
    )
    kept = np.ones(len(mine), dtype=bool)
    left_out = []
    for reason, wrong in reasons:
        count = int(np.sum(kept & wrong))
        kept &= ~wrong
        if count:
            left_out.append(LeftOutReadings(reason, count))
    # A number written for a gap stands for as much as a blade resolves.
    half = np.where(read.censoring == "exact", 0.5 * BLADE_STEP_THOU if gap else 0.0, 0.0)
    table = pd.DataFrame(
        {
            "unit": mine["unit"].astype(str).to_numpy(),
            "build": mine["build"].to_numpy(float),
            "age": mine["age"].to_numpy(float),
            "date": mine["date"].to_numpy() if "date" in mine else None,
            "low": np.where(np.isnan(ends[:, 0]), -np.inf, ends[:, 0] - half),
            "high": np.where(np.isnan(ends[:, 1]), np.inf, ends[:, 1] + half),
        }
    )
    return table.loc[kept].astype({"build": int}), tuple(left_out)


def looks_of(usable: pd.DataFrame, *, gap: bool) -> pd.DataFrame:
    """One row for each unit, build and age: the mean of the readings lies between low and high.

    Readings of one look share the feel of one hand and the position of the rotor, which does not
    average out; so their ends are averaged, and the interval keeps its width. A gap that no blade
    enters counts as from nought in an average; on its own it has no lower end, for a latent
    reading may fall below nought where the gap itself cannot.
    """
    low = usable["low"].clip(lower=0.0) if gap else usable["low"]
    grouped = usable.assign(low=low).groupby(["unit", "build", "age"])
    looks = grouped.agg(
        low=("low", "mean"), high=("high", "mean"), count=("low", "size"), date=("date", "first")
    ).reset_index()
    if gap:
        looks["low"] = looks["low"].where(looks["low"] > 0.0, -np.inf)
    # One blade too thin and one too thick at the same look may leave nothing said.
    said = np.isfinite(looks["low"]) | np.isfinite(looks["high"])
    kept: pd.DataFrame = looks.loc[said].reset_index(drop=True)
    return kept

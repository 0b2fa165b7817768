"""Tip clearance read two ways: by feeler, and as metal-to-metal clearance less strip height."""

from collections.abc import Iterable

import numpy as np
import pandas as pd

from wearstats.feeler import FEEL_U_THOU
from wearstats.wear.looks import looks_of, usable_readings

HEIGHT_U_THOU = 0.25
"""Standard uncertainty of a strip height (common practice, no source)."""

_COLUMNS = ("unit", "build", "age", "date")


def metal_by_build(readings: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    """Metal-to-metal clearance that belongs to each look: its build's, else its unit's mean.

    Returns
    -------
    DataFrame
        metal, metal_u: thou, NaN where none was read; indexed as `looks`.
    """
    mine = readings.loc[readings["what"] == "metal"].copy()
    if "left_out" in mine:
        mine = mine.loc[~mine["left_out"].astype(bool)]
    mine = mine.loc[mine["low_thou"].notna() & mine["high_thou"].notna()]
    width = (mine["high_thou"] - mine["low_thou"]).where(mine["high_thou"] > mine["low_thou"], 1.0)
    mine = mine.assign(
        unit=mine["unit"].astype(str),
        build=mine["build"].astype(float),
        metal=(mine["low_thou"] + mine["high_thou"]) / 2.0,
        variance=width**2 / 12.0 + FEEL_U_THOU**2,
    )
    own = mine.groupby(["unit", "build"])[["metal", "variance"]].mean()
    kin = mine.groupby("unit")[["metal", "variance"]].mean()
    keys = pd.MultiIndex.from_arrays([looks["unit"], looks["build"].astype(float)])
    found = own.reindex(keys).to_numpy(float)
    spare = kin.reindex(looks["unit"]).to_numpy(float)
    found = np.where(np.isnan(found), spare, found)
    return pd.DataFrame({"metal": found[:, 0], "metal_u": np.sqrt(found[:, 1])}, index=looks.index)


def clearance_by_height(readings: pd.DataFrame) -> pd.DataFrame:
    """Tip clearance of each look with a strip height, as metal-to-metal less the height.

    Parameters
    ----------
    readings : DataFrame
        As `ClearanceWear.fit`, with rows of "metal" and "strip height".

    Returns
    -------
    DataFrame
        unit, build, age, date, count (heights behind it), by_height, by_height_u, metal_u: thou.
        Clearance and metal are exact complements; what they share of a metal reading's error is
        `metal_u`.
    """
    usable, _ = usable_readings(readings, "strip height")
    looks = looks_of(
        usable.loc[np.isfinite(usable["low"]) & np.isfinite(usable["high"])], gap=False
    )
    metal = metal_by_build(readings, looks)
    table = looks[[*_COLUMNS, "count"]].assign(
        by_height=metal["metal"] - (looks["low"] + looks["high"]) / 2.0,
        by_height_u=np.sqrt(metal["metal_u"] ** 2 + HEIGHT_U_THOU**2),
        metal_u=metal["metal_u"],
    )
    return table.loc[table["by_height"].notna()].reset_index(drop=True)


def read_two_ways(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the looks at which tip clearance was read both ways, combined by inverse variance.

    Parameters
    ----------
    readings : DataFrame
        As `ClearanceWear.fit`, with rows of "tip", "metal" and "strip height".

    Returns
    -------
    DataFrame
        unit, build, age, date, by_feeler, by_feeler_u, by_height, by_height_u, combined,
        combined_u (thou) and disagree: whether the two differ by more than twice the standard
        uncertainty of their difference.

    Notes
    -----
    Clearance and strip height add up to the metal-to-metal clearance exactly. A feeler's interval
    is taken as uniform (JCGM 100:2008, 4.3.7).
    """
    usable, _ = usable_readings(readings, "tip")
    usable = usable.assign(low=usable["low"].clip(lower=0.0))
    looks = looks_of(usable.loc[np.isfinite(usable["high"])], gap=False)
    both = looks.merge(
        clearance_by_height(readings).drop(columns=["count", "date"]), on=["unit", "build", "age"]
    )
    felt = (both["low"] + both["high"]) / 2.0
    felt_u = np.sqrt((both["high"] - both["low"]) ** 2 / 12.0 + FEEL_U_THOU**2)
    weights = felt_u**-2.0, both["by_height_u"] ** -2.0
    total = weights[0] + weights[1]
    return both[list(_COLUMNS)].assign(
        by_feeler=felt,
        by_feeler_u=felt_u,
        by_height=both["by_height"],
        by_height_u=both["by_height_u"],
        combined=(weights[0] * felt + weights[1] * both["by_height"]) / total,
        combined_u=total**-0.5,
        disagree=(felt - both["by_height"]).abs()
        > 2.0 * np.sqrt(felt_u**2 + both["by_height_u"] ** 2),
    )


def disagreements(both: pd.DataFrame) -> Iterable[str]:
    """Sentences on the looks whose two readings disagree."""
    for row in both.loc[both["disagree"]].itertuples():
        when = f"{row.date:%Y-%m-%d}" if isinstance(row.date, pd.Timestamp) else f"age {row.age:g}"
        yield (
            f"{row.unit}, {when}: {row.by_feeler:.1f} thou by feeler, but "
            f"{row.by_height:.1f} by strip height and metal-to-metal; a wrong reading, a loose "
            "strip or a damaged case"
        )

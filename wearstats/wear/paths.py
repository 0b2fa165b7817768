"""Wear at every path that has readings enough: tips, mesh, ends."""

import pandas as pd

from wearstats.errors import FitError
from wearstats.wear.clearance import ClearanceWear
from wearstats.wear.forecast import ClearanceWearFit


def fit_paths(readings: pd.DataFrame, *, level: float = 0.9) -> dict[str, ClearanceWearFit]:
    """Fit tip clearance, which must be, and mesh and end clearance where readings allow.

    Parameters
    ----------
    readings : DataFrame
        `wearstats.lives.clearance_readings`.
    level : float

    Returns
    -------
    dict of str to ClearanceWearFit
        "tip", and "mesh" and "end" where they could be fitted; the fit of leakage says what
        stands in for one that could not.

    Raises
    ------
    FitError, ObservationError
        Of the tip clearance.
    """
    found = {"tip": ClearanceWear("tip", level=level).fit(readings)}
    for what in ("mesh", "end"):
        try:
            found[what] = ClearanceWear(what, level=level).fit(readings)
        except FitError:
            continue
    return found

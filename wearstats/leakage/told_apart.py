"""What the boost rows cannot tell apart, and what to be careful about, in sentences."""

import numpy as np
import pandas as pd

from wearstats.arrays import FloatArray
from wearstats.leakage.leak_result import Sizes
from wearstats.leakage.losses import Season
from wearstats.leakage.multiplier import Multiplier

HARDLY_MOVED = 0.8
"""Posterior over prior width from which the data hardly move the multiplier."""
WARN_INFLATION, REFUSE_INFLATION = 5.0, 10.0

_FEW_RUNS, _FEW_RESTRIPS = 100, 3
_FRESH_RUNS = 3.0
_NO_CHANGE = 1e-9
_LEVEL_LIMITS = (0.8, 1.25)
_PATHS_ARE_ONE = (
    "tip, mesh and ends cannot be told apart by boost: one multiplier serves all three, and the "
    "split follows the clearances"
)


def inflation_within_units(chosen: pd.DataFrame, predicted: FloatArray) -> float | None:
    """Variance inflation of the predicted loss beside runs on the strips, within units.

    Parameters
    ----------
    chosen : DataFrame
        unit, age.
    predicted : ndarray, shape (rows,)

    Returns
    -------
    float or None
        None where one of them never changes within a unit.
    """
    pair = pd.DataFrame({"loss": predicted, "age": chosen["age"].to_numpy(float)})
    within = pair - pair.groupby(chosen["unit"].to_numpy()).transform("mean")
    if (within.std() < _NO_CHANGE).any():
        return None
    correlation = float(np.corrcoef(within["loss"], within["age"])[0, 1])
    return 1.0 / max(1.0 - correlation**2, 1e-3)


def not_told_apart(
    chosen: pd.DataFrame, predicted: FloatArray, multiplier: Multiplier
) -> tuple[str, ...]:
    """Say which effects the data leave to the priors."""
    said = []
    inflation = inflation_within_units(chosen, predicted)
    if inflation is None:
        said.append("clearances never change within a unit, so boost says nothing of leakage")
    else:
        grave = (
            ": without the prior on what else fades no answer could be given"
            if inflation > REFUSE_INFLATION
            else (": the prior on what else fades decides" if inflation > WARN_INFLATION else "")
        )
        said.append(
            "leakage and what else fades with runs on the strips (belt, engine, fuel): they grow "
            f"together, which makes either {np.sqrt(inflation):.1f} times as uncertain as it would "
            f"be alone (variance inflation {inflation:.1f} within units){grave}"
        )
    width = multiplier.width_over_prior
    if width > HARDLY_MOVED:
        said.append(
            f"the size of the leak: its interval is {width:.0%} as wide as before any boost was "
            "seen, so these losses are the physics with its prior, hardly moved by the data"
        )
    return (*said, _PATHS_ARE_ONE)


def cautions(sizes: Sizes, season: Season, now: pd.DataFrame) -> tuple[str, ...]:
    """Say what makes this fit doubtful."""
    said = []
    if sizes.runs < _FEW_RUNS or sizes.restrips < _FEW_RESTRIPS:
        said.append(
            f"with {sizes.runs} runs and {sizes.restrips} restrips between them (fewer than "
            f"{_FEW_RUNS} or {_FEW_RESTRIPS}) the losses rest on the prior"
        )
    rows = season.rows
    youngest = rows.groupby(rows["unit"].astype(str))["age"].min()
    stale = [unit for unit in now["unit"] if youngest[unit] > _FRESH_RUNS]
    if stale:
        said.append(f"no boost on fresh strips to compare with: {', '.join(stale)}")
    level = pd.Series(season.unit_level).groupby(rows["unit"].astype(str)).first()
    low, high = _LEVEL_LIMITS
    odd = level[(level < low) | (level > high)]
    if len(odd):
        said.append(
            "boost is far from what displacement and overdrive explain, so check the units sheet: "
            + ", ".join(f"{unit} ({value - 1.0:+.0%})" for unit, value in odd.items())
        )
    return tuple(said)

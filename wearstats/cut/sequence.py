"""The cuts in order: a first one short of the mark, then fine ones. Common practice, no source."""

import math
from dataclasses import dataclass

from wearstats.errors import PlanError, UsageError

SHORT_THOU = 2.0
"""How far the first cut stays short of the mark."""
FINE_THOU, FINEST_THOU = 1.0, 0.5
"""Finish cuts: 0.0005 to 0.001 in."""

_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Cut:
    """One cut.

    Parameters
    ----------
    kind : str
        "first" or "finish".
    to_thou : float
        Strip height above the rotor after it.
    takes_thou : float or None
        What it takes off; None for a first cut from a height that is not known.
    """

    kind: str
    to_thou: float
    takes_thou: float | None


def cuts_to(height_thou: float, stock_thou: float | None, *, step_thou: float) -> tuple[Cut, ...]:
    """Return the cuts from strips as fitted to a height.

    Parameters
    ----------
    height_thou : float
        Height to set, above the rotor.
    stock_thou : float or None
        Height of the strips as fitted; None where not known.
    step_thou : float
        Of the cutter.

    Returns
    -------
    tuple of Cut
        Empty where the strips stand at the height already.

    Raises
    ------
    UsageError
        The cutter's step is coarser than a finish cut.
    PlanError
        The strips as fitted are lower than the height.
    """
    if step_thou > FINEST_THOU:
        message = f"a cutter's step of {step_thou:g} thou is coarser than a finish cut"
        raise UsageError(message)
    left = math.inf if stock_thou is None else stock_thou - height_thou
    if left < -_SLACK:
        message = (
            f"the strips as fitted stand {stock_thou:g} thou above the rotor and {height_thou:.1f} "
            "are to be left: no cut makes a strip higher"
        )
        raise PlanError(message, hint="Fit a higher strip, or ask for a wider clearance.")
    made = []
    if left > SHORT_THOU + FINEST_THOU - _SLACK:
        takes = None if math.isinf(left) else left - SHORT_THOU
        made.append(Cut("first", height_thou + SHORT_THOU, takes))
        left = SHORT_THOU
    while left > _SLACK:
        takes = _finish(left)
        left -= takes
        made.append(Cut("finish", height_thou + left, takes))
    return tuple(made)


def _finish(left: float) -> float:
    """Return what the next finish cut takes, so that the last ones are the finest."""
    if left >= FINE_THOU + 2 * FINEST_THOU - _SLACK:
        return FINE_THOU
    if left >= 2 * FINEST_THOU - _SLACK:
        return FINEST_THOU
    return left

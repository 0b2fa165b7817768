"""Whether a regression's likelihood rises for ever along some direction: by linear programming."""

from collections.abc import Callable, Iterator

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotIdentifiedError
from wearstats.life.rising import rising_direction

_FIRST_ROWS = 20_000


def refuse_separation(
    rows: Callable[[], Iterator[FloatArray]], names: tuple[str, ...], *, asked: int, who: str
) -> None:
    """Raise where a direction b has d @ b >= 0 for every row d, and more for some.

    Then the likelihood rises along it without end. For Cox's partial likelihood a row is the
    covariates of a failure less those of another at risk (Bryson & Johnson 1981, Technometrics
    23:381-383; from memory); for yes and no, the covariates of a yes and minus those of a no
    (Albert & Anderson 1984, Biometrika 71:1-10; from memory).

    Parameters
    ----------
    rows : function
        Gives the rows anew, block by block, each of shape (k, p). Where a part of them already
        leaves no direction, the rest cannot bring one back and is not asked for.
    names : tuple of str, length p
    asked : int
        How many of the first names are covariates (others are intercepts).
    who : str
        What is fitted, for the message.

    Raises
    ------
    NotIdentifiedError
        Such a direction exists.
    """
    limit = _FIRST_ROWS
    while True:
        kept, whole = _some(rows(), limit, len(names))
        direction = rising_direction(kept)
        if direction is None:
            return
        if whole:
            break
        limit *= 4
    strong = np.abs(direction[:asked])
    at = int(np.argmax(strong)) if strong.max(initial=0.0) > 0 else 0
    word = "grows" if direction[at] > 0 else "falls"
    told = f"the hazard ratio of {names[at]} {word} without bound"
    message = f"{who} has no finite answer: {told}, because it parts the failed from the sound"
    raise NotIdentifiedError(
        message, direction=told, hint="leave it out, or wait for more failures"
    )


def _some(blocks: Iterator[FloatArray], limit: int, width: int) -> tuple[FloatArray, bool]:
    kept: list[FloatArray] = []
    count = 0
    for block in blocks:
        kept.append(np.unique(block, axis=0))
        count += kept[-1].shape[0]
        if count > limit:
            return np.concatenate(kept), False
    return np.concatenate(kept) if kept else np.zeros((0, width)), True

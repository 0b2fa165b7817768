"""Checks on what a figure is given."""

from collections.abc import Sequence

import pandas as pd

from wearstats.errors import UsageError


def need_columns(frame: pd.DataFrame, columns: Sequence[str], figure: str) -> None:
    """Refuse a frame that lacks columns the figure needs.

    Raises
    ------
    UsageError
        Names the figure, what is missing and what is there.
    """
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        there = ", ".join(str(column) for column in frame.columns) or "none"
        message = (
            f"the figure of {figure} needs the columns {', '.join(columns)}; "
            f"missing: {', '.join(missing)}; there are: {there}"
        )
        raise UsageError(message)


def percent_label(share: float, _position: int | None = None) -> str:
    """Return the words at a tick of a share.

    Examples
    --------
    >>> percent_label(0.25)
    '25 %'
    """
    return f"{100 * share:.0f} %"

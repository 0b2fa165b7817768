"""Cox-Snell residuals: whether the law of life holds, at a glance."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from wearstats.errors import UsageError
from wearstats.plots.frames import need_columns, percent_label
from wearstats.plots.lives import draw_steps
from wearstats.plots.style import FLEET, key_below, name_axes, say_instead, style

_POINTS = 200


def residual_curve(steps: pd.DataFrame, axes: Axes) -> Axes:
    """Draw the curve without a model of the residuals beside exp(-r), where a right law puts it.

    Parameters
    ----------
    steps : DataFrame
        Columns residual, survival and, where the curve falls somewhere after it, since; as
        `survival_curve` takes its steps, on the scale of cumulative hazard.
    axes : Axes

    Raises
    ------
    UsageError
        A column is missing, or a residual is below 0.
    """
    need_columns(steps, ("residual", "survival"), "the residuals")
    if (steps["residual"] < 0).any():
        message = "a residual to draw is a cumulative hazard, 0 or more"
        raise UsageError(message)
    with style():
        if steps.empty:
            return say_instead(axes, "No residual is known.")
        most = max(float(steps["residual"].max()), 1.0)
        at = np.linspace(0.0, most, _POINTS)
        axes.plot(at, np.exp(-at), color=FLEET, label="if the law is right")
        draw_steps(steps.rename(columns={"residual": "runs"}), axes)
        axes.set_ylim(0, 1.02)
        axes.set_xlim(left=0)
        axes.yaxis.set_major_formatter(FuncFormatter(percent_label))
        name_axes(axes, "cumulative hazard by the fitted law", "chance to outlast it")
        key_below(axes)
    return axes

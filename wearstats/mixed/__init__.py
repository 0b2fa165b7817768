"""Linear mixed models: variance components, effects and predictions."""

from wearstats.mixed.adapter import fit_mixed
from wearstats.mixed.equations import Component, MixedFit
from wearstats.mixed.fitting import fit_components, least_squares, restricted_slope
from wearstats.mixed.lines import fit_lines
from wearstats.mixed.nested_fit import NestedFit, Predicted

__all__ = [
    "Component",
    "MixedFit",
    "NestedFit",
    "Predicted",
    "fit_components",
    "fit_lines",
    "fit_mixed",
    "least_squares",
    "restricted_slope",
]

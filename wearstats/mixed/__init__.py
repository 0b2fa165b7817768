"""Linear mixed models: variance components, effects and predictions."""

from wearstats.mixed.adapter import fit_mixed
from wearstats.mixed.equations import Component, MixedFit
from wearstats.mixed.fitting import fit_components, least_squares, restricted_slope

__all__ = [
    "Component",
    "MixedFit",
    "fit_components",
    "fit_mixed",
    "least_squares",
    "restricted_slope",
]

"""Linear mixed models: the one door to statsmodels."""

from wearstats.mixed.equations import Component, MixedFit
from wearstats.mixed.fitting import fit_components, fit_mixed

__all__ = ["Component", "MixedFit", "fit_components", "fit_mixed"]

"""Linear mixed models: the one door to statsmodels."""

from wearstats.mixed.equations import Component, MixedFit
from wearstats.mixed.fitting import fit_leanest, fit_mixed

__all__ = ["Component", "MixedFit", "fit_leanest", "fit_mixed"]

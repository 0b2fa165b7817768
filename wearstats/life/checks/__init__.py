"""Checks beside the fitted law: no law assumed, or the law held against what was seen."""

from wearstats.life.checks.cox import CoxFit, cox, ratio_frame
from wearstats.life.checks.proportionality import AgeDrift, Proportionality

__all__ = ["AgeDrift", "CoxFit", "Proportionality", "cox", "ratio_frame"]

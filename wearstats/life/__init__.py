"""Strip life: laws, likelihood, intervals, prior-based fit and the curves without a model.

The names are loaded when asked for, but for three functions whose modules have the same names.
"""

from typing import TYPE_CHECKING

from wearstats.lazy import on_demand
from wearstats.life.bootstrap import Refits, bootstrap
from wearstats.life.posterior import LifePosterior, posterior
from wearstats.life.regression_posterior import HazardRegressionPosterior, regression_posterior

if TYPE_CHECKING:
    from wearstats.life.answers import METHODS, LifeAnswer, LifeDict, Method, fit_life
    from wearstats.life.checks.cox_fit import CoxFit, cox, ratio_frame
    from wearstats.life.checks.grouped import GroupedFit, complementary_log_log
    from wearstats.life.checks.influences import Influence, influence
    from wearstats.life.checks.residuals import CoxSnell, cox_snell
    from wearstats.life.distributions import BASELINES
    from wearstats.life.factors import (
        Behind,
        FactorAnswer,
        FrailtyAsked,
        fit_factors,
        usual_factors,
    )
    from wearstats.life.goodness import Comparison, GoodnessOfFit, compare_laws, goodness_of_fit
    from wearstats.life.incidence import CumulativeIncidence, cumulative_incidence
    from wearstats.life.nonparametric import SurvivalCurve, kaplan_meier
    from wearstats.life.prior import Prior, PriorDict
    from wearstats.life.regression import HazardRegression
    from wearstats.life.regression_results import HazardRegressionFit
    from wearstats.life.results import StripLifeFit
    from wearstats.life.seen import CurvePoint, falls_of, seen_curve
    from wearstats.life.sensitivity import PriorSensitivity, prior_sensitivity
    from wearstats.life.strip_life import StripLife
    from wearstats.life.turnbull import IntervalCurve, npmle

__all__ = [
    "BASELINES",
    "METHODS",
    "Behind",
    "Comparison",
    "CoxFit",
    "CoxSnell",
    "CumulativeIncidence",
    "CurvePoint",
    "FactorAnswer",
    "FrailtyAsked",
    "GoodnessOfFit",
    "GroupedFit",
    "HazardRegression",
    "HazardRegressionFit",
    "HazardRegressionPosterior",
    "Influence",
    "IntervalCurve",
    "LifeAnswer",
    "LifeDict",
    "LifePosterior",
    "Method",
    "Prior",
    "PriorDict",
    "PriorSensitivity",
    "Refits",
    "StripLife",
    "StripLifeFit",
    "SurvivalCurve",
    "bootstrap",
    "compare_laws",
    "complementary_log_log",
    "cox",
    "cox_snell",
    "cumulative_incidence",
    "falls_of",
    "fit_factors",
    "fit_life",
    "goodness_of_fit",
    "influence",
    "kaplan_meier",
    "npmle",
    "posterior",
    "prior_sensitivity",
    "ratio_frame",
    "regression_posterior",
    "seen_curve",
    "usual_factors",
]

if not TYPE_CHECKING:
    __getattr__ = on_demand(
        __name__,
        {
            "wearstats.life.answers": ("METHODS", "LifeAnswer", "LifeDict", "Method", "fit_life"),
            "wearstats.life.checks.cox_fit": ("CoxFit", "cox", "ratio_frame"),
            "wearstats.life.checks.grouped": ("GroupedFit", "complementary_log_log"),
            "wearstats.life.checks.influences": ("Influence", "influence"),
            "wearstats.life.checks.residuals": ("CoxSnell", "cox_snell"),
            "wearstats.life.distributions": ("BASELINES",),
            "wearstats.life.factors": (
                "Behind",
                "FactorAnswer",
                "FrailtyAsked",
                "fit_factors",
                "usual_factors",
            ),
            "wearstats.life.goodness": (
                "Comparison",
                "GoodnessOfFit",
                "compare_laws",
                "goodness_of_fit",
            ),
            "wearstats.life.incidence": ("CumulativeIncidence", "cumulative_incidence"),
            "wearstats.life.nonparametric": ("SurvivalCurve", "kaplan_meier"),
            "wearstats.life.prior": ("Prior", "PriorDict"),
            "wearstats.life.regression": ("HazardRegression",),
            "wearstats.life.regression_results": ("HazardRegressionFit",),
            "wearstats.life.results": ("StripLifeFit",),
            "wearstats.life.seen": ("CurvePoint", "falls_of", "seen_curve"),
            "wearstats.life.sensitivity": ("PriorSensitivity", "prior_sensitivity"),
            "wearstats.life.strip_life": ("StripLife",),
            "wearstats.life.turnbull": ("IntervalCurve", "npmle"),
        },
    )

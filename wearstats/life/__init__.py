"""Strip life: laws, likelihood, intervals, prior-based fit and the product-limit curve."""

from wearstats.life.answers import METHODS, LifeAnswer, LifeDict, Method, fit_life
from wearstats.life.distributions import BASELINES
from wearstats.life.nonparametric import SurvivalCurve, kaplan_meier
from wearstats.life.posterior import LifePosterior, posterior
from wearstats.life.prior import Prior, PriorDict
from wearstats.life.results import StripLifeFit
from wearstats.life.strip_life import StripLife

__all__ = [
    "BASELINES",
    "METHODS",
    "LifeAnswer",
    "LifeDict",
    "LifePosterior",
    "Method",
    "Prior",
    "PriorDict",
    "StripLife",
    "StripLifeFit",
    "SurvivalCurve",
    "fit_life",
    "kaplan_meier",
    "posterior",
]

"""Plans: when to restrip, where every unit stands, how many strip sets to carry."""

from wearstats.plans.advice import Advice
from wearstats.plans.cautions import ADVICE_MEANS, CAUTIONS
from wearstats.plans.chance import Chances, chances
from wearstats.plans.draws import KnownSurvival, SurvivalDraws
from wearstats.plans.fleet import FleetOutlook, UnitApart, UnitOutlook
from wearstats.plans.meet import Meet, MeetPlan, MeetRun, MeetUnit, read_meet
from wearstats.plans.meet_planning import plan_meet
from wearstats.plans.meet_units import meet_units
from wearstats.plans.outlook import LossOfUnit, outlook
from wearstats.plans.restrip import RestripInterval, RestripPlan
from wearstats.plans.sets import SetsNeeded, StripsNow, sets_needed, strips_now
from wearstats.plans.unit_effects import UnitEffects, unit_effects
from wearstats.plans.what_if import WhatIf, what_if

__all__ = [
    "ADVICE_MEANS",
    "CAUTIONS",
    "Advice",
    "Chances",
    "FleetOutlook",
    "KnownSurvival",
    "LossOfUnit",
    "Meet",
    "MeetPlan",
    "MeetRun",
    "MeetUnit",
    "RestripInterval",
    "RestripPlan",
    "SetsNeeded",
    "StripsNow",
    "SurvivalDraws",
    "UnitApart",
    "UnitEffects",
    "UnitOutlook",
    "WhatIf",
    "chances",
    "meet_units",
    "outlook",
    "plan_meet",
    "read_meet",
    "sets_needed",
    "strips_now",
    "unit_effects",
    "what_if",
]

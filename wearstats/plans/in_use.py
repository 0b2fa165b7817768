"""Draws of burn-through for the strips on each unit: one road for the plan and the lookback."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from wearstats.errors import PlanError
from wearstats.life import LifePosterior
from wearstats.lives import StripLives
from wearstats.plans.draws import SurvivalDraws
from wearstats.plans.hot import HotDraws, HotSeen, first_hot, hot_seen
from wearstats.plans.unit_effects import unit_effects

DrawsOfUnit = Callable[[str], SurvivalDraws]
"""Draws of burn-through on a unit by its name."""

FAILED = "burned"
"""The failure whose life the draws describe."""


@dataclass(frozen=True, slots=True)
class InUse:
    """What is known of strips in use, by unit and build.

    Parameters
    ----------
    fleet : SurvivalDraws
        Of any strips.
    draws_of : callable or None
        Of a unit's strips by its name; None: every unit's are the fleet's.
    seen : HotSeen
        What followed on record when strips were found hot.
    first_hot : mapping
        Age at the first look that found strips hot, by unit and build.
    """

    fleet: SurvivalDraws
    draws_of: DrawsOfUnit | None
    seen: HotSeen
    first_hot: Mapping[tuple[str, int], float]

    @classmethod
    def of_lives(
        cls, lives: StripLives, fleet: SurvivalDraws, draws_of: DrawsOfUnit | None = None
    ) -> "InUse":
        """Return what these lives tell."""
        return cls(fleet, draws_of, hot_seen(lives, fleet, FAILED), first_hot(lives))

    @classmethod
    def planned(cls, lives: StripLives, life: LifePosterior) -> "InUse":
        """Return what a plan made from these lives goes by."""
        try:
            draws_of = unit_effects(lives, life, FAILED).draws_of
        except PlanError:  # one unit alone is the fleet
            return cls.of_lives(lives, life)
        return cls.of_lives(lives, life, draws_of)

    def of_unit(self, unit: str) -> SurvivalDraws:
        """Return the draws of strips nobody found hot."""
        return self.fleet if self.draws_of is None else self.draws_of(unit)

    def hot(self, unit: str, build: int) -> HotDraws | None:
        """Return the draws of strips that were found hot, or None."""
        since = self.first_hot.get((unit, build))
        return None if since is None else HotDraws(self.of_unit(unit), since, self.seen)

    def of_strips(self, unit: str, build: int | None) -> SurvivalDraws:
        """Return the draws of the strips of a build; None is a set that is about to go on."""
        hot = None if build is None else self.hot(unit, build)
        return self.of_unit(unit) if hot is None else hot

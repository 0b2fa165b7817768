"""What a look that found strips hot says of the runs that follow.

Hot is not failed, but strips found hot may burn soon. How soon, the records say themselves: of
builds found hot and run on, the burn-throughs and the runs made since. After a hot look the hazard
is taken as level at a rate r,

    r ~ Gamma(1/2 + burn-throughs, 1/(2 h) + runs)

with h the fleet's mean hazard a run at those ages: with no build run on after a hot look it is, at
half a burn-through's weight, what it is for any strips. A burn-through between two looks counts in
the middle between them. Looks that find strips sound after a hot one change nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray
from wearstats.lives import StripLives
from wearstats.plans.draws import SurvivalDraws, sound
from wearstats.plans.words import runs_in_words

HOT = "hot"
_GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
_PRIOR = 0.5


@dataclass(frozen=True, slots=True)
class HotSeen:
    """What followed when strips were found hot and run on.

    Parameters
    ----------
    builds, burned : int
        Builds run on after a hot look, and of them burned through.
    runs : float
        Made after the hot look, load-weighted.
    usual : float
        The fleet's mean hazard a run at the ages of those looks.
    """

    builds: int
    burned: int
    runs: float
    usual: float

    def rates(self, count: int) -> FloatArray:
        """Return evenly drawn rates, shape (count,), in an order that pairs with any draws."""
        shares = ((np.arange(count) + 0.5) * _GOLDEN) % 1.0
        drawn = special.gammaincinv(_PRIOR + self.burned, shares)
        return np.asarray(drawn / (_PRIOR / self.usual + self.runs), dtype=np.float64)

    @property
    def words(self) -> str:
        """What the records say, as a clause."""
        if self.builds == 0:
            return "no strips on record were run on after that"
        of = "the one build" if self.builds == 1 else f"{self.builds} builds"
        return (
            f"of {of} run on after that {self.burned} burned through in {runs_in_words(self.runs)}"
        )


def hot_seen(lives: StripLives, draws: SurvivalDraws, mode: str = "burned") -> HotSeen:
    """Return what followed on record when strips were found hot."""
    followed: list[tuple[float, float, bool]] = []
    first = first_hot(lives)
    for row in lives.usable.to_dict("records"):
        at = first.get((str(row["unit"]), int(row["build"])))
        if at is None:
            continue
        burned = row["mode"] == mode and np.isfinite(row["upper"])
        last = float(row["lower"])
        if burned:
            last = (max(last, at) + float(row["upper"])) / 2
        if last > at:
            followed.append((at, last - at, bool(burned)))
    return hot_of(followed, draws, usual_age=_typical(lives))


def hot_of(
    followed: Sequence[tuple[float, float, bool]], draws: SurvivalDraws, *, usual_age: float
) -> HotSeen:
    """Return what followed, from age at the hot look, runs after it and whether they burned.

    Parameters
    ----------
    followed : sequence of (float, float, bool)
    draws : SurvivalDraws
        Of the fleet's strips.
    usual_age : float
        Where nothing followed, the age at which h is taken.
    """
    ages = np.array([each[0] for each in followed] or [usual_age])
    sounding = sound(draws, np.concatenate([ages, ages + 1.0]))
    mean = np.array([sounding.weights @ sounding.at(age) for age in ages])
    after = np.array([sounding.weights @ sounding.at(age + 1.0) for age in ages])
    lasting = np.clip(after / np.maximum(mean, 1e-12), 1e-6, 1 - 1e-6)
    return HotSeen(
        builds=len(followed),
        burned=sum(each[2] for each in followed),
        runs=float(sum(each[1] for each in followed)),
        usual=float(np.mean(-np.log(lasting))),
    )


def first_hot(lives: StripLives) -> dict[tuple[str, int], float]:
    """Return the age at the first look that found strips hot, by unit and build."""
    runs = lives.runs
    if not {"unit", "build", "strips", "age_after"} <= {*runs}:
        return {}
    hot = runs[runs["strips"] == HOT].dropna(subset=["age_after"])
    places = zip(hot["unit"], hot["build"], hot["age_after"], strict=True)
    found: dict[tuple[str, int], float] = {}
    for unit, build, age in places:
        key = (str(unit), int(build))
        found[key] = min(float(age), found.get(key, np.inf))
    return found


def _typical(lives: StripLives) -> float:
    reached = lives.usable["lower"].to_numpy(dtype=np.float64)
    return float(np.median(reached)) if reached.size else 1.0


@dataclass(frozen=True, slots=True)
class HotDraws:
    """Draws of survival of strips found hot at an age.

    Parameters
    ----------
    draws : SurvivalDraws
        Of strips nobody found hot.
    since : float
        Age at the first hot look.
    seen : HotSeen
    """

    draws: SurvivalDraws
    since: float
    seen: HotSeen

    def survival_matrix(self, ages: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        """Return survival, shape (n, ages), and the weights."""
        before, weights = self.draws.survival_matrix(np.minimum(ages, self.since))
        over = np.maximum(ages - self.since, 0.0)
        rates = self.seen.rates(weights.size)
        return before * np.exp(-rates[:, None] * over[None, :]), weights

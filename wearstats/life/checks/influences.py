"""On whose lives an answer rests: the fit without each of them in turn.

Source: Cook 1977, Technometrics 19:15-18 (leaving out one case; from memory). Here the move is
stated in the answer itself, runs, and not in a distance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

import numpy as np

from wearstats.errors import FitError, UsageError
from wearstats.estimates import Estimate, EstimateDict
from wearstats.life.bootstrap import refit
from wearstats.life.results import StripLifeFit, check_share
from wearstats.life.strip_life import StripLife

if TYPE_CHECKING:
    from wearstats.arrays import BoolArray, FloatArray
    from wearstats.lives.observations import Observations

LARGE = 0.1
"""Move, as a share of the answer, from which on the answer is said to rest on somebody."""


class InfluenceDict(TypedDict):
    """The stable JSON form of an influence."""

    failed: float
    most: str
    life_at: EstimateDict
    without: EstimateDict | None
    words: str


@dataclass(frozen=True, slots=True)
class Influence:
    """How far life at a share failed moves when one group of lives is left out.

    Parameters
    ----------
    failed : float
    life_at : Estimate, runs
        With all lives.
    groups : tuple of str
        Who was left out in turn.
    moves : tuple of float
        Log of the ratio of the life without the group to that with all; NaN where no fit is
        left without it.
    most : str
        The group without which there is no fit, or else that moves the answer furthest.
    without : Estimate or None, runs
        The life without it; None where there is no fit.
    """

    failed: float
    life_at: Estimate
    groups: tuple[str, ...]
    moves: tuple[float, ...]
    most: str
    without: Estimate | None

    @property
    def words(self) -> str:
        """One sentence."""
        share = f"life at {100 * self.failed:g} % failed"
        if self.without is None:
            return f"The fit rests on {self.most}: without it the records alone settle no law."
        if float(np.nanmax(np.abs(self.moves))) < np.log1p(LARGE):
            alone = f"None of {len(self.groups)}, left out alone,"
            return f"{alone} moves {share} by as much as {100 * LARGE:g} %."
        return (
            f"{share.capitalize()} rests most on {self.most}: without it "
            f"{_said(self.without)}, with it {_said(self.life_at)}."
        )

    def as_dict(self) -> InfluenceDict:
        """Return the influence as plain data."""
        return {
            "failed": self.failed,
            "most": self.most,
            "life_at": self.life_at.as_dict(),
            "without": None if self.without is None else self.without.as_dict(),
            "words": self.words,
        }


def influence(
    observations: "Observations",
    groups: Sequence[str] | None = None,
    *,
    baseline: str = "weibull",
    shape: float | None = None,
    failed: float = 0.1,
    level: float = 0.9,
) -> Influence:
    """Leave out each group of lives in turn and fit the rest.

    Parameters
    ----------
    observations : Observations
    groups : sequence of str, length n, or None
        Which group each life belongs to, its unit say; None leaves out each life alone.
    baseline, shape
        As for `StripLife`.
    failed : float
        Share failed whose age is watched.
    level : float
        Of the intervals, which take the chi-square critical value.

    Raises
    ------
    UsageError
        Not as many groups as lives, or fewer than two groups that tell something.
    TooFewError, NotIdentifiedError, NotConvergedError
        As `StripLife.fit` of all lives; so too where nothing failed, and no estimate exists.
    """
    check_share(failed)
    spec = StripLife(baseline, shape)
    everyone = spec.fit(observations)
    named = np.array(observations.labels if groups is None else list(groups), dtype=np.str_)
    if named.shape != observations.entry.shape:
        message = f"{named.size} groups for {observations.entry.size} lives"
        raise UsageError(message)
    tell = dict.fromkeys(named[observations.informative].tolist())
    if len(tell) < 2 or everyone.mu is None:  # noqa: PLR2004 - nobody to leave out, or no estimate
        message = "whom an answer rests on can be asked of an estimate from two groups or more"
        raise UsageError(message)
    groups_left, life = tuple(tell), everyone.mu + everyone.sigma * everyone.law.quantile(failed)
    left_out = named == np.array(groups_left)[:, None]
    moves = _lives_without(everyone, observations, left_out, failed) - life
    lost = np.isnan(moves)
    place = int(np.argmax(lost if lost.any() else np.abs(moves)))
    most = groups_left[place]
    left = None if lost.any() else _fit(spec, observations, ~left_out[place])
    return Influence(
        failed=failed,
        life_at=everyone.life_at(failed, level),
        groups=groups_left,
        moves=tuple(moves.tolist()),
        most=most,
        without=None if left is None else left.life_at(failed, level),
    )


def _fit(spec: StripLife, observations: "Observations", kept: "BoolArray") -> StripLifeFit | None:
    """Return the fit of the lives kept; None where their likelihood has no finite maximum."""
    places = np.flatnonzero(kept)
    some = type(observations)(
        observations.entry[places],
        observations.lower[places],
        observations.upper[places],
        observations.weight[places],
        tuple(observations.labels[place] for place in places),
    )
    try:
        return spec.fit(some)
    except FitError:
        return None


def _lives_without(
    everyone: StripLifeFit,
    observations: "Observations",
    left_out: "BoolArray",
    failed: float,
) -> "FloatArray":
    """Return the log life at a share failed without each group; NaN where there is no fit.

    A group is a row of those left out, shape (groups, n).
    """
    tells = observations.informative
    refits = refit(
        everyone.law,
        observations.entry[tells],
        observations.lower[tells],
        observations.upper[tells],
        np.where(left_out[:, tells], 0.0, observations.weight[tells]),
        typical_age=everyone.sample.typical_age,
        start=everyone.theta,
    )
    theta = refits.theta
    life = (everyone.law.quantile(failed) - theta[:, 0]) / np.exp(theta[:, 1])
    return np.where(refits.finite, np.log(refits.typical_age) + life, np.nan)


def _said(life: Estimate) -> str:
    low = "0" if life.low is None else f"{life.low:.3g}"
    end = "no end" if life.high is None else f"{life.high:.3g}"
    return f"{life.estimate:.3g} runs ({low} to {end})"

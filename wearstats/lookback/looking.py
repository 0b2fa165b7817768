"""From forecasts to their scores."""

from collections.abc import Sequence

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import ObservationError
from wearstats.estimates import Estimate
from wearstats.life import LifePosterior
from wearstats.lives import StripLives, lives_of
from wearstats.lookback.boost_scores import BoostLookback, score_boosts
from wearstats.lookback.calibration import CalibrationRow, calibration_table
from wearstats.lookback.result import (
    LEAST_BURNED,
    Comparison,
    Lookback,
    MeetScore,
    Scored,
    Scores,
    Total,
)
from wearstats.lookback.rolling import Forecast, LookBack, MeetForecast, fitted, shared_out
from wearstats.lookback.savings import Savings, savings
from wearstats.lookback.scores import brier, inverse_chance_weights, log_score, mean_by_group
from wearstats.lookback.strips import LivesByRun, outcome_of
from wearstats.plans.advice import ENOUGH_FAILURES
from wearstats.plans.in_use import FAILED
from wearstats.records.costs import Costs
from wearstats.records.season import Season

NO_COSTS = "without costs no money can be counted (--costs FILE, or log a costs file)"
NOT_FOLLOWED = "no unit's runs can be followed through its restrips"
TOO_FEW = f"fewer than {LEAST_BURNED} burn-throughs: what the plan would have saved is not known"


def look_back(
    season: Season,
    *,
    level: float = 0.9,
    rule_runs: float | None = None,
    costs: Costs | None = None,
    seed: int = 0,
    boost: bool = False,
) -> Lookback:
    """Say of every past meet what would have been said that morning, and score it.

    Parameters
    ----------
    season : Season
    level : float
        Nominal coverage of every interval.
    rule_runs : float, optional
        The shop's own rule: restrip after so many runs. None: the median age at planned restrips.
    costs : Costs, optional
        None takes the season's.
    seed : int
        Of the lives drawn for the savings.
    boost : bool
        Whether to forecast each unit's boost as well: one fit of leakage for each meet.

    Raises
    ------
    UsageError
        A level or a rule that is none.
    """
    money = season.costs if costs is None else costs
    said = list(LookBack(level, rule_runs, money, boost=boost).forecasts(season))
    lives = lives_of(season)
    life = fitted(lives.observations(FAILED))
    scored, meets = _outcomes(said, lives, life)
    burned = sum(meet.burned for meet in meets)
    by_records = [each for each in scored if _failures(said, each) >= ENOUGH_FAILURES]
    saved, why_not = _savings(
        season, said, lives, life, costs=money, burned=burned, level=level, seed=seed
    )
    return Lookback(
        meets=meets,
        scored=scored,
        total=_total(scored, meets, level),
        calibration=_calibration(by_records, level),
        by_prior=len(scored) - len(by_records),
        scores=_scores(scored, level),
        comparisons=_comparisons(scored, level),
        savings=saved,
        no_savings=why_not,
        rule_given=rule_runs is not None,
        level=level,
        simulated=season.simulated,
        boost=_boost(said, season, lives, level) if boost else None,
    )


def _boost(
    said: Sequence[MeetForecast], season: Season, lives: StripLives, level: float
) -> BoostLookback:
    pairs = [(each.meet, each.boosts) for each in said if each.boosts is not None]
    return score_boosts(pairs, season, lives, level)


def _outcomes(
    said: Sequence[MeetForecast], lives: StripLives, life: LifePosterior | str
) -> tuple[tuple[Scored, ...], tuple[MeetScore, ...]]:
    by_run = LivesByRun(lives)
    scored: list[Scored] = []
    meets = []
    for each in said:
        here = [_scored(forecast, by_run, life) for forecast in each.forecasts]
        scored += here
        meets.append(_meet_score(each, here))
    return tuple(scored), tuple(meets)


def _scored(forecast: Forecast, lives: LivesByRun, life: LifePosterior | str) -> Scored:
    outcome = outcome_of(forecast.start, lives)
    if outcome.burned is not None:
        return Scored(forecast, outcome, float(outcome.burned))
    if isinstance(life, str):
        return Scored(forecast, outcome, _chance(forecast))
    share = shared_out(life, outcome.since, forecast.start.end, outcome.found)
    return Scored(forecast, outcome, share)


def _failures(said: Sequence[MeetForecast], each: Scored) -> float:
    """Burn-throughs on record on the morning of a forecast."""
    return said[each.forecast.start.meet].failures


def _chance(forecast: Forecast) -> float:
    return forecast.chance.estimate or 0.0


def _meet_score(said: MeetForecast, here: Sequence[Scored]) -> MeetScore:
    burned = sum(bool(each.outcome.burned) for each in here)
    unknown = sum(not each.known for each in here)
    held: bool | None = None
    if said.count is not None:
        low, high = said.count.count.low or 0.0, said.count.count.high or 0.0
        may = [low <= number <= high for number in range(burned, burned + unknown + 1)]
        held = may[0] if len(set(may)) == 1 else None
    return MeetScore(said, burned, unknown, held)


def _columns(scored: Sequence[Scored]) -> tuple[FloatArray, FloatArray, np.ndarray, np.ndarray]:
    """Return chance, share, known and unit of each."""
    return (
        np.array([_chance(each.forecast) for each in scored]),
        np.array([each.share for each in scored]),
        np.array([each.known for each in scored], dtype=bool),
        np.array([each.forecast.start.unit for each in scored], dtype=object),
    )


def _total(scored: Sequence[Scored], meets: Sequence[MeetScore], level: float) -> Total | None:
    """Add up; if the chances are right, one meet's number says nothing of the next one's error."""
    from scipy.special import ndtri

    if not scored:
        return None
    chance, share, known, _ = _columns(scored)
    mean = float(chance.sum())
    spread = [meet.said.count.deviation for meet in meets if meet.said.count is not None]
    reach = float(ndtri(0.5 + level / 2)) * float(np.linalg.norm(spread))
    expected = Estimate(mean, max(mean - reach, 0.0), mean + reach, level)
    return Total(expected, int(share[known].sum()), int((~known).sum()), float(share.sum()))


def _calibration(scored: Sequence[Scored], level: float) -> tuple[CalibrationRow, ...]:
    if not scored:
        return ()
    chance, share, known, _ = _columns(scored)
    return calibration_table(chance, share, known, level)


def _scores(scored: Sequence[Scored], level: float) -> Scores | None:
    if not scored:
        return None
    chance, share, known, units = _columns(scored)
    either = np.stack([brier(chance, one, 1.0 - one) for one in (share * 0.0, share * 0.0 + 1.0)])
    settled = brier(chance, share, 1.0 - share)
    ends = [np.where(known, settled, pick(either, axis=0)) for pick in (np.min, np.max)]
    return Scores(
        brier=mean_by_group(settled, units, level),
        log_score=mean_by_group(log_score(chance, share, 1.0 - share), units, level),
        brier_bounds=(float(ends[0].mean()), float(ends[1].mean())),
        brier_reweighed=_reweighed(scored, chance),
    )


def _reweighed(scored: Sequence[Scored], chance: FloatArray) -> float | None:
    """Return the Brier score of known outcomes weighed up, on the clock of each meet."""
    starts = [each.forecast.start for each in scored]
    load = np.array([start.load for start in starts])
    failed = np.array([bool(each.outcome.burned) for each in scored])
    seen = np.array([max(each.outcome.since - each.forecast.start.age, 0.0) for each in scored])
    known = np.array([each.known for each in scored])
    # Known sound: watched past the meet's end, which counts as just after it.
    time = np.where(failed, load, np.where(known, np.nextafter(load, np.inf), seen))
    try:
        happened, beyond = inverse_chance_weights(time, failed, load, ~known)
    except ObservationError:
        return None
    return float(brier(chance, happened, beyond).mean())


def _comparisons(scored: Sequence[Scored], level: float) -> tuple[Comparison, ...]:
    said = (
        ("rule", [each.forecast.by_rule for each in scored]),
        ("curve", [each.forecast.by_curve for each in scored]),
    )
    found = [_comparison(name, scored, values, level) for name, values in said]
    return tuple(each for each in found if each is not None)


def _comparison(
    name: str, scored: Sequence[Scored], values: Sequence[float | None], level: float
) -> Comparison | None:
    pairs = [(one, value) for one, value in zip(scored, values, strict=True) if value is not None]
    if not pairs:
        return None
    own, share, _, units = _columns([one for one, _ in pairs])
    other = np.array([value for _, value in pairs])
    briers = [brier(each, share, 1.0 - share) for each in (own, other)]
    logs = [log_score(each, share, 1.0 - share) for each in (own, other)]
    return Comparison(
        other=name,
        forecasts=len(pairs),
        brier=mean_by_group(briers[1], units, level),
        log_score=mean_by_group(logs[1], units, level),
        own_brier=float(briers[0].mean()),
        own_log_score=float(logs[0].mean()),
        brier_gain=mean_by_group(briers[1] - briers[0], units, level),
        log_gain=mean_by_group(logs[1] - logs[0], units, level),
    )


def _savings(
    season: Season,
    said: Sequence[MeetForecast],
    lives: StripLives,
    life: LifePosterior | str,
    *,
    costs: Costs | None,
    burned: int,
    level: float,
    seed: int,
) -> tuple[Savings | None, str]:
    if costs is None:
        return None, NO_COSTS
    limits = [(season.runs.iloc[each.meet.rows], each.plan_runs) for each in said if each.plan_runs]
    if burned < LEAST_BURNED or isinstance(life, str) or not limits:
        return None, TOO_FEW
    found = savings(lives, limits, life, costs, level=level, seed=seed)
    return found, "" if found is not None else NOT_FOLLOWED

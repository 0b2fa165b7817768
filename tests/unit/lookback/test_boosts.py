"""Boost said of a meet against what was logged there."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest, norm

from wearstats.leakage import BoostAhead
from wearstats.leakage.balance import REFERENCE_PSI
from wearstats.lives import lives_of
from wearstats.lookback import BoostForecast, BoostLookback, MeetBoosts, boost_sentence, look_back
from wearstats.lookback.boost_scores import NO_BAROMETER, NOT_LOGGED, NOT_SOUND, score_boosts
from wearstats.lookback.boosts import TOO_LITTLE
from wearstats.lookback.meets import meets_of
from wearstats.lookback.strips import NoStart
from wearstats.records.season import Season
from wearstats.units import INHG_PA, STANDARD_PRESSURE_PA
from wearstats_synthetic import simulate

SD, RUNS = 0.03, 3


STANDARD_INHG = STANDARD_PRESSURE_PA / INHG_PA


def records(
    boosts: list[list[float]], barometer: float = STANDARD_INHG, last: str = "sound"
) -> Season:
    """K1 makes three runs at each meet on fresh strips, and a look after the last of them."""
    rows, restrips = [], []
    for number, each in enumerate(boosts):
        month = f"2026-{3 + number // 4:02d}-{4 + 7 * (number % 4):02d}"
        restrips.append((month, "K1", "planned", 0.0))
        rows += [
            (month, "K1", run + 1, f"M{number}", last if run == RUNS - 1 else None, psi)
            for run, psi in enumerate(each)
        ]
    runs = pd.DataFrame(rows, columns=["date", "unit", "run", "meet", "strips", "boost_psi"])
    made = pd.DataFrame(restrips, columns=["date", "unit", "reason", "after_run"])
    return Season.from_frames(runs.assign(barometer_inhg=barometer), made)


def scored(season: Season, psi: float, as_last: float, barometer: bool = True) -> BoostLookback:
    """Say the same boost of every run."""
    said = []
    for meet in meets_of(season.runs):
        own = season.runs.iloc[meet.rows]
        days = zip(own["date"], own["run"], strict=True)
        keys = tuple(("K1", day, int(run)) for day, run in days)
        logs = np.full((1, RUNS), np.log1p(psi / REFERENCE_PSI))
        ahead = BoostAhead("K1", np.ones(1), logs, SD**2 * np.eye(RUNS)[np.newaxis])
        forecast = BoostForecast("K1", keys, ahead.mean_psi(0.9), as_last, ahead)
        boosts = MeetBoosts((forecast,), (NoStart(0, "K2", "new"),), barometer)
        said.append((meet, boosts))
    return score_boosts(said, season, lives_of(season), 0.9)


def test_counts_and_errors_by_hand() -> None:
    # Of 12 means, said 30 psi each: two are 4 psi off, ten 1 psi; the last meet's was 2 psi off.
    season = records([[31.0, 30.0, 32.0]] * 10 + [[34.0] * RUNS] * 2)
    found = scored(season, 30.0, 29.0)
    reach = norm.ppf(0.95) * SD / np.sqrt(RUNS)
    assert found.scored[0].said.high == pytest.approx(
        REFERENCE_PSI * np.expm1(np.log1p(30.0 / REFERENCE_PSI) + reach)
    )
    assert (found.held, len(found.scored), found.not_compared) == (10, 12, 0)
    assert found.scores is not None
    assert found.scores.coverage.estimate == pytest.approx(10 / 12)
    exact = binomtest(10, 12).proportion_ci(0.9, "exact")
    coverage = (found.scores.coverage.low, found.scores.coverage.high)
    assert coverage == pytest.approx((exact.low, exact.high))
    assert found.scores.error.estimate == pytest.approx(-(10 * 1.0 + 2 * 4.0) / 12)
    assert found.scores.absolute.estimate == pytest.approx(18.0 / 12)
    assert found.scores.absolute_as_last.estimate == pytest.approx((10 * 2.0 + 2 * 5.0) / 12)
    assert found.scores.gain.estimate == pytest.approx(1.0)
    assert found.told == "as said"
    assert found.without == {"new": 12}
    assert [meet.held for meet in found.meets] == [1] * 10 + [0] * 2
    assert "10 of 12 cases" in boost_sentence(found)
    assert "better than the unit's mean at its last meet" in boost_sentence(found)


def test_what_falls_outside_is_called_too_narrow() -> None:
    found = scored(records([[36.0] * RUNS] * 10), 30.0, 36.0)
    assert (found.told, found.held) == ("too narrow", 0)
    assert "do not trust" in boost_sentence(found)
    assert "worse than" in boost_sentence(found)


def test_boost_is_taken_to_the_reference_pressure() -> None:
    # The same ratio of absolute pressures at another barometer.
    low = 28.0
    season = records([[30.0 * low / STANDARD_INHG] * RUNS] * 10, barometer=low)
    found = scored(season, 30.0, 30.0)
    assert [each.logged for each in found.scored] == pytest.approx([30.0] * 10)
    as_it_is = scored(season, 30.0, 30.0, barometer=False)
    assert as_it_is.scored[0].logged == pytest.approx(30.0 * low / STANDARD_INHG)


def test_runs_that_cannot_be_compared_are_counted_by_reason() -> None:
    blank = scored(records([[30.0, np.nan, 0.0]] * 2), 30.0, 30.0)
    assert blank.runs_left_out == {NOT_LOGGED: 4}
    assert [each.runs for each in blank.scored] == [1, 1]
    high = blank.scored[0].said.high
    reach = norm.ppf(0.95) * SD
    assert high == pytest.approx(REFERENCE_PSI * np.expm1(np.log1p(30.0 / REFERENCE_PSI) + reach))
    assert scored(records([[30.0] * RUNS] * 2, barometer=np.nan), 30.0, 30.0).runs_left_out == {
        NO_BAROMETER: 6
    }
    burned = scored(records([[30.0] * RUNS] * 2, last="burned"), 30.0, 30.0)
    assert burned.runs_left_out == {NOT_SOUND: 6}
    assert burned.not_compared == 2
    assert burned.scores is None
    assert burned.told == "cannot be told"


def test_few_forecasts_say_so() -> None:
    found = scored(records([[30.0] * RUNS] * 9), 30.0, 30.0)
    assert (found.tells, found.told) == (False, "cannot be told")
    assert boost_sentence(found) == (
        "Whether boost came as said cannot be told: 9 forecasts could be compared, and it takes 10."
    )
    assert found.as_dict()["told"] == "cannot be told"


def test_every_unit_at_a_meet_is_forecast_or_counted() -> None:
    season = simulate(1, meets=4, units=3).records
    found = look_back(season, boost=True)
    assert found.boost is not None
    said = [meet.said.boosts for meet in found.meets]
    here = [season.runs.iloc[meet.said.meet.rows]["unit"].nunique() for meet in found.meets]
    told = [len(one.forecasts) + len(one.without) for one in said if one is not None]
    assert told == here
    assert len(found.boost.scored) + found.boost.not_compared + sum(
        found.boost.without.values()
    ) == sum(here)


def test_two_meets_on_record_say_nothing_of_a_third() -> None:
    found = look_back(records([[30.0] * RUNS] * 3), boost=True)
    assert found.boost is not None
    assert not found.boost.scored
    assert found.boost.without == {TOO_LITTLE: 3}
    assert look_back(records([[30.0] * RUNS] * 3)).boost is None


@pytest.mark.slow
def test_intervals_of_simulated_seasons_hold_as_often_as_said() -> None:
    # Seasons draw what meets, units and builds differ by; forecasts of one season share a fit, so
    # the error of the share is that of a mean over seasons. Early meets are wide by their prior.
    found = [look_back(simulate(seed).records, boost=True).boost for seed in range(300, 310)]
    shares = np.array([one.held / len(one.scored) for one in found if one is not None])
    error = shares.std(ddof=1) / np.sqrt(len(shares))
    assert shares.mean() + 3.0 * error > 0.9
    assert shares.mean() - 3.0 * error < 0.97
    gains = [one.scores.gain.estimate for one in found if one is not None and one.scores]
    assert np.mean([gain or 0.0 for gain in gains]) > 0.0

"""The lookback scores the very chances the plan would have given that morning."""

import pytest

from wearstats.lives import lives_of
from wearstats.lookback import LookBack
from wearstats.lookback.meets import known_before
from wearstats.plans.hot import first_hot
from wearstats_reports.fits import fit_all
from wearstats_synthetic import simulate


def test_the_forecast_is_what_the_plan_would_have_said() -> None:
    season = simulate(1).records
    checked = 0
    for meet in LookBack(curve=False).forecasts(season):
        known = known_before(season, meet.meet.first)
        found_hot = set(first_hot(lives_of(known)))
        here = [each for each in meet.forecasts if each.start.build is not None]
        runs = {each.start.runs for each in here if each.start.load == each.start.runs}
        if checked or not any((each.start.unit, each.start.build) in found_hot for each in here):
            continue
        for ahead in runs:
            fits = fit_all(known, level=0.9, runs_ahead=ahead)
            assert fits.outlook.fit is not None
            planned = {unit.unit: unit.chances for unit in fits.outlook.fit.units}
            for forecast in here:
                chances = planned[forecast.start.unit]
                if chances is None or forecast.start.load != ahead:
                    continue
                checked += 1
                lasting, burned = chances.ahead, forecast.chance
                assert burned.estimate == pytest.approx(1 - (lasting.estimate or 0), abs=1e-9)
                assert burned.low == pytest.approx(1 - (lasting.high or 0), abs=1e-9)
                assert burned.high == pytest.approx(1 - (lasting.low or 0), abs=1e-9)
    assert checked > 2

import math

import numpy as np
import psychrolib
import pytest

from wearstats.errors import ObservationError, UsageError
from wearstats.leakage import air, density_altitude, normalise_boost, station_pressure
from wearstats.units import INHG_PA


def test_the_callers_psychrolib_keeps_its_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.IP)
    before = air(300.0, 1e5, relative_humidity=0.4).density
    assert psychrolib.GetUnitSystem() == psychrolib.IP
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert air(300.0, 1e5, relative_humidity=0.4).density == before


def test_three_measures_of_humidity_agree() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    dew = psychrolib.GetTDewPointFromRelHum(26.85, 0.4)
    wet = psychrolib.GetTWetBulbFromRelHum(26.85, 0.4, 1e5)
    by_share = air(300.0, 1e5, relative_humidity=0.4).humidity_ratio
    by_dew = air(300.0, 1e5, dew_point_k=dew + 273.15).humidity_ratio
    by_wet = air(300.0, 1e5, wet_bulb_k=wet + 273.15).humidity_ratio
    # psychrolib iterates dew point and wet bulb to 0.001 K, worth 7e-5 of the ratio.
    assert by_dew == pytest.approx(by_share, rel=2e-4)
    assert by_wet == pytest.approx(by_share, rel=2e-4)


def test_air_takes_arrays() -> None:
    state = air(np.array([290.0, 300.0]), 1e5, relative_humidity=np.array([[0.1], [0.9]]))
    assert state.density.shape == state.density_altitude_m.shape == (2, 2)
    assert (state.density[0] > state.density[1]).all()  # moist air is lighter


@pytest.mark.parametrize("given", [{}, {"relative_humidity": 0.5, "dew_point_k": 280.0}])
def test_exactly_one_measure_of_humidity(given: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="exactly one"):
        air(300.0, 1e5, **given)


def test_humidity_in_percent_is_refused() -> None:
    with pytest.raises(UsageError, match="between 0 and 1"):
        air(300.0, 1e5, relative_humidity=60.0)


@pytest.mark.parametrize("inhg", [19.9, 31.6, 1013.0])
def test_a_barometer_that_cannot_be_is_refused(inhg: float) -> None:
    with pytest.raises(ObservationError, match=r"expected 20 to 31\.5 inHg"):
        normalise_boost(30.0, inhg * INHG_PA)


def test_a_missing_barometer_gives_no_boost_at_the_standard_one() -> None:
    normal = normalise_boost([30.0, 30.0], [math.nan, 101_325.0])
    assert math.isnan(normal[0])
    assert normal[1] == 30.0


def test_no_height_has_this_density() -> None:
    with pytest.raises(ObservationError, match="not that of air"):
        density_altitude(2.0)


def test_a_track_at_the_sea_shows_the_sea_level_pressure() -> None:
    assert station_pressure(101_325.0, 0.0, 288.15) == pytest.approx(101_325.0)

import numpy as np
import pytest

from wearstats.leakage import leak_area, mean_gap


def test_end_stations_count_half_and_lobes_alike() -> None:
    # By hand: (1/2 + 2 + 3/2) / 2 = 2 and (4/2 + 4 + 4/2) / 2 = 4; mean 3.
    assert mean_gap([[1.0, 2.0, 3.0], [4.0, 4.0, 4.0]]) == pytest.approx(3.0)


def test_one_station_is_its_own_mean() -> None:
    assert mean_gap([[1.0], [2.0], [6.0]]) == pytest.approx(3.0)


def test_gaps_of_many_units_are_averaged_each_by_itself() -> None:
    gaps = np.arange(24.0).reshape(2, 3, 4)
    assert mean_gap(gaps).shape == (2,)


def test_a_gap_below_nought_leaks_nothing() -> None:
    shut = leak_area(-1e-4, 0.0, -1e-5, 0.0, rotor_length=0.5, rotor_diameter=0.15)
    assert shut.total == 0.0


def test_ends_add_front_and_rear_over_their_own_length() -> None:
    paths = leak_area(0.0, 0.0, 1e-4, 3e-4, rotor_length=0.5, rotor_diameter=0.15, end_length=0.2)
    assert paths.end == pytest.approx(0.2 * 4e-4)
    assert paths.tip == paths.mesh == 0.0

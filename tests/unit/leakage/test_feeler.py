import math

import numpy as np
import pytest

from wearstats.errors import ObservationError
from wearstats.feeler import feeler


def test_every_kind_of_reading() -> None:
    nan = math.nan
    read = feeler([3.0, 4.0, nan, 8.0, nan, 2.0], [4.0, 4.0, 2.0, nan, nan, 8.0])
    assert read.censoring.tolist() == ["interval", "exact", "left", "right", "none", "interval"]
    assert read.mean_thou[[0, 1, 2, 5]].tolist() == [3.5, 4.0, 1.0, 5.0]
    assert np.isnan(read.mean_thou[[3, 4]]).all()
    # C8: 0.28868 for one thou, JCGM 100 (uniform); by hand for the others.
    assert read.u_thou[[0, 1, 2, 5]] == pytest.approx(
        [0.28868, 0.28868, 0.57735, 1.73205], abs=6e-6
    )
    assert math.isinf(read.u_thou[3])


def test_a_micrometer_has_no_blade_step() -> None:
    assert feeler(26.0, 26.0, step_thou=0.0).u_thou == 0.0


def test_upside_down_is_refused_with_the_reading() -> None:
    with pytest.raises(ObservationError, match="from 5 to 3 thou is upside down"):
        feeler([1.0, 5.0], [2.0, 3.0])

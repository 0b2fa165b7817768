"""Whatever is written down, wear gives an answer of numbers or says why not."""

import math

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.errors import WearstatsError
from wearstats.wear import ClearanceWear

COLUMNS = ["unit", "build", "age", "what", "low_thou", "high_thou", "strips"]
Row = tuple[str, int, float, str, float, float, None]


def written(gap: float, kind: float, step: float) -> tuple[float, float]:
    """Low and high end: one-sided, a bare number, or a blade's step."""
    low = math.floor(gap / step) * step
    ends = [
        (0.1, (low, math.nan)),
        (0.2, (math.nan, low + step)),
        (0.3, (round(gap, 1), round(gap, 1))),
    ]
    return next((pair for below, pair in ends if kind < below), (low, low + step))


def rows_of(seed: int) -> list[Row]:
    """Coarse and fine blades, one-sided readings, numbers, heights, misreadings."""
    rng = np.random.default_rng(seed)
    rows: list[Row] = []
    for unit in range(rng.integers(1, 5)):
        for build in range(rng.integers(1, 4)):
            start = 4.0 + rng.normal() * float(rng.choice([0.0, 0.3, 2.0]))
            rate = 0.15 + rng.normal() * float(rng.choice([0.0, 0.05, 0.3]))
            for age in rng.choice(40, size=rng.integers(1, 7)):
                gap = start + rate * age + rng.normal() * float(rng.choice([0.0, 0.2, 1.0]))
                gap = max(
                    gap + (float(rng.choice([20.0, -3.0])) if rng.random() < 0.03 else 0), 0.0
                )
                step = float(rng.choice([1.0, 1.0, 0.5, 2.0]))
                kind = float(rng.random())
                low, high = written(gap, kind, step)
                rows.append((f"K{unit}", build, float(age), "tip", low, high, None))
                if kind > 0.7:
                    rows.append(
                        (f"K{unit}", build, float(age), "strip height", 30 - gap, 30 - gap, None)
                    )
            if build:
                rows.append((f"K{unit}", build, 0.0, "metal", 30.0, 31.0, None))
    return rows


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_an_answer_of_numbers_or_a_reason(seed: int) -> None:
    frame = pd.DataFrame(rows_of(seed), columns=COLUMNS)
    try:
        fit = ClearanceWear("tip").fit(frame)
    except WearstatsError:
        return  # any other error fails the test
    for unit, build in (("K0", 0.0), ("K0", math.nan), ("K99", math.nan)):
        path = fit.forecast(unit, build, [0.0, 10.0, 60.0])
        assert np.isfinite(path.to_numpy()).all()
        assert (path["low"] <= path["estimate"]).all()
        assert (path["estimate"] <= path["high"]).all()
    chances = fit.limit_reached(9.0, "K0", 0, 5.0).chance_by(np.arange(0.0, 80.0))
    assert ((chances >= 0.0) & (chances <= 1.0)).all()
    assert (np.diff(chances) >= -1e-9).all()

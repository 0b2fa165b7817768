"""Which law fits best, on published data where none does.

Fans of 70 generators, 12 failures: Nelson 1982, Applied Life Data Analysis, chapters 3 and 4. The
log likelihoods are those of R's survival (survreg), run on these data; they differ by less than 1.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wearstats.life.goodness import compare_laws
from wearstats.lives.observations import Observations

FANS = Path(__file__).parent / "data" / "v03_generator_fans.csv"


def test_the_fans_do_not_tell_the_laws_apart() -> None:
    frame = pd.read_csv(FANS)
    time = frame["time"].to_numpy(dtype=float)
    upper = np.where(frame["event"] == 1, time, np.inf)
    weight = frame["count"].to_numpy(dtype=float) if "count" in frame else np.ones(len(frame))
    labels = tuple(f"fan {place}" for place in range(len(frame)))
    found = compare_laws(Observations(np.zeros(len(frame)), time, upper, weight, labels))
    published = {
        "exponential": (-135.177222, 1),
        "lognormal": (-134.549648, 2),
        "loglogistic": (-135.008373, 2),
        "weibull": (-135.152720, 2),
    }
    assert set(found.baselines) == set(published)
    assert max(found.log_likelihood) - min(found.log_likelihood) < 1
    for name, value, aicc in zip(found.baselines, found.log_likelihood, found.aicc, strict=True):
        expected, count = published[name]
        assert value == pytest.approx(expected, abs=5.1e-7)
        # Hurvich & Tsai 1989 (from memory), 70 lives
        corrected = -2 * expected + 2 * count + 2 * count * (count + 1) / (70 - count - 1)
        assert aicc == pytest.approx(corrected, abs=2e-6)
    # Weibull is 2.07 behind by its second parameter alone: 0.05 in twice the log likelihood.
    assert found.baselines[0] == "exponential"
    assert found.tied == ("exponential", "lognormal", "loglogistic")
    assert found.words == (
        "The records cannot tell exponential, lognormal and loglogistic apart (AICc within 2)."
    )

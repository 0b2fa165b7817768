"""Whether boost comes within the interval said of it. One command, seeded.

    python benchmarks/lookback_boost.py [--seasons 30] [--seed 100]

Simulated seasons of seven units over nine meets, clean records; at each meet what `wearstats
lookback` says of each unit's boost. Errors are standard errors over seasons, as forecasts of one
season share its fit.
"""

import argparse
import time

import numpy as np

from wearstats.lookback import look_back
from wearstats_synthetic import simulate

LEVEL = 0.9


def main() -> None:
    """Print coverage by meets on record, and errors beside those of the last meet's mean."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seasons", type=int, default=30)
    parser.add_argument("--seed", type=int, default=100)
    options = parser.parse_args()
    started = time.perf_counter()
    rows, shares = [], []
    for seed in range(options.seed, options.seed + options.seasons):
        found = look_back(simulate(seed).records, level=LEVEL, boost=True).boost
        if found is None or not found.scored:
            continue
        shares.append(found.held / len(found.scored))
        rows += [(each.meet, each.held, each.error, each.error_as_last) for each in found.scored]
    meets, held, errors, last = np.array(rows, dtype=float).T
    for number in np.unique(meets):
        own = meets == number
        print(f"{number:.0f} meets on record: {held[own].mean():.1%} of {own.sum()} held")
    print(
        f"all: {held.mean():.1%} of {len(held)} held, +- "
        f"{np.std(shares, ddof=1) / np.sqrt(len(shares)):.1%}; mean error {errors.mean():.2f}, "
        f"absolute {np.abs(errors).mean():.2f}, of the last meet's mean "
        f"{np.abs(last).mean():.2f} psi ({time.perf_counter() - started:.0f} s)"
    )


if __name__ == "__main__":
    main()

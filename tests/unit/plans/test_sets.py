import json
import math

import numpy as np
import pytest

from wearstats.errors import UsageError
from wearstats.plans import KnownSurvival, StripsNow, sets_needed

FOR_EVER = KnownSurvival(np.ones_like)
EVEN = KnownSurvival(lambda ages: 0.5**ages)


def test_strips_that_never_fail_take_no_set() -> None:
    found = sets_needed(FOR_EVER, [StripsNow("K1", 3, 3)], runs_ahead=6)
    assert found.probability == (1.0,)
    assert found.enough(0.99) == 0


def test_planned_restrips_take_their_sets() -> None:
    # At age 3 with 4 runs each: runs 4, then new strips for 4, then new for the last two.
    found = sets_needed(FOR_EVER, [StripsNow("K1", 3, 3)], runs_ahead=7, restrip_after=4)
    assert found.probability == (0.0, 0.0, 1.0)
    overdue = sets_needed(FOR_EVER, [StripsNow("K1", 9, 9)], runs_ahead=1, restrip_after=4)
    assert overdue.probability == (0.0, 1.0)


def test_strips_found_failed_take_a_set_before_the_first_run() -> None:
    found = sets_needed(FOR_EVER, [StripsNow("K1", 3, 3, failed=True)], runs_ahead=2)
    assert found.probability == (0.0, 1.0)


def test_demand_agrees_with_the_binomial_law() -> None:
    # Half of all strips fail in each run, whatever their age; a failure in the last of 4 runs
    # takes no set: Binomial(3, 1/2).
    found = sets_needed(EVEN, [StripsNow("K1", 2, 2)], runs_ahead=4, simulations=40_000)
    expected = [math.comb(3, k) / 8 for k in range(4)]
    # Five standard errors of a proportion near 3/8 at 40,000: 0.012.
    assert found.probability == pytest.approx(expected, abs=0.012)
    assert found.enough(0.9) == 3


@pytest.mark.parametrize("runs", [2, 3, 6, 12])
def test_mean_demand_is_the_renewal_function(runs: int) -> None:
    # Strips that last one run with chance 0.3 and else two. The chance of a renewal at run k is
    # (1 - (-q)^(k + 1)) / (1 + q), q = 0.7 (partial fractions of 1 / (1 - F(s)); Feller, An
    # Introduction to Probability Theory, vol. 1, ch. XIII; from memory), and the renewal function
    # its sum. A failure in the last run takes no set.
    q = 0.7
    one_or_two = KnownSurvival(lambda ages: np.where(ages < 1, 1.0, np.where(ages < 2, q, 0.0)))
    expected = sum((1 - (-q) ** (k + 1)) / (1 + q) for k in range(1, runs))
    found = sets_needed(one_or_two, [StripsNow("K1", 0, 0)], runs_ahead=runs, simulations=40_000)
    # Five standard errors: a count of renewals varies by less than 1 here.
    assert found.mean == pytest.approx(expected, abs=5 / np.sqrt(40_000))
    assert found.hours(0.9, 6.5) == 6.5 * found.enough(0.9)


def test_strips_nobody_looked_at_may_have_failed_already() -> None:
    # Two runs since the look: sound with chance 1/4.
    found = sets_needed(EVEN, [StripsNow("K1", 2, 0)], runs_ahead=1, simulations=40_000)
    assert found.probability == pytest.approx((0.25, 0.75), abs=0.012)


def test_no_units_take_no_sets_and_json_is_plain() -> None:
    found = sets_needed(EVEN, [], runs_ahead=3)
    data = json.loads(json.dumps(found.as_dict()))
    assert [row["sets"] for row in data["needed"]] == [0, 0, 0]


def test_nonsense_is_refused() -> None:
    with pytest.raises(UsageError):
        StripsNow("K1", 2, 3)
    with pytest.raises(UsageError):
        sets_needed(EVEN, [], runs_ahead=0)
    with pytest.raises(UsageError):
        sets_needed(EVEN, [], runs_ahead=1, restrip_after=0)
    with pytest.raises(UsageError):
        sets_needed(EVEN, [], runs_ahead=1, simulations=0)

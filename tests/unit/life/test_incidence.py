"""Shares failed in each way, held to published data, to counting, and to the product limit."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.errors import ObservationError, TooFewError, UsageError
from wearstats.life import CumulativeIncidence, cumulative_incidence, kaplan_meier
from wearstats.lives.observations import Observations
from wearstats.lives.strip_lives import StripLives

# 30 units, thousand cycles, surge and wear-out, stopped at 300: Meeker & Escobar 1998, Table 15.1
V08 = Path(__file__).parents[2] / "reference/data/v08_device_g_two_modes.csv"
SETTINGS = settings(derandomize=True, deadline=None, max_examples=50)
Row = tuple[float, float, float, str]


def lives(*rows: Row, weight: float = 1.0) -> StripLives:
    """Lives as (entry, lower, upper, mode); the mode empty where sound."""
    frame = pd.DataFrame(rows, columns=["entry", "lower", "upper", "mode"])
    frame["unit"] = [f"K{place}" for place in range(1, len(frame) + 1)]
    frame["build"] = 1
    frame["weight"] = weight
    frame["left_out"] = False
    return StripLives(frame, pd.DataFrame())


def exact(*rows: tuple[float, str]) -> StripLives:
    return lives(*((0.0, at, at if mode else np.inf, mode) for at, mode in rows))


def device() -> StripLives:
    table = pd.read_csv(V08)
    ways = {1: "surge", 2: "wear"}
    return exact(
        *(
            (float(time), ways[cause] if event else "")
            for time, event, cause in zip(
                table["time"], table["event"], table["cause"], strict=True
            )
        )
    )


@pytest.mark.parametrize(
    ("mode", "shares", "errors"),
    [  # nobody is lost before 300: plain proportions, and binomial errors as survival's (R)
        (
            "surge",
            [0.2333333, 0.3333333, 0.4, 0.4333333, 0.4666667, 0.5],
            [0.0772202, 0.0860663, 0.0894427, 0.0904720, 0.0910840, 0.0912871],
        ),
        (
            "wear",
            [0, 0, 0.0333333, 0.0666667, 0.1333333, 0.2333333],
            [0, 0, 0.0327731, 0.0455420, 0.0620633, 0.0772202],
        ),
    ],
)
def test_two_ways_of_failing(mode: str, shares: list[float], errors: list[float]) -> None:
    found = cumulative_incidence(device())
    for age, share, error in zip([50, 100, 150, 200, 250, 299], shares, errors, strict=True):
        assert found.at(mode, age).estimate == pytest.approx(share, abs=5.1e-8)
        assert found.error_at(mode, age) == pytest.approx(error, abs=5.1e-8)
    assert found.lives == 30


def test_lives_that_fail_at_one_age_are_counted_together() -> None:
    rows = [(4.0, "burned"), (4.0, "lifted"), (4.0, ""), (4.0, "burned"), (6.0, "lifted")]
    expected = None
    for turn in range(len(rows)):
        found = cumulative_incidence(exact(*rows[turn:], *rows[:turn]))
        values = (found.failed.tolist(), found.standard_error.tolist(), found.low.tolist())
        expected = expected or values
        assert values == expected
    # counting: 2 of 5 burned and 1 of 5 lifted at 4; then 1 of 1, with 2/5 sound, lifted at 6
    assert found.at("burned", 4).estimate == pytest.approx(2 / 5)
    assert found.at("lifted", 4).estimate == pytest.approx(1 / 5)
    assert found.at("lifted", 6).estimate == pytest.approx(3 / 5)
    # binomial: nobody was lost before 4
    assert found.error_at("burned", 4) == pytest.approx(np.sqrt(0.4 * 0.6 / 5))


def by_sums(found: CumulativeIncidence, deaths: np.ndarray, row: int, until: int) -> float:
    """Dinse & Larson's variance written as its sum, term by term."""
    total = 0.0
    share, everyone = found.failed[row], deaths.sum(axis=0)
    for place in range(until + 1):
        risk, own = found.at_risk[place], deaths[row, place]
        before = 1.0 if place == 0 else found.sound[place - 1]
        rest = share[until] - share[place]
        if risk > everyone[place]:
            total += rest**2 * everyone[place] / (risk * (risk - everyone[place]))
        total += before**2 * own * (risk - own) / risk**3 - 2 * rest * before * own / risk**2
    return total


@st.composite
def some_lives(draw: st.DrawFn) -> StripLives:
    rows = []
    for _ in range(draw(st.integers(1, 12))):
        entry = draw(st.sampled_from([0.0, 0.0, 0.0, 2.0, 4.0]))
        at = entry + draw(st.integers(1, 8))
        mode = draw(st.sampled_from(["burned", "lifted", "chipped", ""]))
        rows.append((entry, at, at if mode else np.inf, mode))
    return lives(*rows, weight=draw(st.sampled_from([1.0, 2.0, 0.7])))


@SETTINGS
@given(some_lives())
def test_shares_and_the_share_sound_add_up(known: StripLives) -> None:
    found = cumulative_incidence(known)
    assert found.failed.sum(axis=0) + found.sound == pytest.approx(1.0)
    assert ((found.low >= 0) & (found.low <= found.failed)).all()
    some = found.failed > 0
    assert ((found.high[some] <= 1) & (found.high[some] >= found.failed[some])).all()
    rows = known.usable
    anyhow = Observations(
        rows["entry"].to_numpy(float),
        rows["lower"].to_numpy(float),
        rows["upper"].to_numpy(float),
        rows["weight"].to_numpy(float),
        tuple(rows["unit"]),
    )
    product = kaplan_meier(anyhow)
    assert product.given_age == found.given_age
    assert found.sound == pytest.approx(product.survival[product.defined])


@SETTINGS
@given(some_lives())
def test_variance_is_the_sum_it_is_said_to_be(known: StripLives) -> None:
    found = cumulative_incidence(known)
    rows = known.usable
    deaths = np.array(
        [
            [
                rows.loc[(rows["mode"] == mode) & (rows["upper"] == age), "weight"].sum()
                for age in found.age
            ]
            for mode in found.modes
        ]
    ).reshape(len(found.modes), found.age.size)
    for row in range(len(found.modes)):
        for place in range(found.age.size):
            expected = by_sums(found, deaths, row, place)
            assert found.standard_error[row, place] ** 2 == pytest.approx(expected, abs=1e-11)


def test_late_entries_do_not_fail_everyone_at_once() -> None:
    late = [(5.0, age, age, "burned") for age in (7.0, 8.0, 9.0, 10.0)]
    found = cumulative_incidence(lives((0.0, 2.0, 2.0, "lifted"), *late))
    assert found.given_age == 5
    assert found.modes == ("burned", "lifted")
    assert found.failures == {"burned": 4.0, "lifted": 0.0}
    assert found.at("burned", 8).estimate == pytest.approx(0.5)
    assert any("sound at 5 runs" in note for note in found.notes)


def test_looks_that_hold_no_other_age_count_at_their_end() -> None:
    known = lives((0, 0, 4, "burned"), (0, 4, 8, "lifted"), (0, 8, np.inf, ""))
    found = cumulative_incidence(known)
    assert found.at("burned", 4).estimate == pytest.approx(1 / 3)
    assert found.at("lifted", 8).estimate == pytest.approx(1 / 3)
    assert not found.notes


def test_failures_whose_order_is_not_known_are_refused_by_name() -> None:
    known = lives((0, 5, np.inf, ""), (0, 3, 6, "burned"), (0, 8, 9, "lifted"))
    with pytest.raises(ObservationError, match=r"K2 build 1 failed between 3 and 6 .* known to 5"):
        cumulative_incidence(known)
    found = cumulative_incidence(known, as_found=True)
    assert found.at("burned", 6).estimate == pytest.approx(0.5)
    assert any("age at which they were found" in note for note in found.notes)


def test_no_share_is_nought_with_certainty() -> None:
    found = cumulative_incidence(exact((3, "burned"), (5, "lifted"), (6, "")))
    none = found.at("lifted", 4)
    assert (none.estimate, none.low, none.high) == (0.0, 0.0, None)
    assert none.note
    frame = found.frame
    assert frame["mode"].tolist() == ["burned", "burned", "lifted", "lifted"]
    assert frame["failed"].tolist() == pytest.approx([1 / 3, 1 / 3, 0, 1 / 3])


def test_what_is_not_known_is_refused() -> None:
    found = cumulative_incidence(exact((3, "burned"), (6, "")))
    with pytest.raises(UsageError, match="'lifted'; there is burned"):
        found.at("lifted", 3)
    with pytest.raises(ObservationError, match="nothing is known of 7"):
        found.at("burned", 7)
    with pytest.raises(ObservationError, match="nobody was watched past 6"):
        cumulative_incidence(exact((3, "burned"), (6, "")), given_age=6)
    with pytest.raises(TooFewError, match="no life says anything"):
        cumulative_incidence(lives((2, 2, np.inf, "")))

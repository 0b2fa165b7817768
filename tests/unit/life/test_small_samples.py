"""Zero failures, one failure, one life, no finite maximum: what each small sample is told."""

import math
import subprocess
import sys

import numpy as np
import pytest

from wearstats.errors import (
    NotConvergedError,
    NotIdentifiedError,
    ObservationError,
    TooFewError,
    UsageError,
)
from wearstats.life import Prior, StripLife, fit_life, kaplan_meier, posterior
from wearstats.lives.observations import Observations


def lives(*rows: tuple[float, float], entry: float = 0.0) -> Observations:
    lower, upper = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    size = len(rows)
    labels = tuple(f"K{place + 1} build 1" for place in range(size))
    return Observations(np.full(size, entry), lower, upper, np.ones(size), labels)


INF = math.inf
SOUND = lives((3, INF), (5, INF), (6, INF), (7, INF))


def test_no_failure_is_too_few_and_names_the_ways_out() -> None:
    with pytest.raises(TooFewError) as caught:
        StripLife().fit(SOUND)
    assert (caught.value.have, caught.value.need) == (0, 1)
    assert "shape" in caught.value.hint


def test_no_failure_with_held_shape_gives_the_exact_lower_bound() -> None:
    fit = StripLife(shape=2.0).fit(SOUND)
    # closed form: exp(-sum (t/scale)^2) = 1 - 0.9 at scale^2 = (9+25+36+49)/-log(0.1)
    bound = math.sqrt(119 / -math.log(0.1))
    scale = fit.parameters(0.9)["scale"]
    assert (scale.estimate, scale.high) == (None, None)
    assert scale.low == pytest.approx(bound)
    life = fit.life_at(0.1)
    assert life.estimate is None
    assert life.low == pytest.approx(bound * math.sqrt(-math.log(0.9)))
    survival = fit.survival(4)
    assert (survival.estimate, survival.high) == (None, None)
    assert survival.low == pytest.approx(math.exp(-((4 / bound) ** 2)))
    chance = fit.chance(4, 3)
    assert chance.low == pytest.approx(math.exp(-(49 - 16) / bound**2))
    assert "bound" in life.note
    assert fit.curve([0, 4])["low"].tolist() == pytest.approx([1.0, survival.low])


def test_one_failure_with_a_finite_maximum_is_fitted() -> None:
    # 5+, 7+, 8+, 10, 12+, 20+: shape 2.481, scale 24.59 (Newton and grid search by the
    # statistician who compared the libraries; one of them refuses this sample)
    known = lives((5, INF), (7, INF), (8, INF), (10, 10), (12, INF), (20, INF))
    parameters = StripLife().fit(known).parameters()
    assert parameters["shape"].estimate == pytest.approx(2.481, abs=5e-4)
    assert parameters["scale"].estimate == pytest.approx(24.59, abs=5e-3)


@pytest.mark.parametrize(
    ("known", "direction"),
    [
        (lives((5, 5), (5, 5), (5, 5)), "shape grows"),
        (lives((8, 8)), "shape grows"),
        (lives((3, 6), (4, 7), (5, INF)), "shape grows"),
        (lives((3, 5), (5, INF), (2, 5)), "shape grows"),
        (lives((0, 6), (0, 4)), "falls to zero"),
        (lives((0, 2), (0, 3), (9, INF), (8, INF), (0, 20), (30, INF)), "shape falls to zero"),
    ],
    ids=["identical", "one life", "shared stretch", "shared point", "all early", "decreasing"],
)
def test_no_finite_maximum_says_where_the_likelihood_rises(
    known: Observations, direction: str
) -> None:
    with pytest.raises(NotIdentifiedError) as caught:
        StripLife().fit(known)
    assert direction in caught.value.direction
    answer = fit_life(known)
    assert answer.method == "bayes"
    assert caught.value.direction in answer.method_note
    assert answer.life_at(0.1).estimate is not None


def test_insisting_on_likelihood_raises() -> None:
    with pytest.raises(TooFewError):
        fit_life(SOUND, method="likelihood")


def test_nothing_known_is_too_few_for_any_method() -> None:
    new = lives((0, INF), (0, INF))
    for attempt in (StripLife().fit, posterior, kaplan_meier, fit_life):
        with pytest.raises(TooFewError):
            attempt(new)


def test_zero_failures_by_bayes_is_a_bound_and_labelled() -> None:
    answer = fit_life(SOUND)
    told = answer.as_dict(runs=[4])
    life = told["life_at"][0]["runs"]
    assert (life["estimate"], life["high"]) == (None, None)
    assert life["low"] is not None
    assert life["low"] > 0
    assert "rests on the prior" in told["method_note"]
    assert told["prior"]["log_shape"] == {"mean": pytest.approx(math.log(2)), "sd": 0.6}
    assert "prior" in told["second_opinion"]
    assert any("prior" in warning for warning in told["warnings"])


def test_silent_lives_are_counted_apart() -> None:
    answer = fit_life(lives((3, 4), (5, 7), (6, INF), (8, 9), (0, INF)))
    assert answer.lives == 4
    assert any(warning.startswith("1 life says nothing yet") for warning in answer.warnings)


def test_profile_of_a_shape_that_may_be_zero_has_no_lower_end() -> None:
    # looked at once each; the failed ones hardly later than the sound ones
    known = lives((0, 8), (0, 10), (0, 4), (7, INF), (9, INF), (5, INF), (4, INF))
    fit = StripLife().fit(known)
    assert fit.parameters()["shape"].low is None
    assert fit.life_at(0.1).low is None


def test_posterior_matches_a_fine_grid() -> None:
    known = lives((4, 5), (6, 7), (7, 8), (9, 10), (8, INF), (12, INF), (10, INF))
    prior = Prior(median_runs=9.0)
    found = posterior(known, prior=prior)
    median = np.linspace(math.log(9) - 3, math.log(9) + 4, 1201)[:, None]
    slope = np.linspace(math.log(2) - 3, math.log(2) + 2.5, 1201)[None, :]
    log_density = (
        -(((median - math.log(9)) / 1.0) ** 2) / 2 - ((slope - math.log(2)) / 0.6) ** 2 / 2
    )

    def hazard(age: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return math.log(2) * np.exp(np.exp(slope) * (math.log(age) - median))

    for low, high in ((4, 5), (6, 7), (7, 8), (9, 10)):
        log_density = log_density + np.log(np.exp(-hazard(low)) - np.exp(-hazard(high)) + 1e-300)
    for low in (8, 12, 10):
        log_density = log_density - hazard(low)
    weights = np.exp(log_density - log_density.max())
    weights = (weights / weights.sum()).ravel()
    shape = np.broadcast_to(np.exp(slope), log_density.shape).ravel()
    life = np.exp(
        median + (math.log(-math.log(0.9)) - math.log(math.log(2))) / np.exp(slope)
    ).ravel()
    chance = np.exp(-(hazard(8) - hazard(6))).ravel()
    answers = (found.parameters()["shape"], found.life_at(0.1), found.chance(6, 2))
    for values, answer in zip((shape, life, chance), answers, strict=True):
        middle = weights @ values
        spread = math.sqrt(weights @ (values - middle) ** 2)
        order = np.argsort(values)
        below = np.cumsum(weights[order])
        expected = np.interp([0.05, 0.5, 0.95], below, values[order])
        # the lattice's stated precision: 2 % of a standard deviation
        assert [answer.low, answer.estimate, answer.high] == pytest.approx(
            expected, abs=0.02 * spread
        )
    survival, mass = found.survival_matrix([0, 3, 6])
    assert survival.shape == (mass.size, 3)
    assert (survival[:, 0] == 1).all()
    assert mass @ survival[:, 2] == pytest.approx(weights @ np.exp(-hazard(6)).ravel(), abs=1e-5)


def test_prior_share_falls_as_lives_come_in() -> None:
    rows = [(4.0, 5.0), (6, 7), (7, 8), (9, 10), (8, INF), (12, INF), (10, INF)]
    few, many = posterior(lives(*rows[:2], rows[4])), posterior(lives(*rows * 12))
    assert few.prior_share()["shape"] > many.prior_share()["shape"]
    assert "mostly on the prior" in few.words
    assert many.words == "The records outweigh the prior."


def test_curve_is_the_survival_with_its_intervals() -> None:
    fit = StripLife().fit(lives((4, 5), (6, 7), (7, 8), (9, 10), (8, INF), (12, INF)))
    curve = fit.curve(np.linspace(0, 15, 61))
    assert list(curve.columns) == ["runs", "survival", "low", "high"]
    assert curve.iloc[0].tolist() == [0.0, 1.0, 1.0, 1.0]
    assert (curve.diff()["survival"].iloc[1:] < 0).all()
    assert (curve["low"] <= curve["survival"]).all()
    assert (curve["survival"] <= curve["high"]).all()
    one = fit.survival(7.5)
    assert curve.iloc[30][["survival", "low", "high"]].tolist() == pytest.approx(
        [one.estimate, one.low, one.high], rel=1e-6
    )


def test_a_larger_critical_value_widens() -> None:
    fit = StripLife().fit(lives((4, 5), (6, 7), (7, 8), (9, 10), (8, INF), (12, INF)))
    plain, wide = fit.life_at(0.1), fit.life_at(0.1, critical=3.8)
    assert None not in (plain.low, plain.high, wide.low, wide.high)
    assert (wide.low or 0) < (plain.low or 0)
    assert (wide.high or 0) > (plain.high or 0)


def test_product_limit_when_all_fail_at_once_has_a_bound() -> None:
    curve = kaplan_meier(lives((5, 5), (5, 5), (5, 5)))
    assert curve.survival.tolist() == [0.0]
    # Clopper-Pearson, none of three: 1 - 0.05^(1/3)
    assert curve.high[0] == pytest.approx(1 - 0.05 ** (1 / 3))


def test_product_limit_refuses_overlapping_intervals_by_name() -> None:
    with pytest.raises(ObservationError, match="K1 build 1"):
        kaplan_meier(lives((3, 6), (5, INF)))


def test_product_limit_says_nothing_past_the_last_look() -> None:
    curve = kaplan_meier(lives((3, 3), (5, INF), (4, INF)))
    assert curve.at(4).estimate == pytest.approx(2 / 3)
    with pytest.raises(ObservationError, match="nothing is known of 6"):
        curve.at(6)


@pytest.mark.parametrize(
    "call",
    [
        lambda fit: fit.life_at(0.0),
        lambda fit: fit.life_at(1.5),
        lambda fit: fit.survival(-1),
        lambda fit: fit.survival(math.nan),
        lambda fit: fit.life_at(0.1, 1.0),
    ],
    ids=["share 0", "share 1.5", "runs -1", "runs missing", "level 1"],
)
def test_impossible_questions_are_refused(call: object) -> None:
    known = lives((4, 5), (6, 7), (9, INF))
    assert callable(call)
    for fit in (StripLife().fit(known), posterior(known)):
        with pytest.raises(UsageError):
            call(fit)


def test_laws_and_methods_that_do_not_exist_are_refused() -> None:
    with pytest.raises(UsageError, match="weibull"):
        StripLife("gompertz")
    with pytest.raises(UsageError, match="fixed shape"):
        StripLife("lognormal", shape=2.0)
    with pytest.raises(UsageError):
        StripLife(shape=-1.0)
    with pytest.raises(UsageError, match="likelihood"):
        fit_life(SOUND, method="guess")  # type: ignore[arg-type]  # what a command line may pass
    with pytest.raises(UsageError):
        Prior(log_shape_sd=0.0)


def test_import_loads_nothing_heavy() -> None:
    code = (
        "import sys, wearstats.life; print([m for m in ('pandas', 'scipy.stats', 'scipy.optimize',"
        " 'statsmodels', 'lifelines', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_chance_far_in_the_tail_of_a_loglogistic_law_is_refused_in_words() -> None:
    tail = Observations(
        np.array([5.0, 0, 0, 5]),
        np.array([6.0, 1, 1, 5]),
        np.array([6.0, 1, np.inf, 8]),
        np.full(4, 3.0),
        tuple("abcd"),
    )
    with pytest.raises(NotConvergedError, match="the Bayesian fit does"):
        StripLife("loglogistic").fit(tail).chance(6, 4)
    found = fit_life(tail, "bayes", "loglogistic").chance(6, 4)
    assert found.low is not None
    assert found.low < (found.estimate or 0.0)

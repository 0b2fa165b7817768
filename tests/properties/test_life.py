"""Whatever a handful of odd lives says, the answer is a number with an interval or a clear no."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearstats.errors import FitError, NotIdentifiedError, ObservationError, TooFewError
from wearstats.estimates import Estimate
from wearstats.life import BASELINES, StripLife, fit_life, kaplan_meier, posterior
from wearstats.lives.observations import Observations

SETTINGS = settings(derandomize=True, deadline=None, max_examples=25)


@st.composite
def few_lives(draw: st.DrawFn, *, late: bool = True) -> Observations:
    """One to seven lives of any kind, many of them alike."""
    rows = []
    for _ in range(draw(st.integers(1, 7))):
        entry = draw(st.sampled_from([0.0, 0.0, 0.0, 2.0, 5.0])) if late else 0.0
        lower = entry + draw(st.integers(0, 8))
        kinds = ["between", "sound", "exact"] if lower > entry else ["between", "sound"]
        kind = draw(st.sampled_from(kinds))
        width = draw(st.integers(1, 5))
        upper = {"between": lower + width, "sound": math.inf, "exact": lower}[kind]
        rows.append((entry, lower, upper, float(draw(st.integers(1, 3)))))
    entry_, lower_, upper_, weight = (
        np.array(column, dtype=float) for column in zip(*rows, strict=True)
    )
    return Observations(entry_, lower_, upper_, weight, tuple(f"K{i}" for i in range(len(rows))))


def sane(value: Estimate, *, chance: bool = False) -> None:
    """Finite or absent, low <= estimate <= high, no width of zero away from 0 and 1."""
    parts = [part for part in (value.low, value.estimate, value.high) if part is not None]
    assert all(math.isfinite(part) for part in parts)
    assert parts == sorted(parts)
    if chance:
        assert all(0 <= part <= 1 for part in parts)
    if value.low is not None and value.low == value.high:
        assert chance
        assert value.low > 1 - 1e-12 or value.low < 1e-12
    assert parts or value.note


@SETTINGS
@given(few_lives(), st.sampled_from(BASELINES))
def test_likelihood_answers_or_says_why_not(known: Observations, baseline: str) -> None:
    try:
        fit = StripLife(baseline).fit(known)
    except TooFewError:
        assert not known.informative.any() or known.failures == 0
        return
    except NotIdentifiedError:
        with pytest.raises(NotIdentifiedError, match=":"):
            StripLife(baseline).fit(known)
        return
    for value in (*fit.parameters().values(), *fit.lives_at([0.1, 0.5])):
        if baseline != "lognormal":
            sane(value)
    for value in (*fit.survivals([2.0, 6.0]), fit.chance(4, 2)):
        sane(value, chance=True)


@SETTINGS
@given(few_lives(), st.sampled_from(BASELINES))
def test_posterior_always_answers(known: Observations, baseline: str) -> None:
    if not known.informative.any():
        with pytest.raises(TooFewError):
            posterior(known, baseline)
        return
    fit = posterior(known, baseline)
    assert fit.weights.sum() == pytest.approx(1.0)
    for value in (fit.life_at(0.1), fit.life_at(0.5)):
        sane(value)
    if fit.failures == 0:
        assert fit.life_at(0.1).estimate is None
        assert fit.life_at(0.1).high is None
    for value in (fit.survival(2.0), fit.survival(6.0), fit.chance(4, 2)):
        sane(value, chance=True)
    assert fit.words.endswith(".")


@settings(SETTINGS, max_examples=12)
@given(few_lives())
def test_auto_takes_the_prior_exactly_where_the_likelihood_will_not_do(known: Observations) -> None:
    try:
        answer = fit_life(known)
    except TooFewError:
        assert not known.informative.any()
        return
    try:
        StripLife().fit(known)
        expected = "likelihood"
    except FitError:
        expected = "bayes"
        assert "prior" in answer.method_note
    assert answer.method == expected
    assert answer.second_opinion.startswith("Second opinion: ")
    told = answer.as_dict(runs=[3.0])
    assert [set(row) for row in told["life_at"]] == [{"failed", "runs"}] * 2
    assert told["survival"][0]["probability"]["level"] == 0.9


@SETTINGS
@given(few_lives(), st.sampled_from(BASELINES), st.floats(0.01, 500.0))
def test_life_is_counted_in_any_unit(known: Observations, baseline: str, factor: float) -> None:
    other = Observations(
        known.entry * factor, known.lower * factor, known.upper * factor, known.weight, known.labels
    )
    try:
        fit = StripLife(baseline).fit(known)
    except FitError as error:
        with pytest.raises(type(error)):
            StripLife(baseline).fit(other)
        return
    again = StripLife(baseline).fit(other)
    assert again.sigma == pytest.approx(fit.sigma, rel=1e-6)
    assert fit.mu is None or again.mu == pytest.approx(fit.mu + math.log(factor), abs=1e-6)


@SETTINGS
@given(few_lives(), st.randoms(use_true_random=False))
def test_order_and_splitting_of_rows_do_not_matter(known: Observations, chance: object) -> None:
    order = np.argsort(np.sin(np.arange(len(known.labels)) + hash(str(chance)) % 7))
    twice = np.concatenate([order, order])
    shuffled = Observations(
        known.entry[twice],
        known.lower[twice],
        known.upper[twice],
        known.weight[twice] / 2,
        tuple(f"{place}" for place in range(twice.size)),
    )
    try:
        fit = StripLife().fit(known)
    except FitError as error:
        with pytest.raises(type(error)):
            StripLife().fit(shuffled)
        return
    again = StripLife().fit(shuffled)
    assert again.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-9)
    assert again.mu == pytest.approx(fit.mu, abs=1e-7)


@SETTINGS
@given(few_lives(late=False))
def test_a_maximum_is_where_the_likelihood_beats_its_limits(known: Observations) -> None:
    """Without late entry the existence check is exact: a wide grid finds the top inside or not."""
    from wearstats.life.distributions import law_named
    from wearstats.life.existence import limit_of
    from wearstats.life.likelihood import gather, log_likelihood

    if not known.informative.any():
        return
    law, sample = law_named("weibull"), gather(known)
    slopes = np.exp(np.linspace(-9, 5, 141))
    ages = np.linspace(-4, 4, 321)
    slope, age = np.meshgrid(slopes, ages, indexing="ij")
    flat = np.linspace(-15, 15, 301)
    inside = log_likelihood(law, sample, np.stack([-slope * age, np.log(slope)], axis=-1)).max()
    low = np.stack(np.broadcast_arrays(flat, -9.0), axis=-1)
    edge = log_likelihood(law, sample, low).max()
    limit = limit_of(law, known)
    if limit.settles and np.isfinite(limit.log_likelihood):
        assert inside <= limit.log_likelihood + 1e-6
    if not limit.settles:
        assert inside > edge - 1e-9
        fit = StripLife().fit(known)
        assert fit.log_likelihood >= inside - 1e-9


@SETTINGS
@given(few_lives())
def test_product_limit_falls_and_stays_inside(known: Observations) -> None:
    try:
        curve = kaplan_meier(known)
    except (ObservationError, TooFewError):
        return
    survival, low, high = (part[curve.defined] for part in (curve.survival, curve.low, curve.high))
    assert np.isfinite([survival, low, high]).all()
    assert (np.diff(survival) <= 0).all()
    assert (low >= 0).all()
    assert (high <= 1).all()
    assert (low <= survival).all()
    assert (survival <= high).all()
    assert (low < high).all()

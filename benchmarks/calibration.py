"""How often intervals that say 90 % hold the truth. One command, seeded: `make calibration`.

    python benchmarks/calibration.py [--replicates 1200] [--drawn 4000] [--ends 40]
        [--library 150] [--seed 20261125] [--workers 2 | --cluster ADDRESS] [--json FILE]

Lives: Weibull with shape 1.2, 2.5 or 4 and scale 12 runs; each strip is looked at every one to
four runs, each gap as likely, and at the end of its watch, which is drawn evenly from 4 to 21 runs:
about 40 % are unfinished. Sets of 6, 12 and 30 lives. Three quantities: the shape, the life at 10 %
failed, the chance that strips sound at 6 runs last four more.

Four intervals:

- calibrated: profile likelihood as `fit_life` gives it, on sets with a finite maximum. Coverage is
  by the fall of the likelihood at the truth; for `--ends` sets of each design the ends are worked
  out too and must agree;
- chi-square: the same with the plain critical value, on the same sets;
- Bayes: the posterior with the prior as it comes, on all sets;
- Wald: lifelines' estimate and covariance on the scale it prints (delta method for the last
  two), on `--library` sets of each design, those on which it ends with a finite covariance.

`auto` is what `fit_life` answers: calibrated where there is a maximum, else Bayes. An interval
with an end that is not a number, or an estimate outside it, stops the run. Figures in brackets
are Monte Carlo standard errors. The seed belongs to the design: neither workers nor a cluster
change a figure (docs/workers.md).
"""

import argparse
import json
import math
import warnings
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.estimates import Estimate
from wearstats.life import LifeAnswer, LifePosterior, Prior, StripLifeFit, fit_life, posterior
from wearstats.life.axes import AgeAxis, Axis, ChanceAxis, ShapeAxis
from wearstats.life.profile import profile_at
from wearstats.lives.observations import Observations
from wearstats.spread import on_workers, spread

SEED = 20261125
SCALE = 12.0
SHAPES = (1.2, 2.5, 4.0)
SIZES = (6, 12, 30)
AGE, MORE = 6.0, 4.0
QUANTITIES = ("shape", "life at 10 %", "four more")
METHODS = ("calibrated", "chi-square", "auto", "Bayes", "Wald")
CHI_SQUARE = 2.705543454


def lives(count: int, shape: float, scale: float, rng: np.random.Generator) -> Observations:
    """Simulate one set."""
    fails, ends = scale * rng.weibull(shape, count), rng.uniform(4, 21, count)
    lower, upper = np.zeros(count), np.full(count, np.inf)
    for place in range(count):
        while lower[place] < ends[place]:
            ahead = min(lower[place] + rng.integers(1, 5), ends[place])
            if ahead >= fails[place]:
                upper[place] = ahead
                break
            lower[place] = ahead
    labels = tuple(f"life {place}" for place in range(count))
    return Observations(np.zeros(count), lower, upper, np.ones(count), labels)


def truth(shape: float, scale: float) -> tuple[float, float, float]:
    """Return the three quantities."""
    hazard = ((AGE + MORE) / scale) ** shape - (AGE / scale) ** shape
    return shape, scale * (-math.log(0.9)) ** (1 / shape), math.exp(-hazard)


def asked(fit: LifeAnswer | StripLifeFit | LifePosterior) -> tuple[Estimate, Estimate, Estimate]:
    """Return the three answers with their 90 % intervals."""
    return fit.parameters(0.9)["shape"], fit.life_at(0.1, 0.9), fit.chance(AGE, MORE, 0.9)


def holds(interval: Estimate, value: float) -> bool:
    """Say whether the interval holds the value; an end that is not there bounds nothing."""
    ends = [end for end in (interval.low, interval.high) if end is not None]
    if not all(math.isfinite(end) for end in ends):
        raise AssertionError(interval)
    low = -math.inf if interval.low is None else interval.low
    high = math.inf if interval.high is None else interval.high
    if interval.estimate is not None and not low <= interval.estimate <= high:
        raise AssertionError(interval)
    return low <= value <= high


def by_fall(fit: StripLifeFit, shape: float) -> tuple[list[bool], list[bool]]:
    """Say whether calibrated and chi-square intervals hold the truth, without their ends."""
    log_scale = math.log(SCALE / fit.sample.typical_age)
    point = np.array([-shape * log_scale, math.log(shape)])
    ages = fit.sample.log_age(np.array([AGE, AGE + MORE]))
    axes: tuple[Axis, ...] = (
        ShapeAxis(),
        AgeAxis(np.array([fit.law.quantile(0.1)])),
        ChanceAxis(fit.law, ages[:1], ages[1:]),
    )
    calibrated, plain = [], []
    for axis in axes:
        c, free = axis.coordinates(point)
        held = profile_at(fit.law, fit.sample, axis, c, free)
        fall = 2 * (fit.log_likelihood - float(held.value[0]))
        critical = CHI_SQUARE
        if fit.calibration is not None:
            critical = float(fit.calibration.values(axis, 0.9)[0])
        calibrated.append(fall <= critical)
        plain.append(fall <= CHI_SQUARE)
    return calibrated, plain


def wald(observations: Observations, values: tuple[float, float, float]) -> list[bool] | None:
    """Say whether lifelines' Wald intervals hold the truth; None where it gives none."""
    from lifelines import WeibullFitter

    fitter = WeibullFitter()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            ends = np.maximum(observations.lower, 1e-9), observations.upper
            fitter.fit_interval_censoring(*ends)
    except Exception:  # noqa: BLE001 - whatever it raises, it gave no interval
        return None
    covariance = np.asarray(fitter.variance_matrix_, dtype=np.float64)
    point = np.array([fitter.lambda_, fitter.rho_])
    if not (np.isfinite(covariance).all() and (np.diag(covariance) >= 0).all()):
        return None

    def at(where: FloatArray) -> FloatArray:
        return np.array(truth(float(where[1]), float(where[0])))

    steps = np.diag(point * 1e-5)
    try:
        turns = [(at(point + step) - at(point - step)) / (2 * step.sum()) for step in steps]
    except OverflowError:  # a shape of some hundreds, where there is no maximum
        return None
    slopes = np.stack(turns)
    errors = np.sqrt(np.einsum("iq,ij,jq->q", slopes, covariance, slopes))
    near = np.abs(at(point) - np.array(values)) <= 1.6448536 * errors
    return [bool(each) for each in near]


@dataclass
class Tally:
    """What was counted for one design."""

    hits: dict[str, list[list[bool]]] = field(
        default_factory=lambda: {method: [] for method in METHODS}
    )
    failures: list[float] = field(default_factory=list)
    none: int = 0
    one: int = 0
    by_bayes: int = 0
    open_ends: int = 0
    checked: int = 0
    critical: list[float] = field(default_factory=list)

    def line(self, method: str) -> str:
        """Return one row: coverage of the three quantities."""
        hits = np.array(self.hits[method], dtype=np.float64)
        if not hits.size:
            return f"  {method:<12} none"
        shares = hits.mean(axis=0)
        errors = np.sqrt(shares * (1 - shares) / len(hits))
        cells = [f"{a:6.1%} ({b:.1%})" for a, b in zip(shares, errors, strict=True)]
        return f"  {method:<12}" + "".join(f"{cell:>17}" for cell in cells) + f"{len(hits):>8} sets"


def study(options: argparse.Namespace, design: tuple[int, float]) -> Tally:
    """Run one design."""
    count, shape = design
    rng = np.random.default_rng([options.seed, count, int(10 * shape)])
    tally, values = Tally(), truth(shape, SCALE)
    for turn in range(options.replicates):
        observations = lives(count, shape, SCALE, rng)
        answer = fit_life(observations, seed=turn)
        tally.failures.append(observations.failures / count)
        tally.none += observations.failures == 0
        tally.one += observations.failures == 1
        bayes = [holds(*pair) for pair in zip(asked(answer.bayes), values, strict=True)]
        tally.hits["Bayes"].append(bayes)
        fit = answer.likelihood
        if fit is None:
            tally.by_bayes += 1
            tally.hits["auto"].append(bayes)
        else:
            calibrated, plain = by_fall(fit, shape)
            tally.hits["calibrated"].append(calibrated)
            tally.hits["chi-square"].append(plain)
            tally.hits["auto"].append(calibrated)
            if tally.checked < options.ends:
                check(fit, values, calibrated, tally)
        if turn < options.library and (found := wald(observations, values)) is not None:
            tally.hits["Wald"].append(found)
    return tally


def table(design: tuple[int, float], tally: Tally) -> str:
    """Return the table of one design."""
    count, shape = design
    head = (
        f"\n{count} lives, shape {shape:g}: {1 - np.mean(tally.failures):.0%} unfinished; "
        f"{tally.none} sets with no failure, {tally.one} with one; {tally.by_bayes} without a "
        f"finite maximum (answered by Bayes); ends worked out for {tally.checked} sets, "
        f"{tally.open_ends} of {3 * tally.checked} intervals open to one side"
    )
    names = f"  {'':<12}" + "".join(f"{name:>17}" for name in QUANTITIES)
    return "\n".join([head, names, *(tally.line(method) for method in METHODS)])


def check(
    fit: StripLifeFit, values: tuple[float, float, float], calibrated: list[bool], tally: Tally
) -> None:
    """Work the ends out too: they must say what the fall said."""
    answers = asked(fit)
    by_ends = [holds(*pair) for pair in zip(answers, values, strict=True)]
    if by_ends != calibrated:
        raise AssertionError((answers, values, calibrated))
    tally.checked += 1
    tally.open_ends += sum(each.low is None or each.high is None for each in answers)


def under_prior(options: argparse.Namespace, count: int) -> Tally:
    """Return the coverage of the posterior where the truth is drawn from its prior."""
    rng = np.random.default_rng([options.seed, count])
    prior = Prior(median_runs=SCALE)
    hits = []
    for _ in range(options.drawn):
        shape = prior.shape * math.exp(prior.log_shape_sd * rng.standard_normal())
        median = SCALE * math.exp(prior.log_median_sd * rng.standard_normal())
        scale = median / math.log(2) ** (1 / shape)
        observations = lives(count, shape, scale, rng)
        fit = posterior(observations, prior=prior)
        pairs = zip(asked(fit), truth(shape, scale), strict=True)
        hits.append([holds(*pair) for pair in pairs])
    tally = Tally()
    tally.hits["Bayes"] = hits
    return tally


def main(words: Sequence[str] | None = None) -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--replicates", type=int, default=1200)
    options.add_argument("--drawn", type=int, default=4000, help="sets of truth from the prior")
    options.add_argument("--ends", type=int, default=40)
    options.add_argument("--library", type=int, default=150)
    options.add_argument("--seed", type=int, default=SEED)
    options.add_argument("--workers", type=int, default=2)
    options.add_argument("--cluster", default="", help="address of a Dask scheduler")
    options.add_argument("--json", type=Path, help="write what was counted here, too")
    chosen = options.parse_args(words)
    print(f"Coverage of nominal 90 % intervals, seed {chosen.seed}; Monte Carlo error in brackets.")
    designs = [(count, shape) for count in SIZES for shape in SHAPES]
    counted: dict[str, dict[str, object]] = {}
    with on_workers(chosen.workers, cluster=chosen.cluster):
        for design, tally in zip(designs, spread(partial(study, chosen), designs), strict=True):
            print(table(design, tally), flush=True)
            counted["{} lives, shape {:g}".format(*design)] = asdict(tally)
        print("\nTruth drawn from the prior (middle of the median life 12 runs):")
        drawn = spread(partial(under_prior, chosen), SIZES)
        for count, tally in zip(SIZES, drawn, strict=True):
            print(f"{count} lives\n{tally.line('Bayes')}", flush=True)
            counted[f"{count} lives, truth from the prior"] = asdict(tally)
    if chosen.json is not None:
        chosen.json.write_text(json.dumps(counted), encoding="utf-8")


if __name__ == "__main__":
    main()

"""`wearstats life`: how long strips last."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.life import (
        Comparison,
        FactorAnswer,
        FrailtyAsked,
        GoodnessOfFit,
        Influence,
        LifeAnswer,
        Method,
        PriorSensitivity,
    )
    from wearstats.lives import Observations, StripLives


@dataclass(frozen=True, slots=True)
class _Checks:
    """What speaks for and against the fit; empty where there is none without a prior."""

    goodness: "GoodnessOfFit | None" = None
    laws: "Comparison | None" = None
    influences: "tuple[Influence, ...]" = ()
    sensitivity: "PriorSensitivity | None" = None

    @property
    def words(self) -> list[str]:
        # Whose unit the answer rests on says more than which of its lives; JSON has both.
        said = (self.goodness, self.laws, *self.influences[-1:], self.sensitivity)
        return [each.words for each in said if each is not None]

    def as_dict(self) -> dict[str, object]:
        return {
            "goodness_of_fit": None if self.goodness is None else self.goodness.as_dict(),
            "laws": None if self.laws is None else self.laws.as_dict(),
            "influence": [each.as_dict() for each in self.influences],
            "prior_sensitivity": None if self.sensitivity is None else self.sensitivity.as_dict(),
        }


@click.command(
    "life",
    epilog="Example: wearstats life shop.book --runs 10. "
    "From a table: wearstats life --lives lives.csv --method likelihood --json",
)
@click.argument("book", metavar="[BOOK]", required=False)
@options.lives_file
@click.option(
    "--baseline",
    type=click.Choice(["weibull", "exponential", "lognormal", "loglogistic"]),
    default="weibull",
    show_default=True,
    help="The law of strip life.",
)
@click.option(
    "--shape", type=click.FloatRange(0.05, 50), help="Hold the Weibull shape at this value."
)
@click.option(
    "--method",
    type=click.Choice(["auto", "likelihood", "bayes"]),
    default="auto",
    show_default=True,
    help="auto takes the likelihood wherever it has a finite maximum, else states a prior.",
)
@click.option(
    "--with",
    "columns",
    metavar="COLUMN,...",
    help="Columns of the runs or of the lives to go with failing, together; boost is enough for "
    "boost_psi. Left out, the usual ones one by one.",
)
@click.option(
    "--frailty",
    type=click.Choice(["auto", "none", "gamma", "lognormal"]),
    default="auto",
    show_default=True,
    help="Effects of the units beside the columns; auto takes gamma where it can be held.",
)
@click.option(
    "--uncalibrated",
    is_flag=True,
    help="Take the chi-square critical value, as published tables do, and simulate nothing.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Seed of the simulated lives that calibrate the intervals.",
)
@click.option(
    "--sensitivity",
    is_flag=True,
    help="Say how far the answer with a prior moves under half and twice the prior's width.",
)
@click.option(
    "--runs", type=click.IntRange(1, 500), default=12, show_default=True, help="Runs to look at."
)
@click.option(
    "--failed",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    multiple=True,
    default=(0.1, 0.5),
    show_default=True,
    help="Share failed at which to state the age; may be given several times.",
)
@options.mode
@options.level
@options.workers
@options.as_json
def command(
    *,
    book: str | None,
    lives_file: Path | None,
    baseline: str,
    shape: float | None,
    method: "Method",
    runs: int,
    failed: tuple[float, ...],
    mode: str,
    level: float,
    uncalibrated: bool,
    seed: int,
    sensitivity: bool,
    columns: str | None,
    frailty: "FrailtyAsked",
    workers: int,
    cluster: str,
    as_json: bool,
) -> int:
    """Fit the strip lives of BOOK and say how long strips last, with intervals."""
    from wearstats.life import fit_life, seen_curve
    from wearstats.spread import on_workers
    from wearstats_cli import factors, life_shown, reading, show, words

    source = reading.lives_from(book, lives_file)
    reading.some_usable(source.lives)
    observations = source.lives.observations(mode)
    with show.working("Fitting and checking"), on_workers(workers, cluster=cluster):
        answer = fit_life(
            observations,
            method=method,
            baseline=baseline,
            level=level,
            shape=shape,
            calibrated=not uncalibrated,
            seed=seed,
        )
        checks = _checks(answer, source.lives, observations, seed=seed, sensitivity=sensitivity)
        found = _factors(
            columns,
            frailty,
            source.lives,
            mode=mode,
            baseline=baseline,
            level=level,
            bayes=method == "bayes",
            calibrated=not uncalibrated,
            seed=seed,
        )
    if as_json:
        body = answer.as_dict(
            level,
            runs=range(1, runs + 1),
            failed=failed,
            left_out=[words.left_out_as_dict(each) for each in source.lives.left_out],
        )
        seen = life_shown.seen_as_dict(seen_curve(observations, level))
        regressions = [each.as_dict() for each in found]
        body["factors"] = {
            name: factor for each in regressions for name, factor in each["factors"].items()
        }
        more = {
            "regressions": regressions,
            "checks": checks.as_dict(),
            "mode": mode,
            "simulated": source.simulated,
        }
        show.as_json("life", {**body, "seen": seen, **more})
        return 0
    show.banner(simulated=source.simulated)
    seen_beside = seen_curve(observations, level)
    life_shown.show_life(answer, source.lives, seen_beside, mode=mode, runs=runs, failed=failed)
    factors.show_factors(found, level, words.ENDS.get(mode, mode))
    trust = [*answer.warnings, *checks.words, answer.second_opinion]
    show.bullets("How far to trust it", trust)
    return 0


def _factors(
    columns: str | None,
    frailty: "FrailtyAsked",
    lives: "StripLives",
    *,
    mode: str,
    baseline: str,
    level: float,
    bayes: bool,
    calibrated: bool,
    seed: int,
) -> "tuple[FactorAnswer, ...]":
    from wearstats.life import fit_factors, usual_factors

    if columns is None:
        return usual_factors(
            lives,
            mode=mode,
            baseline=baseline,
            frailty=frailty,
            level=level,
            calibrated=calibrated,
            seed=seed,
        )
    names = [name.strip() for name in columns.split(",") if name.strip()]
    together = fit_factors(
        lives,
        names,
        mode=mode,
        baseline=baseline,
        frailty=frailty,
        level=level,
        second=True,
        bayes=bayes,
        calibrated=calibrated,
        seed=seed,
    )
    return (together,)


def _checks(
    answer: "LifeAnswer",
    lives: "StripLives",
    observations: "Observations",
    *,
    seed: int,
    sensitivity: bool,
) -> _Checks:
    from contextlib import suppress

    from wearstats.errors import FitError, UsageError
    from wearstats.life import compare_laws, goodness_of_fit, influence

    prior = None
    if sensitivity or answer.method == "bayes":
        from wearstats.life import prior_sensitivity

        prior = prior_sensitivity(observations, answer.baseline, shape=answer.bayes.fixed_shape)
    fit = answer.likelihood
    if fit is None or fit.mu is None:
        return _Checks(sensitivity=prior)
    goodness, laws, influences = None, None, []
    # Where a check cannot be made there is nothing to say; the answer stands without it.
    with suppress(FitError, UsageError):
        goodness = goodness_of_fit(fit, observations, seed=seed)
    with suppress(FitError, UsageError):
        laws = compare_laws(observations)
    held = fit.fixed_shape if answer.baseline == "weibull" else None
    units = [str(unit) for unit in lives.usable["unit"]]
    for groups in (None, units) if len({*units}) < len(units) else (None,):
        with suppress(FitError, UsageError):
            found = influence(
                observations, groups, baseline=answer.baseline, shape=held, level=answer.level
            )
            influences.append(found)
    return _Checks(goodness, laws, tuple(influences), prior)

"""`wearstats life`: how long strips last."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.life import (
        Comparison,
        GoodnessOfFit,
        Influence,
        IntervalCurve,
        LifeAnswer,
        Method,
        PriorSensitivity,
        SurvivalCurve,
    )
    from wearstats.lives import Observations, StripLives
    from wearstats_cli.factors import Asked


@dataclass(frozen=True, slots=True)
class _Checks:
    """What speaks for and against the fit; empty where there is none without a prior."""

    goodness: "GoodnessOfFit | None" = None
    laws: "Comparison | None" = None
    influences: "tuple[Influence, ...]" = ()
    sensitivity: "PriorSensitivity | None" = None

    @property
    def words(self) -> list[str]:
        said = (self.goodness, self.laws, *self.influences, self.sensitivity)
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
    short_help="Fit strip life: how long strips last.",
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
    type=click.Choice(["none", "gamma", "lognormal"]),
    default="none",
    show_default=True,
    help="With --with: effects of the units beside the columns.",
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
    frailty: str,
    as_json: bool,
) -> int:
    """Fit the strip lives of BOOK and say how long strips last, with intervals."""
    from wearstats.life import fit_life, seen_curve
    from wearstats_cli import factors, reading, show, words

    source = reading.lives_from(book, lives_file)
    reading.some_usable(source.lives)
    observations = source.lives.observations(mode)
    answer = fit_life(
        observations,
        method=method,
        baseline=baseline,
        level=level,
        shape=shape,
        calibrated=not uncalibrated,
        seed=seed,
    )
    with show.working("checking the fit"):
        checks = _checks(answer, source.lives, observations, seed=seed, sensitivity=sensitivity)
        found = _factors(
            columns,
            frailty,
            source.lives,
            mode=mode,
            baseline=baseline,
            level=level,
            bayes=method == "bayes",
        )
    if as_json:
        body = answer.as_dict(
            level,
            runs=range(1, runs + 1),
            failed=failed,
            left_out=[words.left_out_as_dict(each) for each in source.lives.left_out],
        )
        seen = _seen_as_dict(seen_curve(observations, level))
        regressions = [each.as_dict(level) for each in found]
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
    _show(answer, source.lives, mode=mode, runs=runs, failed=failed)
    ended = words.ENDS.get(mode, mode)
    factors.show_factors(found, level, together=columns is not None, ended=ended)
    show.bullets("Does it hold", checks.words)
    _show_seen(seen_curve(observations, level))
    if source.lives.left_out:
        show.line("What was left out, and why: wearstats lives")
    return 0


def _factors(
    columns: str | None,
    frailty: str,
    lives: "StripLives",
    *,
    mode: str,
    baseline: str,
    level: float,
    bayes: bool,
) -> "tuple[Asked, ...]":
    from wearstats.errors import UsageError
    from wearstats_cli import factors

    if columns is None:
        if frailty != "none":
            message = "--frailty goes with --with: name the columns it stands beside"
            raise UsageError(message)
        return factors.each_alone(lives, mode=mode, baseline=baseline)
    names = [name.strip() for name in columns.split(",") if name.strip()]
    together = factors.asked(
        lives,
        names,
        mode=mode,
        baseline=baseline,
        frailty=frailty,
        level=level,
        second=True,
        bayes=bayes,
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
    from wearstats.life import compare_laws, goodness_of_fit, influence, prior_sensitivity

    prior = None
    if sensitivity or answer.method == "bayes":
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


def _show(
    answer: "LifeAnswer",
    lives: "StripLives",
    *,
    mode: str,
    runs: int,
    failed: Sequence[float],
) -> None:
    from wearstats_cli import show, words
    from wearstats_reports import numbers

    level = numbers.level(answer.level)
    show.heading(f"Strip life until {words.ENDS.get(mode, mode)}")
    show.line(words.lives_sentence(lives))
    show.line(
        f"{answer.baseline.capitalize()} law by {answer.method}; lives that tell something: "
        f"{answer.lives:g}, of them {words.ENDS.get(mode, mode)}: {answer.failures:g}. "
        f"Intervals {level}."
    )
    chances = [(age, numbers.chance(answer.survival(age))) for age in range(1, runs + 1)]
    show.table(
        ("runs", "still sound", f"{level} interval"),
        [(age, said.main, said.interval) for age, said in chances],
        right=("runs", "still sound"),
    )
    lasting = {f"{100 * share:g} % have failed by": answer.life_at(share) for share in failed}
    show.estimates({**lasting, **answer.parameters()}, answer.level)
    if answer.calibration_note:
        show.line(f"{answer.calibration_note}.")
    show.line(answer.second_opinion)
    show.bullets("Doubtful", answer.warnings)


def _show_seen(seen: "SurvivalCurve | IntervalCurve") -> None:
    from wearstats.estimates import Estimate
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.sections.lives import seen_falls

    rows = []
    for fall in seen_falls(seen):
        said = numbers.chance(Estimate(fall.share, fall.low, fall.high, seen.level))
        since = "" if fall.since is None else f"{fall.since:g}"
        rows.append((since, f"{fall.runs:g}", said.main, said.interval))
    if rows:
        show.heading("As seen, without a law of life")
        show.table(
            ("falls after", "by", "to", f"{numbers.level(seen.level)} interval"),
            rows,
            right=("falls after", "by", "to"),
        )
    for note in seen.notes:
        show.line(f"{note[:1].upper()}{note[1:]}.")


def _seen_as_dict(seen: "SurvivalCurve | IntervalCurve") -> dict[str, object]:
    from wearstats.estimates import Estimate
    from wearstats_reports.sections.lives import seen_falls

    return {
        "given_age": seen.given_age,
        "last_age": seen.last_age,
        "falls": [
            {
                "since": fall.since,
                "runs": fall.runs,
                "probability": Estimate(fall.share, fall.low, fall.high, seen.level).as_dict(),
            }
            for fall in seen_falls(seen)
        ],
        "notes": list(seen.notes),
    }

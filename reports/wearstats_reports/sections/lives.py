"""Strip lives: this unit's among the fleet's, with the fitted curve and its band."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from wearstats.life import CurvePoint, falls_of
from wearstats.lives import StripLives
from wearstats_reports import cells
from wearstats_reports.answers import Answer
from wearstats_reports.fits import Fits, sentence


@dataclass(frozen=True, slots=True)
class UnitLife:
    """One build as a life.

    Parameters
    ----------
    lower, upper : float or None
        Burn-through lies after `lower` and not later than `upper` runs; `upper` None where the
        strips were still good when last seen.
    left_out : str
        Why it is not in the fit; empty where it is.
    """

    unit: str
    build: int
    began: date | None
    ended: date | None
    entry: float | None
    lower: float | None
    upper: float | None
    runs: int
    age: float | None
    ending: str
    mode: str
    open: bool
    left_out: str


@dataclass(frozen=True, slots=True)
class LifeCurve:
    """The fleet's strip life.

    Parameters
    ----------
    fitted, seen : tuple of CurvePoint
        The fitted curve with its band; the share seen without any model (Kaplan-Meier, or
        where looks overlap the maximum-likelihood curve for intervals; there at most
        `wearstats.life.seen.MOST_INTERVALS` points, evenly taken, have an interval).
    method : str
        One sentence: which curve, fitted how.
    second_opinion : str
        How far another method lies apart, or that the prior does most of the work.
    life_10, life_50 : Answer
        Runs by which one in ten, and half, of the strips have burned through.
    """

    lives: int
    failures: int
    fitted: tuple[CurvePoint, ...]
    seen: tuple[CurvePoint, ...]
    method: str
    second_opinion: str
    life_10: Answer
    life_50: Answer
    shape: Answer
    scale: Answer
    why_not: str = ""


_SHARES = (0.1, 0.5)
_LEAST_SHOWN = 10.0
_BEYOND = 1.25
_STEPS = 60
_LAWS = {
    "weibull": "Weibull",
    "exponential": "exponential",
    "lognormal": "lognormal",
    "loglogistic": "loglogistic",
}
_SHAPE_MEANS = "above 1 strips wear out, at 1 they fail by chance at any age"
_SCALE_MEANS = "runs by which about 63\u00a0% have burned through"


def unit_lives(lives: StripLives, unit: str) -> tuple[UnitLife, ...]:
    """Return one unit's lives, the first build first."""
    why = {(out.unit, out.build): sentence(out.message) for out in lives.left_out}
    rows = cells.rows(lives.frame[lives.frame["unit"] == unit])
    return tuple(_life(row, why.get((unit, int(row["build"])), "")) for row in rows)


def _life(row: dict[str, Any], why: str) -> UnitLife:
    return UnitLife(
        unit=str(row["unit"]),
        build=int(row["build"]),
        began=cells.day(row["began"]),
        ended=cells.day(row["ended"]),
        entry=cells.number(row["entry"]),
        lower=cells.number(row["lower"]),
        upper=cells.number(row["upper"]) if row["mode"] else None,
        runs=int(row["runs"]),
        age=cells.number(row["age"]),
        ending=cells.text(row["ending"]),
        mode=cells.text(row["mode"]),
        open=bool(row["open"]),
        left_out=why,
    )


def behind(fits: Fits) -> str:
    """Say how many lives and failures the fleet's curve rests on, and the day of the last look."""
    burned = (
        "1 of them burned through"
        if fits.failures == 1
        else (f"{fits.failures} of them burned through")
    )
    looked = cells.latest(fits.lives.usable["last_look_date"], ", the fleet’s last look")
    return f"{cells.count(fits.lives_used, 'strip life', 'strip lives')}, {burned}{looked}"


def life_curve(fits: Fits) -> LifeCurve:
    """Return the fleet's curve, or why there is none."""
    fit = fits.life.fit
    seen = _seen(fits)
    none = Answer(why_not=fits.life.why_not)
    if fit is None:
        return LifeCurve(
            lives=fits.lives_used,
            failures=fits.failures,
            fitted=(),
            seen=seen,
            method="",
            second_opinion="",
            life_10=none,
            life_50=none,
            shape=none,
            scale=none,
            why_not=fits.life.why_not,
        )
    ages = np.linspace(0.0, _farthest(fits), _STEPS + 1)
    first, half = (fit.life_at(share, fits.level) for share in _SHARES)
    parameters = fit.parameters(fits.level)
    return LifeCurve(
        lives=fits.lives_used,
        failures=fits.failures,
        fitted=_points(fit.curve(ages, fits.level)),
        seen=seen,
        method=life_method(fits),
        second_opinion=fit.second_opinion,
        life_10=Answer.of(first, behind(fits)),
        life_50=Answer.of(half, behind(fits)),
        shape=Answer.of(parameters["shape"], _SHAPE_MEANS),
        scale=Answer.of(parameters["scale"], _SCALE_MEANS),
    )


def _farthest(fits: Fits) -> float:
    """Return the age the curve is drawn to: a little beyond the oldest strips seen."""
    lives = fits.lives.usable
    ends = [*lives["lower"], *lives["upper"], *lives["age"]]
    return max(_LEAST_SHOWN, *(_BEYOND * float(end) for end in ends if np.isfinite(end)))


def _points(frame: pd.DataFrame) -> tuple[CurvePoint, ...]:
    return tuple(
        CurvePoint(float(runs), float(share), cells.number(low), cells.number(high))
        for runs, share, low, high in frame[["runs", "survival", "low", "high"]].to_numpy(float)
        if np.isfinite(share)
    )


def _seen(fits: Fits) -> tuple[CurvePoint, ...]:
    """Return the curve without a model, from where it begins to the last age watched."""
    seen = fits.seen.fit
    if seen is None:
        return ()
    begin = CurvePoint(seen.given_age, 1.0, None, None)
    steps = falls_of(seen)
    last = (begin, *steps)[-1]
    return (begin, *steps, CurvePoint(seen.last_age, last.share, last.low, last.high))


def life_method(fits: Fits) -> str:
    """Say which curve was fitted, and how."""
    fit = fits.life.fit
    if fit is None:
        return ""
    how = {
        "likelihood": "profile likelihood, with no prior",
        "bayes": "Bayes' rule, which rests on a weak prior",
    }[fit.method]
    why = f" It {fit.method_note}." if fit.method_note else ""
    ends = f" {sentence(fit.calibration_note)}" if fit.calibration_note else ""
    return f"The curve of strip life is a {_LAWS[fit.baseline]} law fitted by {how}.{why}{ends}"

"""A fitted strip life as the terminal says it: what decides, each thing once."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wearstats.life import IntervalCurve, LifeAnswer, SurvivalCurve
    from wearstats.lives import StripLives


def show_life(
    answer: "LifeAnswer",
    lives: "StripLives",
    seen: "SurvivalCurve | IntervalCurve",
    *,
    mode: str,
    runs: int,
    failed: Sequence[float],
) -> None:
    """Print the lives behind it, the curve beside what was seen, and the ages failed by."""
    from wearstats_cli import show, words

    show.heading(f"Strip life until {words.ENDS.get(mode, mode)}")
    show.line(words.lives_sentence(lives, " (why: wearstats lives)"))
    _show_curve(answer, seen, runs)
    said = [f"{100 * share:g} % have failed by {_with_unit(answer, share)}" for share in failed]
    if said:
        show.line(f"{'; '.join(said)}.")
    parameters = ", ".join(
        f"{name} {show.bare(value)}" for name, value in answer.parameters().items()
    )
    law = f"{answer.baseline.capitalize()} law by {answer.method}: {parameters}."
    show.line(" ".join([law, *_ends_from(answer)]))


def _ends_from(answer: "LifeAnswer") -> list[str]:
    """Say where the ends of the intervals come from."""
    held = None if answer.likelihood is None else answer.likelihood.calibration
    if answer.calibration_note and held is not None and held.usable:
        return [f"Intervals calibrated by {held.resamples} simulated sets of these lives."]
    return [f"{answer.calibration_note}."] if answer.calibration_note else []


def _with_unit(answer: "LifeAnswer", share: float) -> str:
    from wearstats_reports import numbers

    return str(numbers.quantity(answer.life_at(share)))


def _show_curve(answer: "LifeAnswer", seen: "SurvivalCurve | IntervalCurve", runs: int) -> None:
    from wearstats.errors import ObservationError
    from wearstats_cli import show
    from wearstats_reports import numbers

    def as_seen(age: int) -> str:
        try:
            found = seen.at(age)
        except ObservationError:
            return ""
        return str(numbers.chance(found))

    show.table(
        ("runs", "still sound", "as seen, without a law"),
        [(age, numbers.chance(answer.survival(age)), as_seen(age)) for age in range(1, runs + 1)],
        right=("runs",),
    )
    level = f"In brackets the {numbers.level(answer.level)} interval."
    show.line(" ".join([level, *(f"{note[:1].upper()}{note[1:]}." for note in seen.notes)]))


def seen_as_dict(seen: "SurvivalCurve | IntervalCurve") -> dict[str, object]:
    """Return the curve without a law as plain data."""
    from wearstats.estimates import Estimate
    from wearstats.life import falls_of

    return {
        "given_age": seen.given_age,
        "last_age": seen.last_age,
        "falls": [
            {
                "since": fall.since,
                "runs": fall.runs,
                "probability": Estimate(fall.share, fall.low, fall.high, seen.level).as_dict(),
            }
            for fall in falls_of(seen)
        ],
        "notes": list(seen.notes),
    }

"""How the numbers were made, from how much, and what they cannot say."""

from dataclasses import dataclass
from datetime import date

import pandas as pd

from wearstats.plans import RestripPlan
from wearstats_reports import cells, numbers
from wearstats_reports.fits import Fits, sentence
from wearstats_reports.sections.lives import life_method


@dataclass(frozen=True, slots=True)
class Method:
    """Sample sizes and sentences.

    Parameters
    ----------
    units, runs, restrips, builds, lives, failures, looks, gap_readings, boost_readings : int
    first_day, last_day : date or None
        Of the records.
    sentences : tuple of str
        How each number was made.
    notes : tuple of str
        What the rooms below warn about.
    """

    units: int
    runs: int
    restrips: int
    builds: int
    lives: int
    failures: int
    looks: int
    gap_readings: int
    boost_readings: int
    first_day: date | None
    last_day: date | None
    sentences: tuple[str, ...]
    notes: tuple[str, ...]


def method(fits: Fits) -> Method:
    """Return the sample sizes and how each number was made."""
    season, lives = fits.season, fits.lives
    days = pd.concat([season.runs["date"], season.restrips["date"]]).dropna()
    return Method(
        units=len(fits.unit_names),
        runs=len(season.runs),
        restrips=len(season.restrips),
        builds=len(lives.frame),
        lives=fits.lives_used,
        failures=fits.failures,
        looks=int(season.runs["strips"].notna().sum())
        + int(season.restrips["found"].notna().sum()),
        gap_readings=len(fits.gaps),
        boost_readings=int(fits.boosts["boost_psi"].notna().sum()),
        first_day=cells.day(days.min()) if len(days) else None,
        last_day=cells.day(days.max()) if len(days) else None,
        sentences=_sentences(fits),
        notes=_notes(fits),
    )


def _asked(plan: RestripPlan) -> str:
    chance = numbers.percent(plan.least_chance)
    if plan.asks_for_chance:
        return f"The advice asks for a chance of {chance} of lasting the runs ahead."
    return (
        "The advice weighs what a restrip and a burn-through cost; it asks for a look where the "
        f"chance that the strips are still sound is under {chance}."
    )


def _sentences(fits: Fits) -> tuple[str, ...]:
    said = [
        "Age is runs since the restrip; a shut-off run counts as its fraction.",
        (
            "A strip life is known only between looks: it failed after the last look that found "
            "it sound and not later than the look that found it failed. Strips last found sound "
            "count as sound up to that look, not beyond."
        ),
        (
            f"Intervals are {numbers.level(fits.level)} intervals. A chance in the advice is an "
            "average over a fit that rests in part on a weak prior."
        ),
        _asked(fits.plan),
    ]
    if fits.life.fit is not None:
        said.append(life_method(fits))
    if fits.wear.fit is not None:
        said.append(
            "Tip clearance is a straight line in runs, each build about its unit and the fleet; "
            "a go / no-go reading counts as the interval it is, a strip height as a second reading "
            "of the same clearance."
        )
    if fits.boost.fit is not None:
        said.append(
            "Boost is corrected to a barometer of 29.921 inHg and never by density. Boost lost is "
            "worked out from the clearances by compressible flow, and its size is fitted to the "
            "boost logged, with a prior about the physics; what else fades with runs is kept apart "
            "as far as the records tell it apart."
        )
    said.append(
        "The chances, the boost and the clearance describe what was written down. They know "
        "nothing of heat, foreign objects or handling that nobody recorded."
    )
    return tuple(said)


def _notes(fits: Fits) -> tuple[str, ...]:
    notes = list(fits.lives.notes)
    if fits.wear.fit is not None:
        notes += fits.wear.fit.notes
    if fits.boost.fit is not None:
        notes += (*fits.boost.fit.not_told_apart, *fits.boost.fit.cautions)
    if fits.life.fit is not None:
        notes += fits.life.fit.warnings
    if fits.seen.fit is not None:
        notes += fits.seen.fit.notes
    missing = (fits.life, fits.seen, fits.wear, fits.boost)
    notes += [each.why_not for each in missing if each.why_not]
    return tuple(sentence(note) for note in dict.fromkeys(notes))

"""Where a unit stands today: the first thing on its page."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from wearstats.errors import WearstatsError
from wearstats.estimates import Estimate
from wearstats.plans import UnitOutlook
from wearstats_reports import cells
from wearstats_reports.answers import Answer
from wearstats_reports.fits import Fits, sentence
from wearstats_reports.sections.lives import behind


@dataclass(frozen=True, slots=True)
class Today:
    """What answers "can I run it", never as permission.

    Parameters
    ----------
    advice : str
        "run", "look first", "restrip", "not in service" or "cannot tell".
    reason : str
        One sentence.
    build : int or None
        Which build is on it, counted from 1.
    began, last_look : date or None
    age : float or None
        Load-weighted runs on the strips.
    last_look_age : float or None
        Age when somebody last looked.
    since_look : float or None
        Runs nobody has looked at since.
    found : str
        What the strips looked like at the last look.
    runs_ahead : int
        Runs that `chance_next` speaks of.
    service_limit_runs : float or None
    chance_sound_now, chance_next, chance_if_sound, boost_lost : Answer
        `chance_if_sound`: over the same runs, if a look now finds the strips sound.
    """

    advice: str
    reason: str
    build: int | None
    began: date | None
    age: float | None
    last_look: date | None
    last_look_age: float | None
    since_look: float | None
    found: str
    runs_ahead: int
    service_limit_runs: float | None
    chance_sound_now: Answer
    chance_next: Answer
    chance_if_sound: Answer
    boost_lost: Answer


def today(fits: Fits, unit: str) -> Today:
    """Return where one unit stands."""
    life = _current(fits, unit)
    advice, reason, told = _advice(fits, unit)
    chances = told.chances if told is not None else None
    why_not = reason if chances is None else ""

    def chance(estimate: Estimate | None) -> Answer:
        return Answer(why_not=why_not) if estimate is None else Answer(estimate, behind(fits))

    age = cells.number(life.get("age"))
    looked = cells.number(life.get("last_look"))
    return Today(
        advice=advice,
        reason=reason,
        build=int(life["build"]) if life else None,
        began=cells.day(life.get("began")),
        age=age,
        last_look=cells.day(life.get("last_look_date")),
        last_look_age=looked,
        since_look=None if age is None or looked is None else age - looked,
        found=_found(fits, unit, life),
        runs_ahead=fits.runs_ahead,
        service_limit_runs=told.service_limit_runs if told is not None else None,
        chance_sound_now=chance(chances.sound_now if chances else None),
        chance_next=chance(chances.ahead if chances else None),
        chance_if_sound=chance(chances.ahead_if_sound if chances else None),
        boost_lost=boost_lost(fits, unit),
    )


def _current(fits: Fits, unit: str) -> dict[str, Any]:
    """Return the build in use, or the last one of a unit that has left; empty if none."""
    rows = cells.rows(fits.lives.frame[fits.lives.frame["unit"] == unit])
    return rows[-1] if rows else {}


def _advice(fits: Fits, unit: str) -> tuple[str, str, UnitOutlook | None]:
    fleet = fits.outlook.fit
    if fleet is None:
        return "cannot tell", fits.outlook.why_not, None
    for told in fleet.units:
        if told.unit == unit:
            return told.advice.value, told.reason, told
    left = next((apart.why for apart in fleet.apart if apart.unit == unit), "not in the outlook")
    return "not in service", sentence(left), None


def _found(fits: Fits, unit: str, life: dict[str, Any]) -> str:
    if not life:
        return ""
    runs = fits.lives.runs
    seen = runs[(runs["unit"] == unit) & (runs["build"] == life["build"])]["strips"].dropna()
    return "" if seen.empty else str(seen.iloc[-1])


def boost_lost(fits: Fits, unit: str) -> Answer:
    """Return the boost a unit has lost since its restrip, or why it cannot be told."""
    mine = fits.boosts[fits.boosts["unit"] == unit]
    if mine["boost_psi"].notna().sum() == 0:
        return Answer(why_not="No boost was logged for this unit.")
    if fits.boost.fit is None:
        return Answer(why_not=fits.boost.why_not)
    life = _current(fits, unit)
    here = fits.boost.fit.now[fits.boost.fit.now["unit"] == unit]
    if not life or here.empty or cells.number(here["build"].iloc[0]) != float(life["build"]):
        return Answer(why_not="No boost was logged on the strips in use.")
    try:
        lost = fits.boost.fit.lost_since_restrip(unit, fits.level)
    except WearstatsError as error:
        return Answer(why_not=sentence(str(error)))
    read = mine[mine["boost_psi"].notna()]
    readings = cells.count(len(read), "boost reading")
    # Its note says at which age, which stands beside it already.
    last = cells.latest(read["date"], "; latest")
    return Answer(lost, f"{readings} of this unit, {fits.boost.fit.sizes.runs} of the fleet{last}")

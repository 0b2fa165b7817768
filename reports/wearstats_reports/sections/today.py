"""Where a unit stands today: the first thing on its page."""

from dataclasses import dataclass
from datetime import date

from wearstats_reports.answers import Answer


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
    chance_sound_now, chance_next, boost_lost : Answer
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
    boost_lost: Answer

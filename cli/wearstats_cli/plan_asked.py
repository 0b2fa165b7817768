"""What `wearstats plan` was asked for beyond the outlook, and the answers."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wearstats.errors import PlanError, UsageError

if TYPE_CHECKING:
    from wearstats.plans import FleetOutlook, Meet, MeetPlan, SetsNeeded, WhatIf
    from wearstats_reports.fits import Attempt, Fits


def meet_of(
    file: Path | None, given: Mapping[str, float | str | None], bound: float | None
) -> "Meet | None":
    """Return the meet of a file or of options; None where neither is given.

    Raises
    ------
    UsageError
        Both, options without the number of runs, or values that make no meet.
    """
    from wearstats.plans import read_meet
    from wearstats.plans.meet import Meet
    from wearstats.records.tomlfiles import checked

    said: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    only_hours = {*said} <= {"hours_per_restrip"}
    if file is not None:
        if not only_hours:
            message = "give the meet by --meet FILE or by options, not both"
            raise UsageError(message)
        return read_meet(file)
    if "runs" not in said:
        if not only_hours:
            message = "say how many runs the meet has: --meet-runs N"
            raise UsageError(message)
        return None
    if "windows" in said:
        said["windows"] = _hours_of(str(said["windows"]))
    if bound is not None:
        said["bound"] = bound
    return checked(said, Meet, "a meet", file="the options")


def _hours_of(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        message = f"--windows takes hours with commas between, such as 6,0,0,6; not {text!r}"
        raise UsageError(message) from None


def changes_of(given: tuple[str, ...]) -> dict[str, float | str]:
    """Return what should change: a number where it reads as one, else a word.

    Raises
    ------
    UsageError
        Not NAME=VALUE.
    """
    changes: dict[str, float | str] = {}
    for text in given:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not (name and equals and value):
            message = f"--what-if takes NAME=VALUE, such as overdrive=35; not {text!r}"
            raise UsageError(message)
        try:
            changes[name.replace(" ", "_")] = float(value)
        except ValueError:
            changes[name.replace(" ", "_")] = value
    return changes


@dataclass(frozen=True, slots=True)
class Plans:
    """All answers of one call.

    Parameters
    ----------
    fleet : FleetOutlook
    sets : SetsNeeded
    hours_per_restrip : float or None
        As given, else the middle one on record.
    meet, what_if : Attempt or None
        None where not asked.
    """

    fleet: "FleetOutlook"
    sets: "SetsNeeded"
    hours_per_restrip: float | None
    meet: "Attempt[MeetPlan] | None"
    what_if: "Attempt[WhatIf] | None"

    @property
    def all_told(self) -> bool:
        """Whether everything asked could be told."""
        return all(each is None or each.fit is not None for each in (self.meet, self.what_if))

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""

        def plain(attempt: "Attempt[Any] | None") -> dict[str, Any] | None:
            if attempt is None:
                return None
            if attempt.fit is None:
                return {"why_not": attempt.why_not}
            return {**attempt.fit.as_dict(), "why_not": ""}

        return {
            **self.fleet.as_dict(),
            "strip_sets": self.sets.as_dict(self.hours_per_restrip),
            "meet": plain(self.meet),
            "what_if": plain(self.what_if),
        }


def answer(
    fits: "Fits",
    meet: "Meet | None",
    changes: Mapping[str, float | str],
    *,
    restrip_hours: float | None,
    seed: int,
) -> Plans:
    """Work out everything asked."""
    from wearstats.plans import sets_needed, strips_now
    from wearstats_cli import reading

    fleet, life = reading.answered(fits.outlook), reading.answered(fits.life)
    hours = restrip_hours
    if hours is None and meet is not None and meet.hours_per_restrip:
        hours = meet.hours_per_restrip
    sets = sets_needed(
        life.bayes,
        strips_now(fleet),
        runs_ahead=fleet.runs_ahead,
        restrip_after=fleet.restrip.best or None,
        seed=seed,
    )
    return Plans(
        fleet=fleet,
        sets=sets,
        hours_per_restrip=_hours_on_record(fits) if hours is None else hours,
        meet=None if meet is None else _meet_plan(fits, meet),
        what_if=_what_if(fits, changes, seed) if changes else None,
    )


def _hours_on_record(fits: "Fits") -> float | None:
    written = fits.season.restrips["hours_h"].dropna()
    return float(written.median()) if len(written) else None


def _meet_plan(fits: "Fits", meet: "Meet") -> "Attempt[MeetPlan]":
    from wearstats.plans import meet_units, plan_meet
    from wearstats_cli import reading
    from wearstats_reports.fits import Attempt, sentence

    units = meet_units(
        reading.answered(fits.outlook),
        reading.answered(fits.life).bayes,
        draws_of=None if fits.effects.fit is None else fits.effects.fit.draws_of,
        loss_psi_by_age=fits.loss_psi_by_age,
    )
    try:
        return Attempt(plan_meet(meet, units, fits.plan.costs, level=fits.level))
    except PlanError as error:
        return Attempt(None, f"{sentence(str(error))} {error.hint}".rstrip())


def _what_if(fits: "Fits", changes: Mapping[str, float | str], seed: int) -> "Attempt[WhatIf]":
    from wearstats.plans import what_if
    from wearstats_cli import reading
    from wearstats_reports.fits import attempt

    return attempt(
        lambda: what_if(
            fits.lives,
            reading.answered(fits.life).bayes,
            changes,
            plan=fits.plan,
            runs_ahead=fits.runs_ahead,
            loss_per_run=None if fits.boost.fit is None else fits.lost_per_run,
            level=fits.level,
            seed=seed,
        )
    )

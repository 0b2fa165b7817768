"""The units of a fleet as they go to a meet."""

from wearstats.plans.draws import SurvivalDraws
from wearstats.plans.fleet import FleetOutlook
from wearstats.plans.in_use import DrawsOfUnit
from wearstats.plans.meet import MeetUnit
from wearstats.plans.restrip import LossByAge


def meet_units(
    fleet: FleetOutlook,
    draws: SurvivalDraws,
    *,
    draws_of: DrawsOfUnit | None = None,
    loss_psi_by_age: LossByAge | None = None,
) -> tuple[MeetUnit, ...]:
    """Return the units of a fleet as they stand.

    A unit whose strips were found failed, or whose runs are not known, makes no run before new
    strips; one past its service limit neither.

    Parameters
    ----------
    fleet : FleetOutlook
    draws : SurvivalDraws
        Of burn-through, for the fleet.
    draws_of : callable, optional
        Of each unit instead.
    loss_psi_by_age : callable, optional
        See `RestripPlan.best`.
    """
    return tuple(
        MeetUnit(
            unit.unit,
            draws if draws_of is None else draws_of(unit.unit),
            age=unit.age or 0.0,
            last_look=unit.last_look or 0.0,
            must_restrip=unit.failed or unit.age is None or unit.chances is None,
            service_limit_runs=unit.service_limit_runs,
            loss_psi_by_age=loss_psi_by_age,
            strips=unit.strips,
        )
        for unit in fleet.units
    )

"""`wearstats leak`: what leakage costs in boost."""

from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.estimates import Estimate
    from wearstats.leakage import BoostFit


@click.command(
    "leak",
    short_help="Boost lost since the restrip, and what a thou is worth.",
    epilog="Example: wearstats leak shop.book --in metric",
)
@options.book_argument
@options.level
@options.system
@options.as_json
def command(*, book: str, level: float, system: str, as_json: bool) -> int:
    """Say what the clearances of BOOK cost in boost, at 29.921 inHg.

    Boost is compared as absolute pressure ratio, so that a low barometer is not taken for a leak.
    """
    from wearstats.leakage import BoostModel
    from wearstats.lives import boost_rows, clearance_readings, lives_of
    from wearstats.wear import ClearanceWear
    from wearstats_cli import quantities, reading, show
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    season = reading.season_of(book)
    lives = lives_of(season)
    wear = ClearanceWear("tip", level=level).fit(clearance_readings(season, lives))
    fit = BoostModel(level=level).fit(boost_rows(season, lives), wear, season.units)
    scale = quantities.boost(system)
    worth = quantities.boost_per_gap(system).estimate(fit.psi_per_thou)
    lost = {unit: scale.estimate(each) for unit, each in _lost(fit).items()}
    if as_json:
        body = {
            "simulated": season.simulated,
            "unit": scale.name,
            "runs": fit.rows,
            "units": fit.units,
            "meets": fit.meets,
            "worth": {"unit": worth.unit, **worth.as_dict()},
            "lost_since_restrip": {unit: each.as_dict() for unit, each in lost.items()},
            "not_used": [{"reason": each.reason, "count": each.count} for each in fit.left_out],
            "warnings": list(fit.warnings),
        }
        show.as_json("leak", body)
        return 0
    show.banner(simulated=season.simulated)
    show.heading("Boost lost to tip clearance")
    show.line(
        f"{count(fit.rows, 'run')} with boost, {count(fit.units, 'unit')}, "
        f"{count(fit.meets, 'meet')}; boost at 29.921 inHg. "
        f"Intervals {numbers.level(level)}."
    )
    show.line(f"Worth: {numbers.quantity(worth)}.")
    show.table(
        ("unit", f"lost since the restrip, {scale.name}", ""),
        [(unit, show.bare(each), each.note) for unit, each in lost.items()],
    )
    show.bullets(
        "Not used", [f"{count(each.count, 'run')}: {each.reason}" for each in fit.left_out]
    )
    show.bullets("Doubtful", fit.warnings)
    return 0


def _lost(fit: "BoostFit") -> dict[str, "Estimate"]:
    """Return boost lost by unit, of the units whose build and age are known."""
    known = fit.now["growth_thou"].notna()
    return {str(unit): fit.lost_since_restrip(str(unit)) for unit in fit.now.loc[known, "unit"]}

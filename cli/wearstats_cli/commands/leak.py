"""`wearstats leak`: what leakage costs in boost."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats_cli import options

if TYPE_CHECKING:
    from wearstats.estimates import Estimate
    from wearstats.leakage import LeakFit
    from wearstats_cli.quantities import Scale

_ENDS = {"tip": "tip", "mesh": "mesh", "end": "ends"}


@click.command(
    "leak",
    epilog="Example: wearstats leak shop.book --in metric",
)
@options.book_argument
@click.option(
    "--heat-share",
    type=click.FloatRange(0.0, 1.0),
    default=0.35,
    show_default=True,
    help="Share of the compression heat left in the charge: 0.35 with alcohol or nitromethane "
    "through the blower, near 1 dry.",
)
@click.option(
    "--slip-tests",
    type=options.existing_file,
    help="A TOML file of blocked-discharge tests, one [[test]] each: unit, slip_rpm, "
    "pressure_psi, tip_thou, mesh_thou, front_thou, rear_thou.",
)
@click.option(
    "--figure",
    type=options.any_path,
    help="Also draw the loss since the restrip by path, as an SVG file.",
)
@options.level
@options.seed
@options.system
@options.as_json
def command(
    *,
    book: str,
    heat_share: float,
    slip_tests: Path | None,
    figure: Path | None,
    level: float,
    seed: int,
    system: str,
    as_json: bool,
) -> int:
    """Say what the clearances of BOOK cost in boost, at 29.921 inHg.

    The loss is worked out from the clearances by compressible flow, and its size is fitted to the
    boost logged. Boost is compared as absolute pressure ratio, so that a low barometer is not
    taken for a leak.
    """
    from wearstats.leakage import LeakModel
    from wearstats.leakage.slip_file import read_slip_tests
    from wearstats.lives import boost_rows, clearance_readings, lives_of
    from wearstats.wear import fit_paths
    from wearstats_cli import quantities, reading, show

    season = reading.season_of(book)
    tests = read_slip_tests(slip_tests) if slip_tests else ()
    lives = lives_of(season)
    readings = clearance_readings(season, lives)
    model = LeakModel(heat_share=heat_share, level=level, seed=seed)
    with show.working("Fitting"):
        wears = fit_paths(readings, level=level)
        fit = model.fit(
            boost_rows(season, lives), wears, season.units, readings=readings, slip_tests=tests
        )
    scale, worth = quantities.boost(system), quantities.boost_per_gap(system)
    if figure is not None:
        _draw(fit, scale, figure, simulated=season.simulated)
    if as_json:
        show.as_json("leak", {"simulated": season.simulated, **_body(fit, scale, worth)})
        return 0
    show.banner(simulated=season.simulated)
    _show(fit, scale, worth)
    return 0


def _body(fit: "LeakFit", scale: "Scale", worth: "Scale") -> dict[str, object]:
    from wearstats.leakage import TOTAL_RESTS_ON

    def lost(whole: "Estimate", by_path: "dict[str, Estimate]") -> dict[str, object]:
        paths = {path: scale.estimate(each).as_dict() for path, each in by_path.items()}
        return {**scale.estimate(whole).as_dict(), "by_path": paths}

    return {
        "unit": scale.name,
        "worth_unit": worth.name,
        "runs": fit.sizes.runs,
        "units": fit.sizes.units,
        "restrips": fit.sizes.restrips,
        "meets": fit.sizes.meets,
        "multiplier": {
            **fit.multiplier_estimate.as_dict(),
            "prior_middle": fit.multiplier.prior_middle,
            "width_over_prior": fit.multiplier.width_over_prior,
        },
        "mean_of_runs": {
            "since_restrip": scale.estimate(fit.fleet_since_restrip()).as_dict(),
            "in_all": scale.estimate(fit.fleet_in_all()).as_dict(),
        },
        "lost": [
            {
                "unit": unit,
                "runs_on_strips": fit.runs_on_strips(unit),
                "since_restrip": lost(
                    fit.lost_since_restrip(unit), fit.since_restrip_by_path(unit)
                ),
                "in_all": lost(fit.lost_in_all(unit), fit.in_all_by_path(unit)),
                "worth_of_one_more": {
                    path: worth.estimate(each).as_dict() for path, each in fit.worth(unit).items()
                },
            }
            for unit in fit.units
        ],
        "total_rests_on": TOTAL_RESTS_ON,
        "not_told_apart": list(fit.not_told_apart),
        "not_used": [{"reason": each.reason, "count": each.count} for each in fit.left_out],
        "warnings": list(fit.cautions),
    }


def _show(fit: "LeakFit", scale: "Scale", worth: "Scale") -> None:
    from wearstats.leakage import TOTAL_RESTS_ON
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.cells import count

    show.heading("Boost lost to leakage")
    sizes = fit.sizes
    show.line(
        f"{count(sizes.runs, 'run')} with boost, {count(sizes.units, 'unit')}, "
        f"{count(sizes.restrips, 'restrip')} between them, {count(sizes.meets, 'meet')}. Boost at "
        f"29.921 inHg, strips taken to be whole. Intervals {numbers.level(fit.level)}."
    )
    mean = numbers.quantity(scale.estimate(fit.fleet_since_restrip()))
    show.line(f"Mean over these runs, lost since the restrip: {mean}.")
    show.line(
        f"Leakage is {numbers.quantity(fit.multiplier_estimate)} times what the clearances should "
        "leak; before any boost was seen it was taken for "
        f"{numbers.quantity(fit.multiplier.before(fit.level))}."
    )
    rows: list[tuple[str, ...]] = []
    for unit in fit.units:
        age = numbers.age(fit.runs_on_strips(unit))
        whole = (fit.lost_since_restrip(unit), fit.lost_in_all(unit))
        rows.append((unit, age, "all", *(show.bare(scale.estimate(each)) for each in whole), ""))
        since, in_all = fit.since_restrip_by_path(unit), fit.in_all_by_path(unit)
        for path, each in fit.worth(unit).items():
            lost = (show.bare(scale.estimate(by[path])) for by in (since, in_all))
            rows.append(("", "", _ENDS[path], *lost, show.bare(worth.estimate(each))))
    show.table(
        (
            "unit",
            "runs",
            "path",
            f"{scale.name} lost since the restrip",
            f"{scale.name} lost in all",
            f"{worth.name}, now",
        ),
        rows,
        right=("runs",),
    )
    show.line(TOTAL_RESTS_ON)
    show.bullets("What could not be told apart", fit.not_told_apart)
    show.bullets(
        "Not used", [f"{count(each.count, 'run')}: {each.reason}" for each in fit.left_out]
    )
    show.bullets("Doubtful", fit.cautions)


def _draw(fit: "LeakFit", scale: "Scale", path: Path, *, simulated: bool) -> None:
    from wearstats import plots
    from wearstats_cli import show

    table = fit.table()
    numbers = ["estimate", "low", "high"]
    table[numbers] = table[numbers] * scale.factor
    drawn, axes = plots.new_axes_for_rows(2 * max(len(fit.units), 1))
    plots.loss_by_path(table, axes, quantity=f"boost lost since the restrip, {scale.name}")
    if simulated:
        plots.stamp(axes, "SIMULATED")
    said = [
        f"{unit}: {show.bare(scale.estimate(fit.lost_since_restrip(unit)))} {scale.name}."
        for unit in fit.units
    ]
    words = " ".join(said) or "No loss of boost could be told."
    path.write_text(
        plots.to_svg(drawn, "Boost lost since the restrip by path", words), encoding="utf-8"
    )

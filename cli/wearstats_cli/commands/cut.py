"""`wearstats cut`: the strip height to set."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wearstats.errors import UsageError
from wearstats_cli import options

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.cut import CutAnswer, StripCut
    from wearstats_cli.metal import Metal
    from wearstats_cli.quantities import Scale

_MEASURE = (
    "Measure after the first cut and after every finish cut; a unit new to the bench may need up "
    "to ten trial fits (common practice, no source)."
)


@dataclass(frozen=True, slots=True)
class _Growth:
    thou: float
    u_thou: float
    said: str


@dataclass(frozen=True, slots=True)
class _Shown:
    metal: "Metal"
    ask: "StripCut"
    growth: _Growth
    answer: "CutAnswer"
    map: "pd.DataFrame"
    scale: "Scale"

    def length(self, thou: float | None) -> str:
        """Return a length as finely as a cutter is set."""
        decimals = 1 if self.scale.name == "thou" else 4
        return "" if thou is None else f"{thou * self.scale.factor:.{decimals}f}"


@click.command(
    "cut",
    epilog="Example: wearstats cut shop.book --unit K1 --target 4 --limit 10 --stock 40",
)
@click.argument("book", metavar="[BOOK]", type=str, required=False)
@click.option("--unit", default="", help="Which unit's newest readings.")
@click.option("--sheet", type=options.existing_file, help="A readings sheet instead of a book.")
@click.option(
    "--metal",
    "typed",
    multiple=True,
    metavar="READING",
    help="A reading instead of either, as in a sheet: 30/31, .0305, 0.77 mm. Repeat it for more.",
)
@click.option(
    "--target", type=float, required=True, help="Running clearance wanted at the tightest lobe."
)
@click.option("--limit", type=float, help="Widest running clearance allowed anywhere.")
@click.option("--stock", type=float, help="Height of the strips as fitted, above the rotor.")
@click.option(
    "--growth",
    type=float,
    help="How much less the clearance is running than cold; else from the rotor's diameter.",
)
@click.option("--growth-u", type=float, help="Its standard uncertainty.")
@click.option("--diameter", type=float, help="Rotor diameter, inches (mm with --in metric).")
@click.option(
    "--fuel",
    type=click.Choice(["alcohol", "dry"]),
    default="alcohol",
    show_default=True,
    help="How hot it runs: methanol or nitro through the blower, or fuel added after it.",
)
@click.option("--step", type=float, help="Of the cutter.  [default: 0.1 thou]")
@click.option("--one-setting", is_flag=True, help="Cut each rotor at one height from end to end.")
@click.option(
    "--map",
    "map_file",
    type=options.any_path,
    help="Write the map of tight places here (SVG).",
)
@options.level
@options.system
@options.as_json
def command(
    *,
    book: str | None,
    unit: str,
    sheet: Path | None,
    typed: tuple[str, ...],
    target: float,
    limit: float | None,
    stock: float | None,
    growth: float | None,
    growth_u: float | None,
    diameter: float | None,
    fuel: str,
    step: float | None,
    one_setting: bool,
    map_file: Path | None,
    level: float,
    system: str,
    as_json: bool,
) -> int:
    """Work out the strip height to set, the cuts, what may touch, and where the case is tight.

    Lengths are in thou, or in mm with --in metric.
    """
    from wearstats.cut import StripCut, tight_map
    from wearstats.units import INCH_MM
    from wearstats_cli import quantities
    from wearstats_cli.metal import metal_given

    scale = quantities.gap(system)

    def keep(value: float | None) -> float | None:
        return None if value is None else scale.keep(value)

    metal = metal_given(book, sheet, typed, unit)
    inches = diameter if diameter is None or system == "inch" else diameter / INCH_MM
    grown = _growth(keep(growth), keep(growth_u), inches or metal.rotor_diameter_in, fuel)
    settings = {} if step is None else {"step_thou": scale.keep(step)}
    ask = StripCut(
        scale.keep(target),
        growth_thou=grown.thou,
        growth_u_thou=grown.u_thou,
        limit_thou=keep(limit),
        stock_thou=keep(stock),
        one_setting=one_setting,
        level=level,
        **settings,
    )
    shown = _Shown(metal, ask, grown, ask.plan(metal.readings), tight_map(metal.readings), scale)
    if map_file is not None:
        _write_map(shown, map_file)
    if as_json:
        _as_json(shown)
    else:
        _show(shown)
        if map_file is not None:
            click.echo(f"\nMap of tight places: {map_file}")
    return 3 if metal.findings else 0


def _growth(
    thou: float | None, u_thou: float | None, diameter_in: float | None, fuel: str
) -> _Growth:
    from wearstats.leakage import running_tip
    from wearstats.leakage.running import ALCOHOL, DRY

    if thou is not None:
        return _Growth(thou, u_thou or 0.0, "as given")
    if diameter_in is None:
        message = "how much the clearance closes when it runs is not known"
        raise UsageError(message, hint="Give --growth, or the rotor's --diameter.")
    # Any clearance that heat does not close tells how much it takes.
    cold = 1000.0
    warmth = DRY if fuel == "dry" else ALCOHOL
    hot = running_tip(cold, bore_radius_in=diameter_in / 2.0, warmth=warmth)
    said = f"worked out for a {diameter_in:g} in rotor, {fuel}"
    u = float(hot.u_thou) if u_thou is None else u_thou
    return _Growth(cold - float(hot.thou), u, said)


def _write_map(shown: _Shown, path: Path) -> None:
    from wearstats import plots

    frame = shown.map.assign(clearance=shown.map["thou"] * shown.scale.factor)
    figure, axes = plots.new_axes(5.0, 1.6 + 1.9 * max(frame["rotor"].nunique(), 1))
    plots.tight_place_map(frame, axes, quantity=shown.scale.name)
    if shown.metal.simulated:
        plots.stamp(axes, "SIMULATED")
    said = [f"{place}: {why}" for place, why in _tight(shown)] or ["No place is tight."]
    title = f"Metal-to-metal clearance around the bore {shown.metal.unit}".strip()
    path.write_text(plots.to_svg(figure, title, " ".join(said)), encoding="utf-8")


def _tight(shown: _Shown) -> list[tuple[str, str]]:
    """Name each tight place, tightest first, and say what to look at."""
    from wearstats.cut.places import PLACE, place_name

    rows = shown.map.loc[shown.map["tight"]].sort_values("below_thou", ascending=False)
    said = []
    for row in rows.to_dict(orient="records"):
        sand = ""
        if math.isfinite(row["clock"]):
            sand = "; may be sanded" if row["sanding"] else "; not to be sanded"
        place = place_name(*(row[name] for name in PLACE))
        by = f"{shown.length(row['thou'])}, {shown.length(row['below_thou'])} below the rest"
        said.append((place, f"{by}; {row['look_at']}{sand}"))
    return said


def _as_json(shown: _Shown) -> None:
    from wearstats.cut import CAUTION
    from wearstats_cli import show

    answer, ask, scale = shown.answer, shown.ask, shown.scale

    def length(thou: float | None) -> float | None:
        return None if thou is None else thou * scale.factor

    body = {
        "simulated": shown.metal.simulated,
        "unit_name": shown.metal.unit,
        "unit": scale.name,
        "readings": shown.metal.said,
        "target": length(ask.target_thou),
        "growth": {
            "value": length(shown.growth.thou),
            "standard_uncertainty": length(shown.growth.u_thou),
            "said": shown.growth.said,
        },
        "limit": length(ask.limit_thou),
        "heights": [
            {
                "rotor": each.rotor,
                "station": each.station,
                "places": each.places,
                "metal": length(each.metal_thou),
                "widest": length(each.widest_thou),
                "height": length(each.height_thou),
            }
            for each in answer.heights
        ],
        "one_setting": [
            {"rotor": rotor, "height": length(height)} for rotor, height in answer.one_setting
        ],
        "tightest": {"at": answer.tightest_at, **scale.estimate(answer.tightest).as_dict()},
        "loosest": {"at": answer.loosest_at, **scale.estimate(answer.loosest).as_dict()},
        "touching": answer.touching,
        "too_wide": answer.too_wide,
        "cuts": [
            {
                "rotor": rotor,
                "kind": cut.kind,
                "takes": length(cut.takes_thou),
                "to": length(cut.to_thou),
            }
            for rotor, cuts in answer.cuts
            for cut in cuts
        ],
        "tight_places": [{"place": place, "said": said} for place, said in _tight(shown)],
        "findings": [finding.as_dict() for finding in shown.metal.findings],
        "cautions": [_MEASURE, CAUTION],
    }
    show.as_json("cut", body)


def _show(shown: _Shown) -> None:
    from wearstats.cut import CAUTION
    from wearstats_cli import show
    from wearstats_reports.cells import count

    answer, name = shown.answer, shown.scale.name
    show.banner(simulated=shown.metal.simulated)
    show.heading(f"Strip height to set, {name} above the rotor")
    whose = f"{shown.metal.unit}: " if shown.metal.unit else ""
    show.line(
        f"{whose}{count(len(answer.places), 'place')}, {shown.metal.said}. Running clearance "
        f"{shown.length(shown.ask.target_thou)} at the tightest lobe; growth "
        f"{shown.length(shown.growth.thou)}, uncertain by {shown.length(shown.growth.u_thou)}, "
        f"{shown.growth.said}."
    )
    show.table(
        ("rotor", "station", "places", "metal", "widest", "height to set"),
        [
            (
                each.rotor,
                each.station,
                each.places,
                shown.length(each.metal_thou),
                shown.length(each.widest_thou),
                shown.length(each.height_thou),
            )
            for each in answer.heights
        ],
        right=("places", "metal", "widest", "height to set"),
    )
    if not shown.ask.one_setting and len(answer.heights) > len(answer.one_setting):
        one = ", ".join(f"{rotor} {shown.length(high)}" for rotor, high in answer.one_setting)
        show.line(f"Cut at one height from end to end: {one.strip()}.")
    _show_running(shown)
    _show_cuts(shown)
    show.bullets("Tight places", [f"{place}: {said}." for place, said in _tight(shown)])
    show.bullets("Not taken", [str(finding) for finding in shown.metal.findings])
    show.bullets("Before the cut", [_MEASURE, CAUTION])


def _show_running(shown: _Shown) -> None:
    from wearstats_cli import show
    from wearstats_reports import numbers

    answer = shown.answer
    show.heading("Running clearance after the cut")
    show.estimates(
        {
            f"tightest ({answer.tightest_at})": shown.scale.estimate(answer.tightest),
            f"loosest ({answer.loosest_at})": shown.scale.estimate(answer.loosest),
        },
        answer.tightest.level,
    )
    wide = ""
    if answer.too_wide is not None:
        limit = shown.length(shown.ask.limit_thou)
        wide = f" Somewhere wider than {limit}: {numbers.percent(answer.too_wide)}."
    show.line(f"Chance that some place touches: {numbers.percent(answer.touching)}.{wide}")


def _show_cuts(shown: _Shown) -> None:
    from wearstats_cli import show

    rows = [
        (rotor, cut.kind, shown.length(cut.takes_thou) or "?", shown.length(cut.to_thou))
        for rotor, cuts in shown.answer.cuts
        for cut in cuts
    ]
    show.heading("Cuts, in order, to the lowest height of each rotor")
    if not rows:
        show.line("None: the strips stand at their height.")
        return
    show.table(("rotor", "cut", "takes", "to"), rows, right=("takes", "to"))
    if shown.ask.stock_thou is None:
        show.line("What the first cut takes depends on the strips as fitted: give --stock.")

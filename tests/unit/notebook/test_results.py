"""Every result a person holds: said in words, as a frame with the numbers of its JSON, drawn."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest
from defusedxml.ElementTree import fromstring

from wearstats import Costs, Season, StripLife, fit_life, lives_of, outlook, plot
from wearstats.cut import StripCut
from wearstats.errors import UsageError
from wearstats.leakage import LeakModel
from wearstats.life import fit_factors
from wearstats.lives import boost_rows, clearance_readings
from wearstats.lookback import Lookback
from wearstats.plans import Meet, RestripPlan, meet_units, plan_meet
from wearstats.recurrence import histories_of, recurrence_of
from wearstats.shown import Readable
from wearstats.wear import fit_paths
from wearstats_synthetic import simulate

COSTS = Costs(planned=300.0, burn_through=1500.0, currency="USD")
NOTHING_YET = Lookback((), (), None, (), 0, None, (), None, "no costs are known", False, 0.9, True)


@pytest.fixture(scope="module")
def season() -> Season:
    return simulate(7).records


@pytest.fixture(scope="module")
def results(season: Season) -> dict[str, Any]:
    lives = lives_of(season)
    observations = lives.observations()
    life = fit_life(observations, calibrated=False)
    gaps = clearance_readings(season, lives)
    wears = fit_paths(gaps)
    fleet = outlook(season, lives, life.bayes, runs_ahead=4, plan=RestripPlan(COSTS))
    by_chance = RestripPlan(bound=0.9).best(life.bayes)
    metal = pd.DataFrame(
        {
            "kind": "metal to metal",
            "rotor": "left",
            "station": "front",
            "lobe": [1.0, 2.0],
            "clock": float("nan"),
            "low_thou": [30.0, 31.0],
            "high_thou": [31.0, 32.0],
        }
    )
    return {
        "lives": lives,
        "life": life,
        "fit": StripLife().fit(observations),
        "factors": fit_factors(lives, ["overdrive"], frailty="none", calibrated=False),
        "wear": wears["tip"],
        "leak": LeakModel().fit(boost_rows(season, lives), wears, season.units, readings=gaps),
        "trend": recurrence_of(histories_of(lives)),
        "fleet": fleet,
        "restrip": fleet.restrip,
        "restrip by chance": by_chance,
        "meet": plan_meet(Meet(runs=3), meet_units(fleet, life.bayes), COSTS),
        "lookback": NOTHING_YET,
        "cut": StripCut(4.0).plan(metal),
    }


NAMES = (
    *("lives", "life", "fit", "factors", "wear", "leak", "trend", "fleet"),
    *("restrip", "restrip by chance", "meet", "lookback", "cut"),
)


@pytest.mark.parametrize("name", NAMES)
def test_it_says_what_it_is_and_what_stands_behind_it(name: str, results: dict[str, Any]) -> None:
    result = results[name]
    assert isinstance(result, Readable)
    said, summary = repr(result), result.summary()
    assert str(result) == said
    assert said.startswith(summary.title)
    assert max(map(len, said.split("\n"))) <= 80
    assert any(letter.isdigit() for letter in summary.basis)
    if any(column.has_interval for column in summary.columns):
        assert "intervals 90" in summary.basis
    html = result._repr_html_()
    fromstring(html)
    assert "style" not in html
    assert isinstance(result.to_frame(), pd.DataFrame)


def test_every_result_is_among_those_tried(results: dict[str, Any]) -> None:
    # A slotted dataclass leaves its first self behind, of the same name.
    readable = {kind.__name__ for kind in Readable.__subclasses__()}
    assert readable == {type(result).__name__ for result in results.values()}


def ends(row: Mapping[Any, Any], name: str) -> list[Any]:
    names = ("estimate", "low", "high")
    if name != "estimate":
        names = (name, f"{name}_low", f"{name}_high")
    return [None if pd.isna(row[each]) else row[each] for each in names]


def values(estimate: Mapping[str, Any] | None) -> list[Any]:
    if estimate is None:
        return [None, None, None]
    return [estimate[name] for name in ("estimate", "low", "high")]


def test_the_frame_of_a_life_holds_what_its_json_holds(results: dict[str, Any]) -> None:
    frame = results["life"].to_frame().set_index("name")
    said = results["life"].as_dict()
    wanted = {**said["parameters"]}
    wanted |= {f"{100 * one['failed']:g} % failed by": one["runs"] for one in said["life_at"]}
    assert set(frame.index) == set(wanted)
    for name, estimate in wanted.items():
        assert ends(frame.loc[name], "estimate") == values(estimate)


def test_the_frame_of_factors_holds_what_its_json_holds(results: dict[str, Any]) -> None:
    frame = results["factors"].to_frame().set_index("name")
    said = results["factors"].as_dict()["factors"]
    assert set(frame.index) == set(said)
    assert said
    for name, factor in said.items():
        for part in ("hazard_ratio", "per_sd"):
            assert ends(frame.loc[name], part) == values(factor[part])


def test_the_frame_of_the_fleet_holds_what_its_json_holds(results: dict[str, Any]) -> None:
    frame = results["fleet"].to_frame().set_index("unit")
    for unit in results["fleet"].as_dict()["units"]:
        row = frame.loc[unit["unit"]]
        for part in ("sound_now", "ahead"):
            assert ends(row, part) == values(unit[part])
        assert row["advice"] == unit["advice"]


def test_the_frame_of_a_plan_holds_what_its_json_holds(results: dict[str, Any]) -> None:
    frame = results["restrip"].to_frame().set_index("name")
    said = results["restrip"].as_dict()
    assert ends(frame.loc["restrip after"], "estimate") == values(said["best_runs"])
    assert ends(frame.loc["cost per run"], "estimate") == values(said["cost_per_run"])
    steps = results["meet"].as_dict()["steps"]
    rows = results["meet"].to_frame().to_dict(orient="records")
    for row, step in zip(rows, steps, strict=True):
        assert (row["unit"], row["run"]) == (step["unit"], step["run"])
        assert ends(row, "lasts") == values(step["lasts"])


def test_the_frame_of_a_trend_holds_what_its_json_holds(results: dict[str, Any]) -> None:
    said = results["trend"].as_dict()
    rows = results["trend"].to_frame().to_dict(orient="records")
    for row, unit in zip(rows, [*said["units"], said["fleet"]], strict=True):
        law = unit["power_law"]
        assert ends(row, "beta") == values(None if law is None else law["beta"])
        assert (row["runs"], row["failures"]) == (unit["runs"], unit["failures"])


def test_the_frame_of_a_leak_holds_its_answers(results: dict[str, Any]) -> None:
    leak = results["leak"]
    for row in leak.to_frame().to_dict(orient="records"):
        found = leak.lost_since_restrip(row["unit"])
        assert ends(row, "since_restrip") == values(found.as_dict())


@pytest.mark.parametrize("name", ["fleet", "meet", "restrip"])
def test_the_cautions_stand_wherever_advice_is(name: str, results: dict[str, Any]) -> None:
    notes = results[name].summary().notes
    assert any("not the part in front of you" in note for note in notes)


def test_what_is_simulated_says_so(results: dict[str, Any]) -> None:
    fleet = replace(results["fleet"], simulated=True)
    assert repr(fleet).startswith("SIMULATED")
    assert "SIMULATED" in plot(fleet).svg()
    assert "SIMULATED" not in repr(replace(fleet, simulated=False))


@pytest.mark.parametrize("name", [name for name in NAMES if name not in {"meet", "cut"}])
def test_it_is_drawn_with_words_for_those_who_do_not_see_it(
    name: str, results: dict[str, Any]
) -> None:
    picture = plot(results[name])
    svg = picture._repr_svg_()
    assert svg is not None
    root = fromstring(svg)
    words = [each.text for each in root.iter() if each.tag.endswith(("title", "desc"))]
    assert picture.title in words
    assert picture.said in words
    assert picture.title in repr(picture)


def test_it_is_drawn_on_axes_of_ones_own(results: dict[str, Any]) -> None:
    from matplotlib.figure import Figure

    axes = Figure().subplots()
    picture = plot(results["life"], axes)
    assert picture.axes is axes
    assert picture.figure is axes.figure
    # The caller shows it: shown by us too, it would stand there twice.
    assert picture._repr_svg_() is None
    drawn = [line for line in axes.lines if line.get_label() == "fitted, with its band"]
    curve = results["life"].curve([0.0])
    assert drawn[0].get_ydata()[0] == curve["survival"][0] == 1.0  # type: ignore[index, unused-ignore]


def test_what_has_no_figure_is_refused(results: dict[str, Any]) -> None:
    with pytest.raises(UsageError, match="no figure of MeetPlan"):
        plot(results["meet"])


def test_long_answers_are_cut_short_and_say_so(results: dict[str, Any]) -> None:
    lives = results["lives"]
    assert len(lives.frame) > 12
    assert f"{len(lives.frame) - 12} more rows: to_frame()" in repr(lives)
    assert lives.to_frame() is lives.frame

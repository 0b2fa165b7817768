"""The fleet page says what went with burning through, from the same answer as the command."""

import numpy as np
import pandas as pd
import pytest

from wearstats.life import usual_factors
from wearstats.lives import lives_of
from wearstats.records.season import Season
from wearstats_reports import SeasonReport, figures, season_report
from wearstats_reports.render import fleet_page
from wearstats_reports.sections.went_with import went_with
from wearstats_reports.tables import factors


@pytest.fixture(scope="module")
def two_lots(season: Season) -> Season:
    """The same season with two lots of strips on record instead of one for each build."""
    turn = season.restrips.groupby("unit").cumcount()
    lots = turn.mod(2).map({0: "A", 1: "B"})
    restrips = season.restrips.assign(strip_lot=lots).reset_index(drop=True)
    return Season.from_frames(
        runs=season.runs.reset_index(drop=True), restrips=restrips, units=season.units
    )


@pytest.fixture(scope="module")
def lots_report(two_lots: Season) -> SeasonReport:
    return season_report(two_lots)


def test_the_page_says_what_the_models_say(two_lots: Season, lots_report: SeasonReport) -> None:
    found = usual_factors(lives_of(two_lots))
    told = lots_report.went_with
    by_name = {name: (each, name) for each in found for name in each.factors}
    assert [each.name for each in told.ratios] == list(by_name)
    assert {"air_temperature_f", "strip_lot B against A"} == set(by_name)
    for each in told.ratios:
        answer, name = by_name[each.name]
        assert each.ratio == answer.factors[name].ratio
        assert each.ratio.low is not None
        assert each.lives == answer.behind[name].lives
    page = fleet_page(lots_report)
    assert told.verdict in page
    assert "need not be its cause" in page
    drawing = figures.went_with(lots_report)
    assert drawing is not None
    assert str(drawing.svg) in page
    assert "strip lot B, not A: " in drawing.svg


def test_what_never_changed_cannot_be_told_and_is_not_drawn(lots_report: SeasonReport) -> None:
    # every run of that season was made at one overdrive
    told = lots_report.went_with
    assert [each for each in told.ratios if each.of == "overdrive"] == []
    assert any(said.startswith("Overdrive cannot be told: ") for said in told.remarks)


def test_lives_runs_and_failures_of_both_lots_stand_behind_their_ratio(
    two_lots: Season, lots_report: SeasonReport
) -> None:
    (lot,) = [each for each in lots_report.went_with.ratios if each.of == "strip lot"]
    lives = lives_of(two_lots)
    frame = lives.usable
    burned = frame["mode"].eq("burned")
    end = np.where(burned, frame["upper"], frame["lower"])
    watched = pd.Series(end - frame["entry"].to_numpy(), index=frame.index)
    told = watched > 0
    for word, failures, runs in (
        ("B", lot.failures, lot.runs),
        ("A", lot.base_failures, lot.base_runs),
    ):
        its = frame["strip_lot"].eq(word) & told
        assert failures == (its & burned).sum()
        assert runs == pytest.approx(watched[its].sum())
    assert lot.lives == (frame["strip_lot"].eq("B") & told).sum()


def test_the_table_beside_holds_the_same_numbers(lots_report: SeasonReport) -> None:
    frame = factors(lots_report).set_index("name")
    for each in lots_report.went_with.ratios:
        row = frame.loc[each.name]
        assert (row["estimate"], row["low"], row["high"]) == (
            each.ratio.estimate,
            each.ratio.low,
            each.ratio.high,
        )
        assert (row["of"], row["step"], row["lives"]) == (each.of, each.step, each.lives)


def test_below_three_failures_there_is_a_sentence_and_no_figure(season: Season) -> None:
    # K2 burned through once
    runs = season.runs[season.runs["unit"].eq("K2")].reset_index(drop=True)
    restrips = season.restrips[season.restrips["unit"].eq("K2")].reset_index(drop=True)
    silent = season_report(Season.from_frames(runs=runs, restrips=restrips.assign(strip_lot="A")))
    assert "no regression is offered below three failures" in silent.went_with.why_not
    assert silent.went_with.ratios == ()
    assert figures.went_with(silent) is None
    assert silent.went_with.why_not in fleet_page(silent)


def test_nothing_on_record_is_said() -> None:
    told = went_with((), 0.9, "burned through")
    assert told.why_not.startswith("Nothing can be told: no overdrive")

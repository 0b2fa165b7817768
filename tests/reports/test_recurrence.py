"""The fleet page says whether units wear strips out faster, from the same answer as the command."""

import pytest

from wearstats.lives import lives_of
from wearstats.records.season import Season
from wearstats.recurrence import histories_of, recurrence_of
from wearstats_reports import SeasonReport, figures, season_report
from wearstats_reports.render import fleet_page


def test_the_page_says_what_the_models_say(season: Season, report: SeasonReport) -> None:
    answer = recurrence_of(histories_of(lives_of(season), "burned"), report.level)
    told = report.recurrence
    assert told.why_not == ""
    assert [point.mean for point in told.curve] == pytest.approx(answer.curve.mean.tolist())
    assert {each.unit: each.found_at for each in told.counts} == {
        each.unit: each.found for each in answer.followed.histories
    }
    assert answer.fleet.too_few or answer.fleet.sentence in told.sentences
    page = fleet_page(report)
    assert "Faster, build after build?" in page
    drawing = figures.recurrence(report)
    assert drawing is not None
    assert str(drawing.svg) in page
    for each in told.counts:
        assert f"{each.unit} {len(each.found_at)} in " in drawing.svg


def test_units_with_too_few_failures_are_named_with_what_they_have(report: SeasonReport) -> None:
    (few,) = [line for line in report.recurrence.sentences if line.startswith("Cannot be told")]
    assert "K2 has " in few


def test_without_a_failure_there_is_a_sentence_and_no_figure(season: Season) -> None:
    runs = season.runs.assign(strips=None).reset_index(drop=True)
    restrips = season.restrips.assign(reason="planned").reset_index(drop=True)
    silent = season_report(Season.from_frames(runs=runs, restrips=restrips))
    assert "nothing can be told of recurrence" in silent.recurrence.why_not.casefold()
    assert figures.recurrence(silent) is None
    assert silent.recurrence.why_not in fleet_page(silent)

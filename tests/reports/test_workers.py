"""Several processes give the very pages that one gives."""

from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

import pytest

from wearstats.records.season import Season
from wearstats_reports import PageWorkers, SeasonReport, WrittenReport
from wearstats_reports.render import unit_page
from wearstats_reports.sections.lookback import past_chances


def _alone(report: SeasonReport) -> list[str]:
    return [unit_page(report, unit) for unit in report.units]


def test_two_processes_give_the_same_pages_in_the_same_order(
    report: SeasonReport, written: WrittenReport, season: Season
) -> None:
    with PageWorkers(2) as workers:
        past = workers.begin(past_chances, season, level=report.level, seed=report.seed)
        # The other process must have its share: wait for it before this one takes what is left.
        pool = workers._pool
        assert pool is not None
        pool.submit(int).result()
        assert past() == report.past_chances
        together = workers.unit_pages(report)
    alone = [page.read_text(encoding="utf-8") for _, page in written.pages]
    assert together == alone


def test_a_process_that_is_lost_costs_no_page(
    nearly_empty: tuple[SeasonReport, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    report = nearly_empty[0]
    twice = replace(report, units=report.units * 2)

    class Lost:
        def cancel(self) -> bool:
            return False

        def result(self) -> str:
            raise BrokenProcessPool

    monkeypatch.setattr(PageWorkers, "_hand_out", lambda *_: [Lost(), Lost()])
    assert PageWorkers(2).unit_pages(twice) == _alone(twice)


def test_work_that_fails_elsewhere_fails_as_it_does_here() -> None:
    with PageWorkers(2) as workers, pytest.raises(ValueError, match="invalid literal"):
        workers.begin(int, "no number")()
    with PageWorkers(1) as alone:
        assert alone.begin(int, "12")() == 12


def test_no_more_processes_than_asked_for() -> None:
    assert PageWorkers(1).processes == PageWorkers(0).processes == 1
    assert PageWorkers(3).processes == 3
    assert PageWorkers().processes >= 1

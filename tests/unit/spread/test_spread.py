"""Work spread over processes or a cluster comes to what it comes to in one process, byte for byte.

The judge of every comparison is the same work done serially, without joblib or Dask.
"""

import gc
import json
import os
import pickle
import random
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import joblib
import pytest
from threadpoolctl import threadpool_limits

from wearstats.book import Book
from wearstats.errors import NotIdentifiedError, TooFewError, UsageError, WearstatsError
from wearstats.spread import PROCESSES_VARIABLE, on_workers, processors, spread
from wearstats_cli.main import main
from wearstats_synthetic import simulate, wide_fleet, write_sheets

if TYPE_CHECKING:
    from distributed import LocalCluster

# Dask leaves sockets of attempts that came to nothing to the garbage collector.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")

BENCHMARKS = Path(__file__).parents[3] / "benchmarks"


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    """Keep linear algebra to one thread here, as the command line and every worker do."""
    with threadpool_limits(1):
        yield


@pytest.fixture(scope="module")
def local_cluster() -> Iterator["LocalCluster"]:
    pytest.importorskip("distributed", reason="needs the extra wearstats[cluster]")
    from distributed import LocalCluster

    with LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=2, threads_per_worker=1, dashboard_address=None
    ) as local:
        yield local


@pytest.fixture
def cluster(local_cluster: "LocalCluster") -> Iterator[str]:
    """Two workers, each a process of its own; they must have done something in the end."""
    scheduler = local_cluster.scheduler
    assert scheduler is not None
    done = scheduler.transition_counter
    # Dask itself draws from Python's generator, to choose workers and how long to wait.
    before = random.getstate()
    yield str(local_cluster.scheduler_address)
    random.setstate(before)
    gc.collect()
    assert scheduler.transition_counter > done


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    season = simulate(1, fleet=wide_fleet(7, 18))
    with Book.create(folder / "season.book", simulated=True) as made:
        for sheet in write_sheets(season, folder / "sheets").files:
            made.log(sheet)
    return folder / "season.book"


def said(capsys: pytest.CaptureFixture[str], code: int, *words: object) -> str:
    with pytest.raises(SystemExit) as left:
        main([str(word) for word in words])
    told = capsys.readouterr()
    assert left.value.code == code
    assert told.err == ""
    return told.out


def here(_: int) -> int:
    return os.getpid()


def here_and_below(item: int) -> tuple[int, set[int]]:
    """Return the process of an item, and those of what it spreads in turn."""
    return os.getpid(), set(spread(here, range(item)))


def dies(item: int) -> int:
    os._exit(item)


def refuses(need: int) -> int:
    message = "too few lives"
    raise TooFewError(message, have=1, need=need, hint="Log more.")


def test_alone_each_item_is_done_when_it_is_asked_for() -> None:
    asked = iter([2, 1, 0])
    found = spread(lambda item: 6 / item, asked)
    assert [next(found), next(found)] == [3.0, 6.0]
    assert next(asked) == 0


def test_results_come_in_the_order_of_the_items_from_other_processes() -> None:
    with on_workers(2):
        assert list(spread(partial(pow, 2), range(40))) == [2**item for item in range(40)]
        away = set(spread(here, range(40)))
        nested = list(spread(here_and_below, [3, 3]))
    assert os.getpid() not in away
    assert all(below == {process} for process, below in nested)
    assert set(spread(here, range(3))) == {os.getpid()}


def test_a_setting_of_joblib_around_it_counts() -> None:
    with joblib.parallel_config(backend="loky", n_jobs=2):
        assert os.getpid() not in set(spread(here, range(4)))
    with joblib.parallel_config(backend="sequential"):
        assert set(spread(here, range(4))) == {os.getpid()}


def test_an_error_of_ours_comes_back_as_it_was_raised() -> None:
    with on_workers(2), pytest.raises(TooFewError, match="too few lives") as raised:
        list(spread(refuses, [7]))
    assert (raised.value.have, raised.value.need, raised.value.hint) == (1, 7, "Log more.")


def test_every_error_can_be_packed() -> None:
    error = NotIdentifiedError("no maximum", direction="shape grows", hint="Take a prior.")
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 - packed a moment ago
    assert (str(back), back.direction, back.hint) == ("no maximum", "shape grows", "Take a prior.")
    plain = pickle.loads(pickle.dumps(WearstatsError("so")))  # noqa: S301
    assert (type(plain), str(plain), plain.hint) == (WearstatsError, "so", "")


def test_a_lost_process_is_told_in_words() -> None:
    with pytest.raises(UsageError, match="a worker was lost"), on_workers(2):
        list(spread(dies, [1, 1]))


def test_a_cluster_that_is_not_there_is_told_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed", reason="needs the extra wearstats[cluster]")
    monkeypatch.setattr("wearstats.spread._WAIT", 0.2)
    before = random.getstate()
    for address in ("tcp://127.0.0.1:1", "nonsense://tower", "tower"):
        with (
            pytest.raises(UsageError, match="no Dask scheduler answers"),
            on_workers(cluster=address),
        ):
            pytest.fail("there is no cluster")
    # Dask waits a random while before it tries again.
    random.setstate(before)
    gc.collect()


def test_a_cluster_with_other_libraries_is_refused(
    local_cluster: "LocalCluster", monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed import Client

    asked = Client.get_versions

    def older_here(client: Client, **words: Any) -> dict[str, Any]:
        found = cast("dict[str, Any]", asked(client, **words))
        found["client"]["packages"]["scipy"] = "0.0.9"
        return found

    monkeypatch.setattr(Client, "get_versions", older_here)
    before = random.getstate()
    address = str(local_cluster.scheduler_address)
    with pytest.raises(UsageError) as raised, on_workers(cluster=address):
        pytest.fail("its answers may differ")
    random.setstate(before)
    assert re.search(rf"has scipy {version('scipy')}, here it is 0\.0\.9$", str(raised.value))


def test_without_dask_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError) as raised, on_workers(cluster="tcp://tower:8786"):
        pytest.fail("there is no Dask")
    assert "wearstats[cluster]" in raised.value.hint


def test_the_number_of_processes_can_be_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PROCESSES_VARIABLE, "3")
    assert processors() == 3
    monkeypatch.setenv(PROCESSES_VARIABLE, "many")
    assert processors() >= 1


def test_nobody_who_asks_for_no_workers_loads_joblib() -> None:
    words = (
        "import sys; from wearstats.spread import on_workers, spread\n"
        "with on_workers(1): print(*spread(abs, [-1]), 'joblib' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["1", "False"]


def test_on_a_cluster_the_work_is_done_by_its_workers(cluster: str) -> None:
    with on_workers(cluster=cluster):
        assert list(spread(partial(pow, 2), range(40))) == [2**item for item in range(40)]
        nested = list(spread(here_and_below, [3, 3, 3]))
        with pytest.raises(TooFewError) as raised:
            list(spread(refuses, [7]))
    assert all(below == {process} for process, below in nested)
    assert os.getpid() not in {process for process, _ in nested}
    assert raised.value.need == 7


def test_a_dask_client_of_the_callers_counts(cluster: str) -> None:
    from distributed import Client

    client = Client(cluster)  # type: ignore[no-untyped-call]
    with client, joblib.parallel_config(backend="dask", client=client):
        assert os.getpid() not in set(spread(here, range(6)))


def test_a_cluster_whose_workers_die_is_told_in_words(cluster: str) -> None:
    with pytest.raises(UsageError, match="a worker was lost"), on_workers(cluster=cluster):
        list(spread(dies, [1]))


@pytest.mark.parametrize(
    ("words", "code"),
    # Too few burned strips to tell anything of past chances: code 1, and all the numbers.
    [(("lookback",), 1), (("life", "--runs", "2", "--uncalibrated", "--frailty", "none"), 0)],
    ids=["lookback", "life"],
)
def test_commands_say_the_same_bytes_wherever_they_work(
    words: tuple[str, ...],
    code: int,
    book: Path,
    cluster: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked = (words[0], book, *words[1:], "--json")
    alone = said(capsys, code, *asked)
    assert json.loads(alone)["command"] == words[0]
    assert said(capsys, code, *asked, "--workers", 2) == alone
    assert said(capsys, code, *asked, "--cluster", cluster) == alone


def test_the_command_line_does_its_linear_algebra_in_one_thread() -> None:
    words = (
        "from contextlib import suppress\nfrom wearstats_cli.main import main\n"
        "with suppress(SystemExit): main(['lookback', 'no.book'])\n"
        "import scipy.linalg\nfrom threadpoolctl import threadpool_info\n"
        "print(*(each['num_threads'] for each in threadpool_info()))"
    )
    free = {name: value for name, value in os.environ.items() if "_NUM_THREADS" not in name}
    told = subprocess.run(
        [sys.executable, "-c", words], capture_output=True, text=True, check=True, env=free
    )
    assert set(told.stdout.split()) == {"1"}


def studied(*words: object) -> str:
    """Return what a study prints."""
    asked = [sys.executable, *map(str, words)]
    one = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run(asked, capture_output=True, text=True, check=True, env=one).stdout


def test_a_calibration_study_counts_the_same_bytes_on_a_cluster(
    cluster: str, tmp_path: Path
) -> None:
    small = ("--replicates", 1, "--drawn", 1, "--ends", 1, "--library", 0)
    words = (BENCHMARKS / "calibration.py", *small)
    studied(*words, "--workers", 1, "--json", tmp_path / "alone.json")
    studied(*words, "--cluster", cluster, "--json", tmp_path / "away.json")
    alone = (tmp_path / "alone.json").read_bytes()
    assert len(json.loads(alone)) == 9 + 3
    assert (tmp_path / "away.json").read_bytes() == alone


@pytest.mark.slow
@pytest.mark.parametrize(
    ("study", "words"),
    [("lookback.py", ("--scenarios", "demo")), ("plans.py", ("--only", "fleets"))],
    ids=["lookback", "plans"],
)
def test_fleets_come_to_the_same_on_a_cluster(
    study: str, words: tuple[str, ...], cluster: str
) -> None:
    asked = (BENCHMARKS / study, "--fleets", 3, *words)
    found = [studied(*asked, *more) for more in ((), ("--workers", 2), ("--cluster", cluster))]
    # Figures have two decimals or more; lines that say how long it took have not.
    alone, *others = [re.findall(r"(?m)^.*\d\.\d\d.*$", told) for told in found]
    assert len(alone) > 1
    assert others == [alone, alone]

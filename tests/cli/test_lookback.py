"""`wearstats lookback`: what a person reads, within eighty columns."""

from pathlib import Path

import pytest

from told import Tell
from wearstats_cli.main import main
from wearstats_synthetic import simulate, write_sheets


def book_of(tell: Tell, folder: Path, burned: int) -> Path:
    """Log three units over four meets, so many of which end with burned strips."""
    runs = ["Date,Unit,Run,Meet,Strips,Runs since restrip"]
    restrips = ["Date,Unit,Reason"]
    for unit in ("K1", "K2", "K3"):
        restrips.append(f"2026-03-01,{unit},")
        for meet in range(4):
            end = "burned" if meet < burned else "sound"
            looks = ("sound", "sound", end)
            runs += [
                f"2026-0{4 + meet}-04,{unit},{run + 1},Meet {meet + 1},{look},{run + 1}"
                for run, look in enumerate(looks)
            ]
            restrips.append(
                f"2026-0{4 + meet}-05,{unit},{'burned' if meet < burned else 'planned'}"
            )
    (folder / "runs.csv").write_text("\n".join(runs) + "\n", encoding="utf-8")
    (folder / "restrips.csv").write_text("\n".join(restrips) + "\n", encoding="utf-8")
    book = folder / "shop.book"
    assert tell("log", book, folder / "runs.csv", folder / "restrips.csv").code == 0
    return book


def test_the_verdict_comes_first_and_everything_fits(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, burned=3)
    said = tell("lookback", book, "--rule", "2")
    assert said.code == 0
    first = "About as many strips burned through as was said (7.8 expected, 6 found)"
    assert said.out.startswith(first)
    assert all(len(line) <= 80 for line in said.out.splitlines())
    for heading in ("by meet", "Chances said", "Scores", "Had the plan been followed"):
        assert heading in said.out
    assert "as given: restrip after 2 runs" in said.out
    assert "without costs no money can be counted" in said.out


def test_json_says_the_same(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, burned=3)
    body = tell("lookback", book, "--json").json
    assert (body["burned"], body["forecasts"]) == (6, 9)
    assert [meet["burned"] for meet in body["meets"]] == [0, 3, 3, 0]
    assert body["without"] == {"no strips had been seen to last or to fail yet": 3}
    assert body["savings"] is None
    assert body["verdict"] in tell("lookback", book).out.replace("\n", " ").replace("  ", " ")


def test_few_burn_throughs_say_so_and_exit_with_one(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, burned=1)
    said = tell("lookback", book)
    assert said.code == 1
    assert said.out.startswith("Nothing can be told yet: 9 forecasts met 0 burn-throughs")


def test_costs_make_savings(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, burned=3)
    costs = tmp_path / "costs.toml"
    costs.write_text('planned_restrip = 100\nburn_through = 500\ncurrency = "USD"\n')
    body = tell("lookback", book, "--costs", costs, "--json").json
    assert body["savings"]["done"] == {"planned": 3, "burned": 6}
    assert body["savings"]["followed"] == 3
    assert body["savings"]["currency"] == "USD"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A simulated book with boost and clearances."""
    folder = tmp_path_factory.mktemp("boost")
    write_sheets(simulate(7, meets=5, units=3), folder, spoiled=False)
    path = folder / "shop.book"
    names = ("runs_dock.csv", "runs_trailer.xlsx", "restrips.csv", "units.csv")
    with pytest.raises(SystemExit):
        main(["log", str(path), *(str(folder / name) for name in names)])
    return path


def test_boost_is_told_by_meet(tell: Tell, shop: Path) -> None:
    said = tell("lookback", shop)
    section = said.out.split("Boost by meet", 1)[1]
    assert all(len(line) <= 80 for line in said.out.splitlines())
    told = " ".join(section.split())
    boost = tell("lookback", shop, "--json").json["boost"]
    assert boost["sentence"].replace("\xa0", " ") in told.replace("\xa0", " ")
    assert boost["forecasts"] == sum(meet["units"] for meet in boost["meets"]) > 0
    assert boost["held"] == sum(meet["held"] for meet in boost["meets"])
    for meet in boost["meets"]:
        row = f"{meet['units']} {meet['said']:.1f} {meet['logged']:.1f} {meet['held']} of "
        assert f"{meet['first_day']} {row}{meet['units']}" in told
    left_out = sum(boost["runs_left_out"].values())
    assert f"Boost not compared: {left_out} runs" in told
    assert set(boost["scores"]) == {
        "coverage",
        "error",
        "absolute_error",
        "absolute_error_as_last_meet",
        "gain",
    }


@pytest.mark.slow
def test_workers_say_the_same_of_boost(tell: Tell, shop: Path) -> None:
    assert tell("lookback", shop, "--workers", "2", "--json").out == (
        tell("lookback", shop, "--json").out
    )


def test_a_book_without_boost_says_nothing_of_it(tell: Tell, tmp_path: Path) -> None:
    book = book_of(tell, tmp_path, burned=3)
    said = tell("lookback", book)
    assert "Boost" not in said.out
    assert tell("lookback", book, "--json").json["boost"] is None


def test_bounds_that_are_one_are_not_told_twice(tell: Tell, tmp_path: Path) -> None:
    (tmp_path / "known").mkdir()
    known = tell("lookback", book_of(tell, tmp_path / "known", burned=3))
    assert "Whatever the outcomes" not in known.out
